// SPDX-License-Identifier: MIT
// A frame measured by the program, ledger and solution included, against the same reduction scripted with
// array libraries (scripted_reduction.py says what it does and what it leaves out): processor time a frame,
// with what starting takes set aside. The script reads only cut-outs in one column, whole frames in the
// other.
//   emberline_script_bench [FOLDER for temporary files]
#include <fmt/format.h>

#include <filesystem>

#include "bench.hpp"
#include "night/campaign.hpp"
#include "rehearsal/rehearse.hpp"

namespace {

using namespace emberline;
using namespace emberline::bench;
namespace fs = std::filesystem;

rehearsal::RehearsalOptions options_of(int nights, int frames, int width, int height) {
    rehearsal::RehearsalOptions options;
    options.nights = nights;
    options.frames = frames;
    options.comparison_stars = 20;
    options.host = false;
    options.cloud = options.trailing = options.flip = false;
    options.width_px = width;
    options.height_px = height;
    return options;
}

// The second line of two runs, of few and of many frames, has no start in it.
double program_s(const std::string& campaign) {
    const std::vector<std::string> measure{EMBERLINE_PROGRAM, "measure", "-q", "-j", "1", "-c", campaign};
    std::vector<std::string> first = measure;
    std::size_t frames = 0;
    for (const auto& entry : fs::recursive_directory_iterator(campaign + "/frames")) {
        if (!entry.is_regular_file()) continue;
        if (++frames == 1) first.push_back(entry.path().string());
    }
    const double one = spent_by(first).processor_s;
    fs::remove(campaign + "/campaign.ledger");
    const double all = spent_by(measure).processor_s;
    return (all - one) / static_cast<double>(frames - 1);
}

double script_s(const std::string& campaign, const char* how) {
    const auto settings = must(night::read_campaign(campaign));
    const std::string command = fmt::format(
        "{} {} {} {:.7f} {:.7f} {:.6f} {:.6f} {} 2>/dev/null", EMBERLINE_PYTHON, EMBERLINE_SCRIPTED_REDUCTION,
        campaign, settings.position.ra.degrees(), settings.position.dec.degrees(),
        settings.site->latitude.degrees(), settings.site->longitude.degrees(), how);
    std::FILE* pipe = ::popen(command.c_str(), "r");
    double seconds = 0.0;
    if (pipe == nullptr || std::fscanf(pipe, "%lf", &seconds) != 1) {
        fmt::print(stderr, "The script failed: {}\n", command);
        std::exit(1);
    }
    ::pclose(pipe);
    return seconds;
}

}  // namespace

int main(int argc, char** argv) {
    const Folder folder(argc > 1 ? fs::path(argv[1]) : fs::temp_directory_path());
    std::setvbuf(stdout, nullptr, _IOLBF, 0);
    fmt::print("Processor ms a frame of 20 stars; script with cut-outs, script with whole frames\n");
    std::string growth;
    for (const auto& [frames, width, height] : {std::tuple(40, 1152, 868), std::tuple(5, 6244, 4164)}) {
        const std::string campaign = folder / fmt::format("script-{}", width);
        must(rehearsal::rehearse(campaign, options_of(1, frames, width, height)));
        const double own = program_s(campaign);
        const double cutouts = script_s(campaign, "cutouts"), whole = script_s(campaign, "whole");
        const double megapixels = 1e-6 * width * height;
        fmt::print("{:5.1f} Mpx: program {:.1f}, script {:.1f} ({:.1f} times), {:.1f} ({:.1f} times)\n",
                   megapixels, 1e3 * own, 1e3 * cutouts, cutouts / own, 1e3 * whole, whole / own);
        figure(fmt::format("{:.0f} Mpx: script with cut-outs / program", megapixels), Goal::at_least, 10.0,
               cutouts / own, "");
        figure(fmt::format("{:.0f} Mpx: script with whole frames / program", megapixels), Goal::at_least,
               10.0, whole / own, "");
        growth += fmt::format("{}{:.0f} ms against {:.0f} and {:.0f} of {:.0f} Mpx",
                              growth.empty() ? "" : ", ", 1e3 * own, 1e3 * cutouts, 1e3 * whole, megapixels);
        fs::remove_all(campaign);
    }
    grows("a frame, program against script with cut-outs and with whole frames", growth);
}
