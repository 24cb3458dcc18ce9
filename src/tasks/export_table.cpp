// SPDX-License-Identifier: MIT
#include "tasks/export_table.hpp"

#include <fmt/format.h>

#include <cctype>
#include <filesystem>
#include <functional>
#include <optional>
#include <set>
#include <sstream>
#include <type_traits>

#include "exchange/fits_table.hpp"
#include "exchange/tables.hpp"
#include "quantities/delimited_table.hpp"
#include "quantities/new_file.hpp"
#include "tasks/temporary_folder.hpp"

namespace emberline::tasks {
namespace {

using exchange::TableFormat;
using night::FrameMeasurement;
using night::NightMeasurement;

// Empty for a word that is none.
std::optional<TableFormat> format_of(std::string_view word) {
    if (word == "csv") return TableFormat::csv;
    if (word == "ecsv") return TableFormat::ecsv;
    if (word == "votable") return TableFormat::votable;
    return std::nullopt;
}

template <class Row>
Result<void> for_each(const ledger::Ledger& ledger, const std::function<bool(const Row&)>& visit) {
    if constexpr (std::is_same_v<Row, FrameMeasurement>) {
        return ledger.for_each_frame_measurement(visit);
    } else {
        return ledger.for_each_night_measurement(visit);
    }
}

// A file name as part of a URI: RFC 3986, section 2.
std::string percent_encoded(std::string_view path) {
    std::string out;
    for (const char c : path) {
        const auto byte = static_cast<unsigned char>(c);
        const bool plain = byte < 0x80 && (std::isalnum(byte) != 0 || c == '/' || c == '.' || c == '-' ||
                                           c == '_' || c == '~');
        out += plain ? std::string(1, c) : fmt::format("%{:02X}", byte);
    }
    return out;
}

// Where the ledger lies as seen from the table; standard output is taken to end up in the campaign's folder.
std::string ledger_link(const Workspace& workspace, const std::string& file) {
    namespace fs = std::filesystem;
    const fs::path ledger = workspace.ledger_path();
    if (file.empty()) return percent_encoded(ledger.filename().string());
    std::error_code error;
    const fs::path folder = fs::weakly_canonical(fs::path(file), error).parent_path();
    const fs::path from_there = fs::relative(fs::weakly_canonical(ledger, error), folder, error);
    return error ? std::string() : percent_encoded(from_there.string());
}

// What the formats that describe their columns say above them: it takes a look at every row.
template <class Row>
Result<exchange::TableMeta> meta_of(const ledger::Ledger& ledger, const Workspace& workspace,
                                    const std::string& file) {
    const night::Campaign& campaign = workspace.campaign;
    const auto solutions = ledger.solutions();
    if (!solutions) return fail(solutions.error());
    std::set<Band> bands;
    const auto seen = for_each<Row>(ledger, [&](const Row& m) {
        if (!m.band.empty()) bands.insert(m.band);
        return true;
    });
    if (!seen) return fail(seen.error());
    std::error_code error;
    const std::filesystem::path ledger_path = workspace.ledger_path();
    return exchange::TableMeta{
        .transient = campaign.name,
        .position = campaign.position,
        .observer_code = campaign.observer_code,
        .observer_name = campaign.observer_name,
        .chart = campaign.chart,
        .software = software,
        .campaign = std::filesystem::weakly_canonical(ledger_path, error).parent_path().filename().string(),
        .solution = fmt::format("{}, solution {}", ledger_path.filename().string(), *solutions),
        .ledger_link = ledger_link(workspace, file),
        .bands = {bands.begin(), bands.end()}};
}

template <class Row>
Result<std::size_t> write_rows(const ledger::Ledger& ledger, const Workspace& workspace,
                               const std::string& file, TableFormat format, std::ostream& out) {
    exchange::TableMeta meta;
    if (format != TableFormat::csv) {
        auto known = meta_of<Row>(ledger, workspace, file);
        if (!known) return fail(known.error());
        meta = std::move(*known);
    }
    std::size_t rows = 0;
    exchange::TableWriter<Row> writer(out, format, meta);
    const auto read = for_each<Row>(ledger, [&](const Row& m) {
        writer.write(m);
        ++rows;
        return static_cast<bool>(out);
    });
    if (!read) return fail(read.error());
    writer.finish();
    return rows;
}

Result<std::size_t> write_table(const ledger::Ledger& ledger, const Workspace& workspace,
                                const ExportRequest& request, std::ostream& out) {
    const TableFormat format = *format_of(request.format);
    return request.frames ? write_rows<FrameMeasurement>(ledger, workspace, request.file, format, out)
                          : write_rows<NightMeasurement>(ledger, workspace, request.file, format, out);
}

template <class Row>
Result<std::size_t> write_fits(const ledger::Ledger& ledger, const Workspace& workspace,
                               const std::string& file) {
    const auto meta = meta_of<Row>(ledger, workspace, file);
    if (!meta) return fail(meta.error());
    auto writer = exchange::FitsTableWriter<Row>::create(file, *meta, workspace.campaign.site);
    if (!writer) return fail(writer.error());
    std::size_t rows = 0;
    Result<void> written;
    const auto read = for_each<Row>(ledger, [&](const Row& m) {
        written = writer->write(m);
        rows += written ? 1 : 0;
        return written.has_value();
    });
    if (!read) return fail(read.error());
    if (written) written = writer->finish();
    if (!written) return fail(written.error());
    return rows;
}

Result<ExportOutcome> export_fits(const ledger::Ledger& ledger, const Workspace& workspace,
                                  const ExportRequest& request) {
    const auto rows = request.frames ? write_fits<FrameMeasurement>(ledger, workspace, request.file)
                                     : write_fits<NightMeasurement>(ledger, workspace, request.file);
    if (!rows) return fail(rows.error());
    return ExportOutcome{.rows = *rows, .file = request.file};
}

}  // namespace

Result<ExportOutcome> export_table(const Workspace& workspace, const ExportRequest& request,
                                   std::ostream& out) {
    const bool fits = request.format == "fits";
    if (!fits && !format_of(request.format)) {
        return fail({.what = fmt::format("There is no format '{}'.", request.format),
                     .where = "--format",
                     .mend = "Use csv, ecsv, votable or fits.",
                     .kind = ProblemKind::request});
    }
    if (fits && request.file.empty()) {
        return fail({.what = "A FITS table is no text for standard output.",
                     .where = "--format fits",
                     .mend = "Name a file for it: --output table.fits.",
                     .kind = ProblemKind::request});
    }
    const auto ledger = ledger::Ledger::open(workspace.ledger_path(), ledger::Ledger::Access::read);
    if (!ledger) return fail(ledger.error());
    if (fits) return export_fits(*ledger, workspace, request);
    if (request.file.empty()) {
        const auto rows = write_table(*ledger, workspace, request, out);
        if (!rows) return fail(rows.error());
        out.flush();
        if (!out) {
            return fail({.what = "The table cannot be written.",
                         .where = "standard output",
                         .mend = "Check the free space there.",
                         .kind = ProblemKind::storage});
        }
        return ExportOutcome{.rows = *rows, .file = {}};
    }
    auto file = NewFile::open(request.file);
    if (!file) return fail(file.error());
    const auto rows = write_table(*ledger, workspace, request, file->out());
    if (!rows) return fail(rows.error());
    if (auto whole = file->commit(); !whole) return fail(whole.error());
    return ExportOutcome{.rows = *rows, .file = request.file};
}

Result<std::string> exported_table(const Workspace& workspace, const ExportRequest& request) {
    ExportRequest own = request;
    own.file.clear();
    std::ostringstream text;
    if (own.format != "fits") {
        const auto outcome = export_table(workspace, own, text);
        if (!outcome) return fail(outcome.error());
        return std::move(text).str();
    }
    const auto folder = TemporaryFolder::make();
    if (!folder) return fail(folder.error());
    own.file = folder->path("table.fits");
    const auto outcome = export_table(workspace, own, text);
    if (!outcome) return fail(outcome.error());
    return read_text_file(own.file);
}

}  // namespace emberline::tasks
