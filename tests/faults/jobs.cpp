// SPDX-License-Identifier: MIT
#include <fmt/format.h>

#include <filesystem>
#include <fstream>
#include <stdexcept>

#include "faults/study.hpp"
#include "invented_table.hpp"

namespace emberline::faults {
namespace {

namespace fs = std::filesystem;

using testing::contents;

void write(const std::string& path, const std::string& text) {
    std::ofstream file(path, std::ios::binary);
    file << text;
    if (!file.flush()) throw std::runtime_error("cannot write " + path);
}

// A report that the ledger remembers is there, and holds as many lines as are remembered of it.
void judge_reports(const std::string& campaign, Tally& tally) {
    std::map<std::string, std::size_t> remembered;  // of one format, by time
    for (const auto& [key, row] : rows_of(ledger_of(campaign))) {
        if (key.starts_with("reported ") && row.cells.at("format") == "'network'")
            ++remembered[row.cells.at("since")];
    }
    std::vector<std::size_t> files;
    for (const auto& entry : fs::directory_iterator(campaign + "/out")) {
        if (entry.path().extension() != ".txt") continue;
        std::size_t lines = 0;
        for (const std::string& line : testing::lines_of(contents(entry.path().string())))
            lines += line.starts_with('#') ? 0 : 1;
        files.push_back(lines);
    }
    if (files.size() < remembered.size())
        tally.loss(fmt::format("{} reports are remembered, {} there", remembered.size(), files.size()));
    if (contents(campaign + "/out/report.txt").empty()) tally.loss("there is no report any more");
}

std::vector<Job> jobs_named(Study& study, const std::string& name) {
    if (name == "measure") {
        return {
            {.name = "measure", .base = study.fresh(), .words = {"measure", "-j", "1"}, .readable = false},
            {.name = "measure on", .base = study.half_measured(), .words = {"measure", "-j", "2"}}};
    }
    if (name == "watch") {
        const Words watch = {"watch", "--settle-s", "0.1", "--idle-s", "0.3"};
        return {
            {.name = "watch", .base = study.fresh(), .words = watch, .again = {"measure"}, .readable = false},
            {.name = "watch on", .base = study.half_measured(), .words = watch}};
    }
    if (name == "report") {
        return {{.name = "report", .base = study.measured(), .words = {"report"}, .judge = judge_reports},
                {.name = "server report",
                 .base = study.measured(),
                 .words = {"report", "--format", "server-tsv"},
                 .judge = judge_reports}};
    }
    if (name == "export") {
        const std::string& base = study.campaign("exported", [&](const std::string& place) {
            fs::copy(study.measured(), place, fs::copy_options::recursive);
            for (const char* format : {"csv", "fits"})
                must(on(place, {"export", "--format", format, "-o", std::string("{campaign}/t.") + format}));
        });
        std::vector<Job> out;
        for (const char* format : {"csv", "votable", "fits"}) {
            out.push_back({.name = fmt::format("export {}", format),
                           .base = base,
                           .words = {"export", "--level", "frame", "--format", format, "-o",
                                     std::string("{campaign}/t.") + format}});
        }
        return out;
    }
    if (name == "exclude") {
        return {{.name = "exclude",
                 .base = study.measured(),
                 .words = {"exclude", "2024-03-18", "--reason", "the Moon"}},
                {.name = "include",
                 .base = study.measured(),
                 .words = {"include", "frames/2024-03-14/V_002.fits"}}};
    }
    if (name == "sequence") {
        const std::string& base = study.campaign("catalogued", [&](const std::string& place) {
            fs::copy(study.measured(), place, fs::copy_options::recursive);
            const SkyPosition middle{Angle::degrees(201.338), Angle::degrees(37.27)};
            write(place + "/gaia.csv", test::invented_table(test::invented_rows(middle, 120, 4)));
        });
        return {{.name = "sequence build",
                 .base = base,
                 .words = {"sequence", "build", "{campaign}/gaia.csv", "--replace"}}};
    }
    if (name == "stack") {
        return {{.name = "stack",
                 .base = study.measured(),
                 .words = {"stack", "--night", "2024-03-18", "--replace"}}};
    }
    throw std::runtime_error("there is no job " + name);
}

}  // namespace

const std::vector<Measured>& jobs(Study& study, const std::string& name) {
    static std::map<std::string, std::vector<Measured>> known;
    const auto found = known.find(name);
    if (found != known.end()) return found->second;
    std::vector<Measured> out;
    for (Job& job : jobs_named(study, name))
        out.push_back(study.undisturbed(std::move(job)));
    return known.emplace(name, std::move(out)).first->second;
}

}  // namespace emberline::faults
