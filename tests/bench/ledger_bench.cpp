// SPDX-License-Identifier: MIT
// What a large ledger costs: ledgers of 10 000, 100 000 and a million measured frames, each with the fluxes
// of the transient and four stars and a magnitude in the solution; opened, one night read, one frame
// appended, and every magnitude exported. Each step runs in a process of its own, so that its peak of memory
// is its own. The frames are those of a small rehearsal, measured, and multiplied within the tables.
//   emberline_ledger_bench [FOLDER for temporary files]
#include <fmt/format.h>
#include <sqlite3.h>

#include <filesystem>
#include <fstream>
#include <map>
#include <string_view>

#include "bench.hpp"
#include "ledger/ledger.hpp"
#include "rehearsal/rehearse.hpp"
#include "tasks/export_table.hpp"
#include "tasks/measure.hpp"

namespace {

using namespace emberline;
using namespace emberline::bench;
namespace fs = std::filesystem;

constexpr int frames_a_night = 100;
constexpr const char* steps[] = {"open", "night", "append", "export"};

// The values that copy number i, from 1, of an example's row gets; every other column stays as it is. A copy
// has the four frames of the example, a night twenty-five copies.
constexpr int examples = 4;
const std::map<std::string, std::string> copied = {
    {"id", "e.id + 4 * i"},
    {"frame_fluxes_id", "e.frame_fluxes_id + 4 * i"},
    {"position", "e.position + 4 * i"},
    {"fingerprint", "printf('%032x', e.id + 4 * i)"},
    {"frame", "printf('frames/%s/%08d.fits', date(2459000.5 + i / 25), e.id + 4 * i)"},
    {"night", "date(2459000.5 + i / 25)"},
    {"mid_jd_day", "2459001.0 + i / 25"},
    {"mid_jd_fraction", "0.3 + (e.id + 4 * (i % 25)) / 1440.0"},
    {"jd_utc", "2459001.3 + i / 25 + (e.id + 4 * (i % 25)) / 1440.0"},
    {"bjd_tdb", "2459001.3 + i / 25 + (e.id + 4 * (i % 25)) / 1440.0"}};

void execute(sqlite3* ledger, const std::string& sql) {
    char* message = nullptr;
    if (sqlite3_exec(ledger, sql.c_str(), nullptr, nullptr, &message) == SQLITE_OK) return;
    fmt::print(stderr, "{}: {}\n", sql.substr(0, 200), message);
    std::exit(1);
}

void multiply_rows(sqlite3* ledger, const std::string& table, int copies, int step) {
    std::string names, values;
    sqlite3_stmt* columns = nullptr;
    sqlite3_prepare_v2(ledger, fmt::format("SELECT name FROM pragma_table_info('{}')", table).c_str(), -1,
                       &columns, nullptr);
    while (sqlite3_step(columns) == SQLITE_ROW) {
        const std::string name = reinterpret_cast<const char*>(sqlite3_column_text(columns, 0));
        const auto value = copied.find(name);
        // A star's place among its frame's is its own.
        const bool own = value == copied.end() || (table == "star_flux" && name == "position");
        names += fmt::format("{}{}", names.empty() ? "" : ", ", name);
        values += fmt::format("{}{}", values.empty() ? "" : ", ", own ? "e." + name : value->second);
    }
    sqlite3_finalize(columns);
    execute(
        ledger,
        fmt::format("WITH RECURSIVE n(i) AS (SELECT {3} UNION ALL SELECT i + {3} FROM n WHERE i + {3} < {4}) "
                    "INSERT INTO {0} ({1}) SELECT {2} FROM n JOIN (SELECT * FROM {0}) e",
                    table, names, values, step, copies));
}

void multiply(const std::string& path, int nights) {
    sqlite3* ledger = nullptr;
    sqlite3_open(path.c_str(), &ledger);
    const int copies = nights * frames_a_night / examples;
    execute(ledger, "PRAGMA synchronous = OFF");
    execute(ledger, "BEGIN");
    multiply_rows(ledger, "frame_fluxes", copies, 1);
    multiply_rows(ledger, "star_flux", copies, 1);
    multiply_rows(ledger, "frame_measurement", copies, 1);
    multiply_rows(ledger, "night_measurement", copies, frames_a_night / examples);
    execute(ledger, "COMMIT");
    sqlite3_close(ledger);
    // On the disk before anything is timed: the first commit after would wait for all of it.
    const int file = ::open(path.c_str(), O_RDONLY);
    ::fsync(file);
    ::close(file);
}

void make(const std::string& campaign, int nights) {
    rehearsal::RehearsalOptions options;
    options.nights = 1;
    options.frames = examples;
    options.host = false;
    options.width_px = 420;
    options.height_px = 360;
    options.comparison_stars = 4;
    must(rehearsal::rehearse(campaign, options));
    const auto workspace = must(tasks::open_workspace(campaign));
    must(tasks::measure(workspace, {}));
    multiply(workspace.ledger_path(), nights);
}

// One step, in a process of its own.
int step(const std::string& what, const std::string& folder) {
    const auto workspace = must(tasks::open_workspace(folder));
    if (what == "nothing") return 0;
    const auto access = what == "append" ? ledger::Ledger::Access::write : ledger::Ledger::Access::read;
    if (what == "export") {
        std::ofstream out("/dev/null");
        must(tasks::export_table(workspace, {.frames = true, .format = "csv"}, out));
        return 0;
    }
    auto ledger = must(ledger::Ledger::open(workspace.ledger_path(), access));
    if (what == "open") return 0;
    const std::string night = must(ledger.newest_night()).value();
    auto fluxes = must(ledger.frames_of(night));
    if (what == "night") {
        must(ledger.newest_of(night));
        return 0;
    }
    // One more exposure of that night.
    photometry::FrameFluxes next = fluxes.back();
    next.frame += ".next";
    next.fingerprint[0] = 'f';
    next.mid_exposure.fraction += 0.001;
    must(ledger.record({next}, workspace.provenance()));
    return 0;
}

}  // namespace

int main(int argc, char** argv) {
    if (argc > 3 && std::string_view(argv[1]) == "step") return step(argv[2], argv[3]);
    if (argc > 3 && std::string_view(argv[1]) == "make") {
        make(argv[2], std::atoi(argv[3]));
        return 0;
    }
    const Folder folder(argc > 1 ? fs::path(argv[1]) : fs::temp_directory_path());
    std::setvbuf(stdout, nullptr, _IOLBF, 0);
    fmt::print("A ledger of N frames: processor ms and MiB beyond a program that only reads the settings\n");
    fmt::print("{:>9} {:>8} | {:>8} {:>6} | {:>8} {:>6} | {:>8} {:>6} | {:>8} {:>6}\n", "frames", "MB",
               "open", "MiB", "night", "MiB", "append", "MiB", "export", "MiB");
    std::map<std::string, std::string> growth;
    for (const int nights : {100, 1000, 10000}) {
        const std::string campaign = folder / fmt::format("ledger-{}", nights);
        spent_by({argv[0], "make", campaign, std::to_string(nights)});
        const auto run = [&](const char* what) { return spent_by({argv[0], "step", what, campaign}); };
        const Spent nothing = run("nothing");
        fmt::print("{:9} {:8.0f}", nights * frames_a_night,
                   static_cast<double>(fs::file_size(campaign + "/campaign.ledger")) / 1e6);
        std::map<std::string, double> memory;
        for (const char* what : steps) {
            const Spent spent = run(what);
            const double ms = 1e3 * std::max(0.0, spent.processor_s - nothing.processor_s);
            const double mib = std::max(0.0, spent.peak_mib - nothing.peak_mib);
            fmt::print(" | {:8.1f} {:6.1f}", ms, mib);
            growth[what] +=
                fmt::format("{}{:.0f} ms, {:.0f} MiB", growth[what].empty() ? "" : " → ", ms, mib);
            memory[what] = mib;
        }
        fmt::print("\n");
        if (nights == 10000) {
            for (const char* what : steps) {
                figure(fmt::format("a million frames in the ledger, {}: memory", what), Goal::at_most, 64.0,
                       memory[what], " MiB");
            }
        }
        fs::remove_all(campaign);
    }
    for (const char* what : steps)
        grows(fmt::format("the ledger, {}: 10 000, 100 000, a million frames", what), growth[what]);
}
