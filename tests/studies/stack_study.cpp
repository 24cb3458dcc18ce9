// SPDX-License-Identifier: MIT
// tests/studies/stack_study — live stacks with headers that tell all, a count or nothing: what a stored pixel
// is taken to be worth over what it is, the time over the truth, and whether one sigma means one sigma.
//
//   emberline_stack_study [campaigns] [threads]
//
// Sums, means and medians of 20 exposures of 10 s, three more left out, aligned by whole pixels or by parts,
// saved in 16 bits or as floating-point numbers. Headers: all of it; a count; silence; the last two with and
// without the camera's offset in the campaign. Exit status 1: a number out of its bounds, marked MISSED.
#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <cstdlib>
#include <fstream>
#include <map>
#include <mutex>
#include <vector>

#include "frame/frame.hpp"
#include "frame/read_stack.hpp"
#include "frame/write_frame.hpp"
#include "night/measure_frame.hpp"
#include "night/solve_campaign.hpp"
#include "numerics/robust.hpp"
#include "quantities/magnitude.hpp"
#include "rehearsal/campaign_text.hpp"
#include "rehearsal/live_stack.hpp"
#include "sky/time_scales.hpp"
#include "study.hpp"

namespace {

using namespace emberline;
using frame::StackKind;
using rehearsal::StackHeader;
using study::must;

// What the gain may be off by: a header that tells all leaves nothing to guess; sky alone tells a count to
// the error of its blocks; without an offset, the stars' light must help. Whether a mean or a median is often
// not to be told, a factor of 1.5 at most, and flagged.
struct Told {
    const char* name;
    StackHeader header;
    bool offset;
    double gain_within;  // of the cell's median, a factor
};
constexpr Told tellings[] = {{"all", StackHeader::all, false, 1.02},
                             {"count + offset", StackHeader::count, true, 1.5},
                             {"count", StackHeader::count, false, 1.5},
                             {"silent + offset", StackHeader::silent, true, 1.25},
                             {"silent", StackHeader::silent, false, 1.5}};
constexpr StackKind kinds[] = {StackKind::mean, StackKind::sum, StackKind::median};

struct Cell {
    StackKind kind = StackKind::mean;
    std::size_t told = 0;
    bool interpolated = false, whole_numbers = false;
    auto operator<=>(const Cell&) const = default;
};

struct Scores {
    std::vector<double> gain, late_s;  // used over true; used − true
    std::vector<double> frame_pulls, night_pulls,
        total;  // differences in a campaign; nights' with all errors
    std::size_t frames = 0, inferred = 0, uncertain = 0, assumed = 0, refused = 0;
};

rehearsal::RehearsalOptions options_of(std::uint64_t seed) {
    rehearsal::RehearsalOptions options;
    options.seed = seed;
    options.nights = 2;
    options.frames = 4;
    options.exposure_s = 10.0;
    options.host = false;
    options.cloud = options.trailing = false;
    options.catalogue_err_mag = 0.01;
    options.width_px = 420;
    options.height_px = 320;
    return options;
}

constexpr int exposures = 20, dropped = 3;

// Var of a − b beyond their random errors.
double common_of_difference(const night::Measurement& a, const night::Measurement& b) {
    std::map<std::string, double> sums;
    for (const auto& c : a.common)
        sums[c.name] += c.err_mag;
    for (const auto& c : b.common)
        sums[c.name] -= c.err_mag;
    double variance = 0.0;
    for (const auto& [name, v] : sums)
        variance += v * v;
    return variance;
}

void score(const std::vector<photometry::FrameFluxes>& fluxes, const std::map<std::string, double>& truth,
           const standard::Sequence& sequence, const night::Campaign& campaign, Scores& s) {
    const auto solution = must(night::solve_campaign(fluxes, sequence, campaign, {})).solution;
    const night::FrameMeasurement* last = nullptr;
    std::map<std::string, std::vector<double>> night_light;
    for (const night::FrameMeasurement& f : solution.frames) {
        if (!f.used) continue;
        night_light[f.night].push_back(flux_ratio(truth.at(f.frame)));
        if (last == nullptr || last->night != f.night) {
            last = &f;
            continue;
        }
        const auto ratio = [&](const night::FrameMeasurement& m) {
            const double expected = flux_ratio(truth.at(m.frame) - m.zero_point_mag);
            return Flux{m.flux_e.value / expected, m.flux_e.err / expected};
        };
        const Flux one = ratio(f), other = ratio(*last);
        s.frame_pulls.push_back((one.value - other.value) / std::hypot(one.err, other.err));
        last = nullptr;
    }
    const night::NightMeasurement* before = nullptr;
    double error_before = 0.0;
    for (const night::NightMeasurement& n : solution.nights) {
        if (n.is_limit) continue;
        const double error =
            *n.magnitude_mag - magnitude_difference(study::mean_of(night_light[n.night]), 1.0);
        s.total.push_back(error / *n.total_err_mag());
        if (before != nullptr) {
            s.night_pulls.push_back((error - error_before) /
                                    std::sqrt(std::pow(*n.random_err_mag, 2.0) +
                                              std::pow(*before->random_err_mag, 2.0) +
                                              common_of_difference(n, *before)));
            before = nullptr;
        } else {
            before = &n;
            error_before = error;
        }
    }
}

void write(const std::string& path, const std::string& text) {
    std::ofstream(path) << text;
}

void save(const std::string& path, const rehearsal::InventedStack& stack, bool whole_numbers,
          const std::vector<frame::Card>& cards) {
    const std::vector<std::uint16_t> whole(stack.adu.begin(), stack.adu.end());
    const std::span<const float> real(stack.adu);
    const auto written =
        whole_numbers ? frame::write_frame(path, stack.width_px, stack.height_px, std::span(whole), cards)
                      : frame::write_frame(path, stack.width_px, stack.height_px, real, cards);
    if (!written) throw std::runtime_error(one_line(written.error()));
}

using Table = std::map<Cell, Scores>;

Table one_campaign(std::uint64_t seed, const std::string& folder) {
    auto invented = must(rehearsal::invent_campaign(options_of(seed)));
    std::filesystem::create_directories(folder);
    write(folder + "/comparison.csv", rehearsal::comparison_csv(invented));
    write(folder + "/campaign.toml", rehearsal::campaign_toml(invented));
    const auto plain = must(night::read_campaign(folder));
    auto with_offset = plain;
    with_offset.instruments.front().offset_adu = invented.instrument.offset_adu;
    const auto sequence = must(standard::read_sequence(plain.path(plain.catalog)));
    // Stacks follow each other, each as long as its exposures and those left out.
    rehearsal::StackOptions stack{.exposures = exposures, .dropped = dropped};
    const double stack_s = (exposures + dropped) * (options_of(seed).exposure_s + stack.between_s) + 20.0;
    std::map<std::string, std::pair<Instant, int>> nights;
    for (rehearsal::PlannedFrame& planned : invented.frames) {
        auto& [start, n] = nights.try_emplace(planned.night, planned.start_utc, 0).first->second;
        planned.start_utc = sky::later_by(start, n++ * stack_s);
    }

    std::map<std::string, std::vector<rehearsal::StackExposure>> parts;
    for (const rehearsal::PlannedFrame& planned : invented.frames)
        parts[planned.path] = rehearsal::expose_parts(invented, planned, stack);

    Table table;
    for (const StackKind kind : kinds) {
        for (const bool interpolated : {false, true}) {
            for (const bool whole : {true, false}) {
                std::vector<std::vector<photometry::FrameFluxes>> fluxes(std::size(tellings));
                std::map<std::string, double> truth;
                for (const rehearsal::PlannedFrame& planned : invented.frames) {
                    stack.kind = kind;
                    stack.interpolated = interpolated;
                    stack.whole_numbers = whole;
                    const auto exposed =
                        rehearsal::put_together(invented, planned, stack, parts.at(planned.path));
                    truth[planned.path] = exposed.transient_mag;
                    const double true_gain =
                        invented.instrument.gain_e_per_adu * frame::stack_scale(kind, exposures).gain;
                    for (std::size_t t = 0; t < std::size(tellings); ++t) {
                        stack.header = tellings[t].header;
                        const auto& campaign = tellings[t].offset ? with_offset : plain;
                        const auto cards = rehearsal::head_stack(invented, planned, stack).cards;
                        const std::string path = folder + "/stack.fits";
                        save(path, exposed, whole, cards);
                        Scores& s = table[{kind, t, interpolated, whole}];
                        ++s.frames;
                        auto measured =
                            night::measure_frame(must(frame::open_frames(path, campaign.instruments))[0],
                                                 planned.path, planned.path, sequence, campaign);
                        if (!measured) {
                            if (s.refused++ == 0)
                                fmt::print(stderr, "seed {}, {}: {}\n", seed, tellings[t].name,
                                           one_line(measured.error()));
                            continue;
                        }
                        s.gain.push_back(measured->gain_e_per_adu / true_gain);
                        s.late_s.push_back(
                            sky::seconds_between(exposed.middle_of_light, measured->mid_exposure));
                        s.inferred += measured->caveats.has(Caveat::stack_inferred);
                        s.uncertain += measured->caveats.has(Caveat::time_uncertain);
                        s.assumed += measured->caveats.has(Caveat::gain_assumed);
                        fluxes[t].push_back(std::move(*measured));
                    }
                }
                for (std::size_t t = 0; t < std::size(tellings); ++t) {
                    if (!fluxes[t].empty())
                        score(fluxes[t], truth, sequence, plain, table[{kind, t, interpolated, whole}]);
                }
            }
        }
    }
    return table;
}

int failures = 0;

const char* mark(bool good) {
    failures += good ? 0 : 1;
    return good ? " " : " MISSED";
}

// 0.9–1.1, and two of its own chance; of photons alone, a gain that is taken too large makes it wider.
bool honest(const std::vector<double>& pulls, double gain) {
    if (pulls.size() < 4) return true;
    const double spread = numerics::robust_spread(pulls);
    const double grace = 2.0 * 0.8 / std::sqrt(static_cast<double>(pulls.size()));
    return spread > 0.9 - grace && spread < 1.1 * std::sqrt(std::max(1.0, gain)) + grace;
}

// Pauses and exposures that were left out are in no header but the first kind's: half of them at most, and
// two fifths of the exposures where they were counted by their noise. What is not known must be flagged.
bool timely(const Told& told, const Scores& s, double late_s, double latest_s) {
    const double one_s = 10.0, hidden_s = 0.5 * ((exposures + dropped - 1) * 1.0 + dropped * one_s);
    if (told.header == StackHeader::all) return latest_s < hidden_s;
    const double counted_s = told.header == StackHeader::silent ? exposures * one_s / 5.0 : 0.0;
    return std::abs(late_s) < hidden_s + counted_s + 10.0 && s.uncertain + s.refused == s.frames;
}

bool gained(const Told& told, const Scores& s, double gain) {
    const bool near = gain < told.gain_within && gain > 1.0 / told.gain_within;
    const bool told_all = told.header == StackHeader::all;
    return near && (told_all ? s.inferred + s.assumed == 0 : s.inferred + s.assumed >= s.gain.size());
}

void line(const Cell& cell, const Scores& s) {
    const Told& told = tellings[cell.told];
    const double gain = numerics::median(s.gain);
    const double gain_spread = numerics::robust_spread(s.gain);
    const double late_s = numerics::median(s.late_s);
    double latest_s = 0.0;
    for (const double t : s.late_s)
        latest_s = std::max(latest_s, std::abs(t));
    const auto share = [&](std::size_t n) {
        return 100.0 * static_cast<double>(n) / static_cast<double>(s.frames);
    };
    fmt::print(
        "{:<7}{:<16}{:<9}{:<7}{:6.2f} ±{:5.2f} {:8.1f} {:6.1f}   {:5.2f} {:5.2f} {:5.2f}   "
        "{:4.0f}{:5.0f}{:5.0f}{:5}{}\n",
        frame::word(cell.kind), told.name, cell.interpolated ? "parts" : "whole",
        cell.whole_numbers ? "16 bit" : "float", gain, gain_spread, late_s, latest_s,
        numerics::robust_spread(s.frame_pulls), numerics::robust_spread(s.night_pulls),
        numerics::robust_spread(s.total), share(s.inferred), share(s.uncertain), share(s.assumed), s.refused,
        mark(gained(told, s, gain) && timely(told, s, late_s, latest_s) && honest(s.frame_pulls, gain) &&
             honest(s.night_pulls, gain) && s.refused == 0));
}

}  // namespace

int main(int count, char** arguments) {
    const std::size_t campaigns = count > 1 ? std::strtoul(arguments[1], nullptr, 10) : 24;
    const auto threads = static_cast<unsigned>(count > 2 ? std::strtoul(arguments[2], nullptr, 10) : 2);
    Table all;
    std::mutex lock;
    study::over_seeds(campaigns, threads, 5000, [&](std::uint64_t seed, const std::string& folder) {
        const Table one = one_campaign(seed, folder);
        const std::scoped_lock held(lock);
        for (const auto& [cell, from] : one) {
            Scores& to = all[cell];
            const auto join = [](std::vector<double>& a, const std::vector<double>& b) {
                a.insert(a.end(), b.begin(), b.end());
            };
            join(to.gain, from.gain);
            join(to.late_s, from.late_s);
            join(to.frame_pulls, from.frame_pulls);
            join(to.night_pulls, from.night_pulls);
            join(to.total, from.total);
            to.frames += from.frames;
            to.inferred += from.inferred;
            to.uncertain += from.uncertain;
            to.assumed += from.assumed;
            to.refused += from.refused;
        }
    });
    fmt::print("{} campaigns of 8 stacks, each of {} exposures of 10 s and {} left out\n", campaigns,
               exposures, dropped);
    fmt::print(
        "stack  header          aligned  saved    gain over truth  late, s  most   spread of pulls    "
        "flags, % of frames\n");
    fmt::print(
        "                                         median scatter   median          pairs night total   "
        "infer time gain  refused\n");
    for (const auto& [cell, scores] : all)
        line(cell, scores);
    fmt::print("{}\n", failures == 0 ? "all within bounds" : fmt::format("{} MISSED", failures));
    return failures == 0 && !all.empty() ? 0 : 1;
}
