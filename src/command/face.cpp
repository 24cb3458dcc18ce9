// SPDX-License-Identifier: MIT
#include "command/face.hpp"

#include <fmt/format.h>
#include <unistd.h>

#include <algorithm>
#include <iostream>
#include <nlohmann/json.hpp>

#include "quantities/text.hpp"
#include "quantities/value_with_error.hpp"
#include "sky/time_scales.hpp"

namespace emberline::command {
namespace {

bool is_number_like(const std::string& text) {
    return !text.empty() && text.find_first_not_of("0123456789.+-%") == std::string::npos;
}

std::string signed_text(std::optional<double> value) {
    return value ? fmt::format("{:+.3f}", *value) : "—";
}

}  // namespace

std::size_t shown_width(std::string_view text) {
    return static_cast<std::size_t>(std::count_if(
        text.begin(), text.end(), [](char c) { return (static_cast<unsigned char>(c) & 0xc0U) != 0x80U; }));
}

int status_of(ProblemKind kind) {
    switch (kind) {
        case ProblemKind::input:
            return nothing_measured;
        case ProblemKind::request:
            return bad_request;
        case ProblemKind::storage:
            return storage_failed;
        case ProblemKind::interrupted:
            return interrupted;
    }
    return storage_failed;
}

CLI::Validator number_within(double least, double most) {
    return {[least, most](std::string& text) -> std::string {
                const auto value = parse_number(text);
                if (value && *value >= least && *value <= most) return {};
                return fmt::format("'{}' is not a number from {:g} to {:g}", text, least, most);
            },
            fmt::format("{:g} to {:g}", least, most)};
}

int Face::say(const Problem& problem) const {
    if (json) say_json({{"problem", tasks::document(problem)}});
    std::cerr << "emberline: " << one_line(problem) << '\n';
    return status_of(problem.kind);
}

void Face::say_json(const tasks::Json& document) const {
    std::cout << document.dump(2, ' ', false, tasks::Json::error_handler_t::replace) << '\n';
}

void Face::remark(const std::string& sentence) const {
    if (!quiet) std::cerr << sentence << '\n';
}

void Face::progress(std::size_t done, std::size_t of) const {
    if (quiet || ::isatty(STDERR_FILENO) == 0) return;
    constexpr std::size_t width = 30;
    const std::size_t full = of == 0 ? width : width * done / of;
    std::cerr << fmt::format("\r[{}{}] {} of {}", std::string(full, '='), std::string(width - full, ' '),
                             done, of);
    if (done == of) std::cerr << "\r\033[K";
    std::cerr.flush();
}

void print_line(std::string_view name, std::string_view value) {
    std::cout << fmt::format("  {:<14}{}\n", name, value);
}

std::string date_of(double bjd_tdb) {
    return sky::iso_date(sky::to_utc(sky::from_jd(bjd_tdb, TimeScale::tdb)));
}

std::string TextTable::text() const {
    std::vector<std::size_t> widths;
    for (const auto& row : rows_) {
        widths.resize(std::max(widths.size(), row.size()), 0);
        for (std::size_t c = 0; c < row.size(); ++c)
            widths[c] = std::max(widths[c], shown_width(row[c]));
    }
    std::vector<bool> numeric(widths.size(), true);
    for (std::size_t r = 1; r < rows_.size(); ++r) {
        for (std::size_t c = 0; c < rows_[r].size(); ++c)
            numeric[c] = numeric[c] && (is_number_like(rows_[r][c]) || rows_[r][c] == "—");
    }
    std::string out;
    for (const auto& row : rows_) {
        std::string line;
        for (std::size_t c = 0; c < row.size(); ++c) {
            const std::string pad(widths[c] - shown_width(row[c]), ' ');
            line += numeric[c] ? pad + row[c] : row[c] + pad;
            if (c + 1 < row.size()) line += "  ";
        }
        line.erase(line.find_last_not_of(' ') + 1);
        out += line + '\n';
    }
    return out;
}

std::string magnitude_text(const night::Measurement& m) {
    if (m.is_limit) return m.limit_mag ? fmt::format("fainter than {:.2f}", *m.limit_mag) : "—";
    if (!m.magnitude_mag) return "—";
    return with_error({*m.magnitude_mag, m.total_err_mag().value_or(0.0)}, 3);
}

std::string nights_text(const std::vector<night::NightMeasurement>& nights) {
    TextTable table(
        {"night", "band", "magnitude", "random", "common", "frames", "airmass", "stars", "check", "flags"});
    // What every row carries is said once, below: the one cloudy night stands out.
    Caveats everywhere = nights.size() > 1 ? nights.front().caveats : Caveats();
    for (const night::NightMeasurement& n : nights)
        everywhere = Caveats::from_bits(everywhere.bits() & n.caveats.bits());
    const bool several_instruments = std::any_of(nights.begin(), nights.end(), [&](const auto& n) {
        return n.instrument != nights.front().instrument;
    });
    for (const night::NightMeasurement& n : nights) {
        const auto error = [](std::optional<double> e) { return e ? fmt::format("{:.3f}", *e) : "—"; };
        std::string flags = Caveats::from_bits(n.caveats.bits() & ~everywhere.bits()).words();
        if (several_instruments) flags = n.instrument + (flags.empty() ? "" : ": " + flags);
        table.add({n.night, n.band.name(), magnitude_text(n), error(n.random_err_mag),
                   error(n.common_err_mag),
                   n.n_rejected > 0 ? fmt::format("{} of {}", n.n_frames, n.n_frames + n.n_rejected)
                                    : fmt::format("{}", n.n_frames),
                   n.airmass ? fmt::format("{:.2f}", *n.airmass) : "—", fmt::format("{}", n.n_comparison),
                   signed_text(n.check.residual_mag), flags});
    }
    std::string text = table.text();
    if (!everywhere.empty()) text += "every night: " + everywhere.words() + '\n';
    return text;
}

std::string flags_text(const std::vector<night::NightMeasurement>& nights) {
    Caveats all;
    for (const night::NightMeasurement& n : nights)
        all.add(n.caveats);
    std::string out;
    for (const Caveat c : all.list())
        out += fmt::format("  {}: {}\n", word(c), sentence(c));
    return out;
}

}  // namespace emberline::command
