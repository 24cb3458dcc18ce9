// SPDX-License-Identifier: MIT
// emberline_fault_study [KINDS] [TRIALS] [SEED]: what the program makes of kills, full and failing disks,
// frames yanked away, and others on its ledger. KINDS: all, or names between commas, or how they begin.
// Prints the fault table; ends with 1 where anything was lost or came out differently.
#include <fmt/format.h>

#include <chrono>
#include <cstdlib>
#include <exception>

#include "faults/study.hpp"

using namespace emberline::faults;

namespace {

bool wanted(const std::string& kind, const std::string& list) {
    if (list == "all") return true;
    for (std::size_t from = 0; from <= list.size();) {
        const std::size_t to = std::min(list.find(',', from), list.size());
        if (to > from && kind.starts_with(list.substr(from, to - from))) return true;
        from = to + 1;
    }
    return false;
}

}  // namespace

int main(int argc, char** argv) {
    const std::string list = argc > 1 ? argv[1] : "all";
    const int trials = argc > 2 ? std::atoi(argv[2]) : 20;
    const auto seed = argc > 3 ? std::strtoull(argv[3], nullptr, 10) : 1ULL;
    bool good = true, any = false;
    try {
        Study study(seed);
        std::vector<Kind> kinds;
        for (const auto& more :
             {kill_kinds(), migration_kinds(), disk_kinds(), frame_kinds(), program_kinds(), thread_kinds()})
            kinds.insert(kinds.end(), more.begin(), more.end());
        fmt::print("seed {}\n{:28} {:>6} {:>7} {:>12}   how the program ended\n", seed, "kind", "trials",
                   "losses", "differences");
        for (const Kind& kind : kinds) {
            if (!wanted(kind.name, list)) continue;
            any = true;
            Tally tally(kind.name);
            const auto since = std::chrono::steady_clock::now();
            kind.run(study, tally, trials);
            const double seconds =
                std::chrono::duration<double>(std::chrono::steady_clock::now() - since).count();
            fmt::print("{}  ({:.1f} s)\n", tally.line(), seconds);
            std::fflush(stdout);
            good = good && tally.good();
        }
    } catch (const std::exception& error) {
        fmt::print(stderr, "The study cannot go on: {}\n", error.what());
        return 2;
    }
    if (!any) fmt::print(stderr, "There is no kind of fault named {}.\n", list);
    return good && any ? 0 : 1;
}
