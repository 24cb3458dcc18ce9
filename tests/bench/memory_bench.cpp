// SPDX-License-Identifier: MIT
// Peak memory of the program beyond its libraries, for few and many frames, small and large, beside a host
// and far from any.
//   emberline_memory_bench [FOLDER for temporary files]
#include <fmt/format.h>

#include <filesystem>
#include <string_view>

#include "bench.hpp"
#include "rehearsal/rehearse.hpp"

namespace {

using namespace emberline;
using namespace emberline::bench;
namespace fs = std::filesystem;

struct Case {
    int frames, side_px;
    bool host;
};

void make(const std::string& campaign, const Case& c) {
    rehearsal::RehearsalOptions options;
    options.nights = std::max(1, c.frames / 10);
    options.frames = std::min(10, c.frames);
    options.night_spacing_days = 1.0;
    options.decline_mag_per_day = 0.01;
    options.host = c.host;
    options.width_px = options.height_px = c.side_px;
    must(rehearsal::rehearse(campaign, options));
}

}  // namespace

int main(int argc, char** argv) {
    if (argc > 5 && std::string_view(argv[1]) == "make") {
        make(argv[2], {std::atoi(argv[3]), std::atoi(argv[4]), std::string_view(argv[5]) == "host"});
        return 0;
    }
    const Folder folder(argc > 1 ? fs::path(argv[1]) : fs::temp_directory_path());
    std::setvbuf(stdout, nullptr, _IOLBF, 0);
    const double libraries = spent_by({EMBERLINE_PROGRAM, "--version"}).peak_mib;
    fmt::print("Peak memory of `emberline` beyond that of `emberline --version` ({:.1f} MiB)\n", libraries);
    std::string growth, solving;
    for (const Case& c : {Case{20, 400, false}, Case{400, 400, false}, Case{2, 6000, false},
                          Case{20, 400, true}, Case{100, 400, true}}) {
        const std::string campaign = folder / "campaign";
        spent_by({argv[0], "make", campaign, std::to_string(c.frames), std::to_string(c.side_px),
                  c.host ? "host" : "alone"});
        const double measured =
            spent_by({EMBERLINE_PROGRAM, "measure", "-q", "-c", campaign}).peak_mib - libraries;
        const Spent solved = spent_by({EMBERLINE_PROGRAM, "measure", "--again", "-q", "-c", campaign});
        const double again = solved.peak_mib - libraries;
        const std::string what = fmt::format("{} frames of {:.2f} Mpx{}", c.frames,
                                             1e-6 * c.side_px * c.side_px, c.host ? " beside a host" : "");
        fmt::print("  {}: measure {:.1f}, measure --again {:.1f}\n", what, measured, again);
        figure(fmt::format("memory, {}", what), Goal::at_most, 64.0, measured, " MiB");
        growth += fmt::format("{}{:.0f} MiB of {}", growth.empty() ? "" : ", ", measured, what);
        solving += fmt::format("{}{:.2f} s of {}", solving.empty() ? "" : ", ", solved.processor_s, what);
        fs::remove_all(campaign);
    }
    grows("the whole campaign solved again", solving);
    grows("memory of measure", growth);
}
