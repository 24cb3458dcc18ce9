// SPDX-License-Identifier: MIT
#include "tasks/export_table.hpp"

#include <fmt/format.h>
#include <unistd.h>

#include <filesystem>
#include <fstream>

#include "exchange/tables.hpp"

namespace emberline::tasks {
namespace {

exchange::TableMeta meta_of(const Workspace& workspace, bool frames) {
    return {{{"transient", workspace.campaign.name},
             {"observer", workspace.campaign.observer_code},
             {"software", software},
             {"level", frames ? "frame" : "night"}}};
}

Result<std::size_t> write_rows(const ledger::Ledger& ledger, const Workspace& workspace, bool frames,
                               exchange::TableFormat format, std::ostream& out) {
    std::size_t rows = 0;
    Result<void> read;
    if (frames) {
        exchange::FrameTableWriter writer(out, format, meta_of(workspace, true));
        read = ledger.for_each_frame_measurement([&](const night::FrameMeasurement& m) {
            writer.write(m);
            ++rows;
            return static_cast<bool>(out);
        });
    } else {
        exchange::NightTableWriter writer(out, format, meta_of(workspace, false));
        read = ledger.for_each_night_measurement([&](const night::NightMeasurement& m) {
            writer.write(m);
            ++rows;
            return static_cast<bool>(out);
        });
    }
    if (!read) return fail(read.error());
    return rows;
}

Problem not_written(const std::string& file) {
    return {.what = "The table cannot be written.",
            .where = file.empty() ? "standard output" : file,
            .mend = "Check the free space and the permissions there.",
            .kind = ProblemKind::storage};
}

}  // namespace

Result<ExportOutcome> export_table(const Workspace& workspace, const ExportRequest& request,
                                   std::ostream& out) {
    if (request.format != "csv" && request.format != "ecsv") {
        return fail({.what = fmt::format("There is no format '{}'.", request.format),
                     .where = "--format",
                     .mend = "Use csv or ecsv.",
                     .kind = ProblemKind::request});
    }
    const auto format = request.format == "csv" ? exchange::TableFormat::csv : exchange::TableFormat::ecsv;
    const auto ledger = ledger::Ledger::open(workspace.ledger_path(), ledger::Ledger::Access::read);
    if (!ledger) return fail(ledger.error());
    ExportOutcome outcome;
    outcome.file = request.file;
    if (request.file.empty()) {
        const auto rows = write_rows(*ledger, workspace, request.frames, format, out);
        if (!rows) return fail(rows.error());
        out.flush();
        if (!out) return fail(not_written(""));
        outcome.rows = *rows;
        return outcome;
    }
    // Beside the target first: a full disk leaves the old table as it was.
    const std::string beside = fmt::format("{}.{}.part", request.file, ::getpid());
    std::error_code ignored, error;
    {
        std::ofstream file(beside, std::ios::binary);
        const auto rows = write_rows(*ledger, workspace, request.frames, format, file);
        file.close();
        if (!rows || !file) {
            std::filesystem::remove(beside, ignored);
            return fail(rows ? not_written(request.file) : rows.error());
        }
        outcome.rows = *rows;
    }
    std::filesystem::rename(beside, request.file, error);
    if (error) {
        std::filesystem::remove(beside, ignored);
        return fail(not_written(request.file));
    }
    return outcome;
}

}  // namespace emberline::tasks
