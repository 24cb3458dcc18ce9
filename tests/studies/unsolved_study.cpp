// SPDX-License-Identifier: MIT
// tests/studies/unsolved_study — nights with a meridian flip, drift, cloud and hardly a solved frame: do they
// give the magnitudes that they would have given with every frame solved?
//
//   emberline_unsolved_study [campaigns] [threads]
//
// The same invented frames are measured four times: with plate solutions in all headers; in the first frame
// of each night alone, and nothing else to go by than the comparison stars; in none, with a catalogue of the
// field; in the first frame, while half of the others bear a wrong one. Each night's magnitude is compared
// with that of the first way. Exit status 1: one differs by more than half its random error, or the frames
// that are used differ in number by more than one in twenty.
#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <cstdlib>
#include <filesystem>
#include <map>
#include <mutex>
#include <string>
#include <vector>

#include "numerics/robust.hpp"
#include "rehearsal/rehearse.hpp"
#include "study.hpp"
#include "tasks/measure.hpp"

namespace {

using namespace emberline;
using study::must;

constexpr double most_pull = 0.5;         // of a night's random error
constexpr double most_lost_share = 0.05;  // of the frames

struct Way {
    const char* name;
    int solved;
    bool catalogue;
    double misled_share;
};
constexpr Way ways[] = {{"all solved", 100000, false, 0.0},
                        {"one solved, comparison stars", 1, false, 0.0},
                        {"none solved, field catalogue", 0, true, 0.0},
                        {"one solved, half misled", 1, false, 0.5}};

rehearsal::RehearsalOptions options_of(std::uint64_t seed, const Way& way) {
    rehearsal::RehearsalOptions o;
    o.seed = seed;
    o.nights = 2;  // the second is cloudy
    o.frames = 10;
    o.peak_mag = 14.5;
    o.host = false;
    o.field.solved = way.solved;
    o.field.misled_share = way.misled_share;
    o.field.drift_px = 90.0;
    o.field.camera_angle_deg = static_cast<double>(seed % 36) * 10.0;
    o.field.mirrored = seed % 2 == 1;
    o.field.satellite_share = 0.1;
    return o;
}

struct Measured {
    std::map<std::string, night::NightMeasurement> nights;
    std::size_t used = 0, offered = 0;
};

Measured measured(std::uint64_t seed, const Way& way, const std::string& folder) {
    std::filesystem::remove_all(folder);
    must(rehearsal::rehearse(folder, options_of(seed, way)));
    auto workspace = must(tasks::open_workspace(folder));
    if (!way.catalogue) workspace.campaign.plate.catalogue.clear();
    tasks::MeasureRequest request;
    request.threads = 1;
    const auto outcome = must(tasks::measure(workspace, request));
    Measured out;
    out.offered = outcome.offered;
    for (const auto& frame : outcome.solution.frames)
        out.used += frame.used ? 1 : 0;
    for (const auto& night : outcome.solution.nights)
        out.nights.emplace(night.night, night);
    return out;
}

struct Tally {
    std::vector<double> difference_mmag, pull;
    std::size_t used = 0, offered = 0, nights = 0, missing = 0;
};

}  // namespace

int main(int argc, char** argv) {
    const std::size_t campaigns = argc > 1 ? std::strtoul(argv[1], nullptr, 10) : 20;
    const auto threads = static_cast<unsigned>(argc > 2 ? std::strtoul(argv[2], nullptr, 10) : 2);
    std::mutex lock;
    std::map<std::string, Tally> tallies;
    std::size_t finished = 0;
    study::over_seeds(campaigns, threads, 500, [&](std::uint64_t seed, const std::string& folder) {
        std::vector<Measured> all;
        for (const Way& way : ways)
            all.push_back(measured(seed, way, folder));
        const std::scoped_lock guard(lock);
        ++finished;
        for (std::size_t w = 0; w < std::size(ways); ++w) {
            Tally& tally = tallies[ways[w].name];
            tally.used += all[w].used;
            tally.offered += all[w].offered;
            for (const auto& [night, wanted] : all[0].nights) {
                ++tally.nights;
                const auto found = all[w].nights.find(night);
                if (found == all[w].nights.end() || !found->second.magnitude_mag || !wanted.magnitude_mag) {
                    ++tally.missing;
                    continue;
                }
                const double difference = *found->second.magnitude_mag - *wanted.magnitude_mag;
                tally.difference_mmag.push_back(1000.0 * difference);
                tally.pull.push_back(difference / *wanted.random_err_mag);
            }
        }
    });
    bool good = finished == campaigns;
    fmt::print(
        "{} campaigns of 2 nights of 10 frames: flip, drift of 90 px, cloud, any rotation, half mirrored\n",
        campaigns);
    fmt::print("{:<32}{:>12}{:>10}{:>24}{:>28}\n", "", "frames used", "nights", "difference, mmag",
               "in random errors, largest");
    const double reference_used = static_cast<double>(tallies[ways[0].name].used);
    for (const Way& way : ways) {
        const Tally& t = tallies[way.name];
        double largest = 0.0;
        for (const double p : t.pull)
            largest = std::max(largest, std::abs(p));
        const bool fine = t.missing == 0 && largest <= most_pull &&
                          std::abs(static_cast<double>(t.used) - reference_used) <=
                              most_lost_share * static_cast<double>(t.offered);
        good = good && fine;
        fmt::print("{:<32}{:>7}/{:<4}{:>6}/{:<3}{:>+14.2f} ± {:<6.2f}{:>21.3f}  {}\n", way.name, t.used,
                   t.offered, t.nights - t.missing, t.nights, study::mean_of(t.difference_mmag),
                   t.difference_mmag.empty() ? 0.0 : numerics::robust_spread(t.difference_mmag), largest,
                   fine ? "ok" : "OUT OF BOUNDS");
    }
    return good ? 0 : 1;
}
