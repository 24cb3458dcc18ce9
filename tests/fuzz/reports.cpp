// SPDX-License-Identifier: MIT
// Reports of the variable-star network and of the transient server, read by their checkers: every departure
// is a finding, what comes out is in range, and what our writer makes of it reads again without an error.
#include <sstream>

#include "exchange/network_report.hpp"
#include "exchange/server_report.hpp"
#include "fuzz/promise.hpp"

using namespace emberline;
using namespace emberline::fuzz;

namespace {

constexpr std::size_t most_findings = 1001;  // the last counts the rest

void check(const std::vector<exchange::Finding>& findings, std::size_t lines) {
    ensure(findings.size() <= most_findings, "a list of findings stays short");
    for (const exchange::Finding& finding : findings) {
        ensure(!finding.what.empty(), "a finding says what is wrong", finding.field);
        ensure(finding.line <= lines, "a finding's line is one of the file's", finding.what);
    }
}

bool finite(const std::optional<double>& value) {
    return !value || std::isfinite(*value);
}

void check_network(std::string_view text) {
    const exchange::CheckedReport checked = exchange::check_network_report(text);
    const std::size_t lines =
        2 + static_cast<std::size_t>(
                std::count_if(text.begin(), text.end(), [](char c) { return c == '\n' || c == '\r'; }));
    check(checked.findings, lines);
    ensure(checked.lines.size() == checked.report.observations.size(), "each observation has its line");
    for (const exchange::NetworkObservation& o : checked.report.observations) {
        ensure(std::isfinite(o.date) && std::isfinite(o.magnitude_mag),
               "an observation's numbers are numbers", o.star);
        ensure(finite(o.err_mag) && finite(o.comparison_mag) && finite(o.check_mag) && finite(o.airmass),
               "what an observation has besides are numbers", o.star);
    }
    // Streamed, it is the same.
    std::istringstream in{std::string(text)};
    std::size_t n = 0;
    const auto streamed = exchange::read_network_report(in, [&](const exchange::NetworkObservation& o,
                                                                std::size_t line) {
        ensure(n < checked.lines.size() && checked.lines[n] == line && checked.report.observations[n] == o,
               "a report as a stream gives the same observations");
        ++n;
    });
    ensure(n == checked.lines.size(), "a report as a stream gives as many observations");
    ensure(streamed.size() == checked.findings.size(), "a report as a stream has as many findings");

    const auto written = exchange::write_network_report(checked.report);
    if (!written) {
        ensure(
            !written.error().what.empty() && !written.error().where.empty() && !written.error().mend.empty(),
            "a problem says what, where and what to do", one_line(written.error()));
        return;
    }
    const exchange::CheckedReport again = exchange::check_network_report(*written);
    ensure(!exchange::any_error(again.findings), "what is written has no errors",
           again.findings.empty() ? *written : again.findings.front().what + "\n" + *written);
    ensure(again.report.observations.size() == checked.report.observations.size(),
           "all observations are written", *written);
    const auto twice = exchange::write_network_report(again.report);
    ensure(twice && *twice == *written, "what is read again is written the same way", *written);
}

void check_server(std::string_view text) {
    const exchange::CheckedServerReport checked = exchange::check_server_report(text);
    check(checked.findings, 2 + text.size());
    fuzz::check(checked.report.position);
    ensure(std::isfinite(checked.report.discovery_jd_utc), "a discovery has its time");
    for (const exchange::ServerPoint& point : checked.report.photometry) {
        ensure(std::isfinite(point.jd_utc), "a point has its time");
        ensure(finite(point.flux_mag) && finite(point.flux_err_mag) && finite(point.limit_mag) &&
                   finite(point.exposure_s),
               "a point's numbers are numbers");
    }
    if (!checked.valid()) return;
    for (const bool json : {true, false}) {
        const auto written =
            json ? exchange::write_server_json(checked.report) : exchange::write_server_tsv(checked.report);
        if (!written) {
            fuzz::check(written.error());
            continue;
        }
        const exchange::CheckedServerReport again = exchange::check_server_report(*written);
        ensure(again.valid(), "what is written has no errors",
               again.findings.empty() ? *written : again.findings.front().what + "\n" + *written);
        const auto twice =
            json ? exchange::write_server_json(again.report) : exchange::write_server_tsv(again.report);
        ensure(twice && *twice == *written, "what is read again is written the same way", *written);
    }
}

}  // namespace

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size) {
    const std::string_view text = text_of(data, size);
    check_network(text);
    check_server(text);
    return 0;
}
