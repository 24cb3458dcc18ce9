// SPDX-License-Identifier: MIT
#include <fmt/format.h>

#include <iostream>
#include <memory>
#include <nlohmann/json.hpp>
#include <sstream>

#include "command/face.hpp"
#include "command/findings.hpp"
#include "exchange/table_check.hpp"
#include "tasks/export_table.hpp"

namespace emberline::command {
namespace {

struct ExportOptions {
    tasks::ExportRequest table;
    std::string level = "night", check;
};

void check_table(const std::string& file, Face& face) {
    const auto table = exchange::check_table_file(file);
    if (!table) {
        face.status = face.say(table.error());
        return;
    }
    face.status = table->valid() ? all_done : something_refused;
    const std::string level(table->level ? exchange::name(*table->level) : std::string_view());
    if (face.json) {
        face.say_json({{"file", file},
                       {"valid", table->valid()},
                       {"format", table->format},
                       {"level", level},
                       {"rows", table->rows},
                       {"findings", findings_document(table->findings)}});
        return;
    }
    print_findings(std::cout, table->findings);
    std::cout << fmt::format("{}: {}{} table, {} row{}, {}.\n", file, table->format,
                             level.empty() ? "" : " " + level, table->rows, table->rows == 1 ? "" : "s",
                             table->valid() ? "no error" : "with errors");
}

void run(ExportOptions request, Face& face) {
    if (!request.check.empty()) return check_table(request.check, face);
    request.table.frames = request.level == "frame";
    const auto workspace = tasks::open_workspace(face.campaign);
    if (!workspace) {
        face.status = face.say(workspace.error());
        return;
    }
    std::ostringstream kept;  // with --json the table is one value of the document
    const auto outcome = tasks::export_table(*workspace, request.table, face.json ? kept : std::cout);
    if (!outcome) {
        face.status = face.say(outcome.error());
        return;
    }
    if (outcome->rows == 0) face.status = nothing_measured;
    if (face.json) {
        tasks::Json json = {{"rows", outcome->rows}, {"file", outcome->file}};
        if (outcome->file.empty()) json["table"] = kept.str();
        face.say_json(json);
        return;
    }
    if (!outcome->file.empty())
        std::cout << fmt::format("{} rows are in {}.\n", outcome->rows, outcome->file);
}

}  // namespace

void add_export(CLI::App& app, Face& face) {
    CLI::App* sub = app.add_subcommand("export", "Tables for other programs");
    sub->footer(
        "Examples:\n  emberline export > nights.csv\n"
        "  emberline export --level frame --format ecsv -o frames.ecsv\n"
        "  emberline export --format fits -o nights.fits\n"
        "  emberline export --check frames.ecsv");
    const auto request = std::make_shared<ExportOptions>();
    sub->add_option("--level", request->level, "A row a night, or a row a frame")
        ->type_name("LEVEL")
        ->capture_default_str()
        ->check(CLI::IsMember({"night", "frame"}));
    sub->add_option("--format", request->table.format, "Format of the table")
        ->type_name("FORMAT")
        ->capture_default_str()
        ->check(CLI::IsMember({"csv", "ecsv", "votable", "fits"}));
    sub->add_option("-o,--output", request->table.file, "File to write")
        ->type_name("FILE")
        ->default_str("standard output; fits needs a file");
    sub->add_option("--check", request->check, "Only check such a table, in any of these formats")
        ->type_name("FILE");
    sub->callback([request, &face] { run(*request, face); });
}

}  // namespace emberline::command
