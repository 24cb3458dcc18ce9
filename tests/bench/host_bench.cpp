// SPDX-License-Identifier: MIT
// tests/bench/host_bench — processor seconds a frame for each way of taking the host away (goal: under 1), on
// an invented campaign of 12 frames of 800 × 600 pixels with 10 comparison stars, one thread.
#include <fmt/format.h>
#include <unistd.h>

#include <filesystem>
#include <functional>
#include <map>

#include "bench.hpp"
#include "frame/frame.hpp"
#include "night/host_template.hpp"
#include "night/measure_frame.hpp"
#include "night/solve_campaign.hpp"
#include "rehearsal/rehearse.hpp"

namespace {

using namespace emberline;
using photometry::HostMethod;

using bench::least_processor_s, bench::must;

}  // namespace

int main() {
    namespace fs = std::filesystem;
    const bench::Folder temporary;
    const std::string folder = temporary / "host";
    rehearsal::RehearsalOptions options;
    options.nights = 3;
    options.frames = 4;
    options.host_kind = rehearsal::HostKind::spiral;
    options.host_offset_arcsec = 8.0;
    options.host_template = rehearsal::TemplateOptions{};
    must(rehearsal::rehearse(folder, options));
    const auto campaign = must(night::read_campaign(folder));
    const auto sequence = must(standard::read_sequence(campaign.path(campaign.catalog)));
    std::vector<std::string> paths;
    for (const auto& entry : fs::recursive_directory_iterator(folder + "/frames")) {
        if (entry.is_regular_file()) paths.push_back(entry.path().string());
    }
    const auto n = static_cast<double>(paths.size());
    const auto measure = [&](const night::Campaign& own, const night::HostTemplates* templates) {
        std::vector<photometry::FrameFluxes> fluxes;
        for (const std::string& path : paths) {
            const auto frames = must(frame::open_frames(path, own.instruments));
            fluxes.push_back(
                must(night::measure_frame(frames.front(), path, path, sequence, own, templates)));
        }
        return fluxes;
    };
    const night::HostTemplates templates(sequence, campaign);
    const double with_psf = least_processor_s(3, [&] { static_cast<void>(measure(campaign, nullptr)); }) / n;
    std::vector<photometry::FrameFluxes> fluxes;
    const double with_template = least_processor_s(3, [&] { fluxes = measure(campaign, &templates); }) / n;
    fmt::print("Milliseconds a frame, one thread, best of three, {} frames:\n", paths.size());
    fmt::print("  measured, with PSF and surroundings  {:7.1f}\n", 1000.0 * with_psf);
    fmt::print("  … and template subtracted            {:7.1f}  (template alone {:.1f})\n",
               1000.0 * with_template, 1000.0 * (with_template - with_psf));
    std::map<HostMethod, double> solved;
    for (const auto method :
         {HostMethod::annulus, HostMethod::difference, HostMethod::smooth, HostMethod::scene}) {
        night::Campaign own = campaign;
        own.host_method = method;
        solved[method] =
            least_processor_s(
                3, [&] { static_cast<void>(must(night::solve_campaign(fluxes, sequence, own, {}))); }) /
            n;
        fmt::print("  campaign solved by {:<18} {:7.1f}\n", word(method), 1000.0 * solved[method]);
    }
    bench::figure("template subtracted, measured and solved, a frame", bench::Goal::at_most, 1.0,
                  with_template + solved[HostMethod::difference], " s");
    bench::figure("scene fitted, measured and solved, a frame", bench::Goal::at_most, 1.0,
                  with_psf + solved[HostMethod::scene], " s");
    return 0;
}
