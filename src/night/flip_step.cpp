// SPDX-License-Identifier: MIT
// Notation: d step of a star, after − before; σ its error; κ how much more than noise the frames scatter.
#include "night/flip_step.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <map>
#include <optional>
#include <tuple>

#include "night/combine_frames.hpp"
#include "night/star_noise.hpp"
#include "numerics/robust.hpp"
#include "quantities/magnitude.hpp"

namespace emberline::night {
namespace {

using photometry::FrameFluxes;
using photometry::StarFlux;

constexpr double turn_tolerance_deg = 10.0;
constexpr std::size_t least_frames = 2;  // on each side
constexpr std::size_t least_stars = 4;
constexpr double chance_sigma = 3.09;        // one in a thousand nights without any trouble
constexpr double worth_telling_mag = 0.005;  // smaller steps hide in what every night has
constexpr double most_error_mag = 0.1;       // of one frame's magnitude: fainter stars tell nothing

struct Member {
    const FrameFluxes* fluxes;
    const FrameMeasurement* measured;
    bool after = false;
};

struct Point {
    double mag = 0.0, variance = 0.0;
    frame::PixelPosition place;
};

// In the frame's own zero point; colours are the same on both sides.
std::optional<Point> point_of(const Member& member, const StarFlux& star) {
    const auto k = aperture_in_use(*member.fluxes, *member.measured);
    if (!k || *k >= star.flux_e.size() || !(star.flux_e[*k] > 0.0)) return std::nullopt;
    const Caveats& caveats = star.caveats[*k];
    if (caveats.has(Caveat::saturated) || caveats.has(Caveat::edge) || caveats.has(Caveat::not_linear))
        return std::nullopt;
    const double flux = star.flux_e[*k];
    const double err =
        mag_per_relative_flux * std::sqrt(noise_terms(*member.fluxes, star, *k).variance_e2(flux)) / flux;
    if (!(err < most_error_mag)) return std::nullopt;
    return Point{member.measured->zero_point_mag - 2.5 * std::log10(flux), err * err, star.position};
}

struct Side {
    std::vector<Point> points;
    double weight = 0.0, mean = 0.0, x = 0.0, y = 0.0;
    void settle() {
        for (const Point& p : points) {
            weight += 1.0 / p.variance;
            mean += p.mag / p.variance;
            x += p.place.x / static_cast<double>(points.size());
            y += p.place.y / static_cast<double>(points.size());
        }
        mean /= weight;
    }
    // About its own mean.
    [[nodiscard]] double chi2() const {
        double sum = 0.0;
        for (const Point& p : points)
            sum += (p.mag - mean) * (p.mag - mean) / p.variance;
        return sum;
    }
};

std::vector<std::vector<Member>> turned_groups(const std::vector<FrameFluxes>& frames,
                                               const Solution& solution) {
    std::map<std::tuple<std::string, Band, std::string>, std::vector<Member>> groups;
    for (const FrameInSolution& one : frames_in_solution(frames, solution)) {
        const FrameMeasurement& m = *one.measured;
        if (m.used && std::isfinite(m.zero_point_mag))
            groups[{m.night, m.band, m.instrument}].push_back({one.fluxes, one.measured});
    }
    std::vector<std::vector<Member>> turned;
    for (auto& [key, members] : groups) {
        std::size_t after = 0;
        for (Member& member : members) {
            member.after = turned_round(member.fluxes->rotation_deg - members.front().fluxes->rotation_deg);
            after += member.after ? 1 : 0;
        }
        if (after >= least_frames && members.size() - after >= least_frames)
            turned.push_back(std::move(members));
    }
    return turned;
}

FlipOfNight flip_of(const std::vector<Member>& members) {
    const FrameMeasurement& any = *members.front().measured;
    FlipOfNight flip{.night = any.night, .band = any.band, .instrument = any.instrument};
    double last_before = -HUGE_VAL, first_after = HUGE_VAL;
    std::map<std::string, std::pair<Side, Side>> stars;
    for (const Member& member : members) {
        (member.after ? first_after : last_before) = member.after
                                                         ? std::min(first_after, member.measured->jd_utc)
                                                         : std::max(last_before, member.measured->jd_utc);
        for (const StarFlux& star : member.fluxes->stars) {
            if (const auto point = point_of(member, star)) {
                auto& [before, after] = stars[star.label];
                (member.after ? after : before).points.push_back(*point);
            }
        }
    }
    flip.jd_utc = 0.5 * (last_before + first_after);
    double scatter_chi2 = 0.0, scatter_dof = 0.0;
    for (auto& [label, sides] : stars) {
        auto& [before, after] = sides;
        if (before.points.size() < least_frames || after.points.size() < least_frames) continue;
        before.settle();
        after.settle();
        flip.steps.push_back({.night = any.night,
                              .band = any.band,
                              .instrument = any.instrument,
                              .label = label,
                              .step_mag = after.mean - before.mean,
                              .err_mag = std::sqrt(1.0 / before.weight + 1.0 / after.weight),
                              .before_x_px = before.x,
                              .before_y_px = before.y,
                              .after_x_px = after.x,
                              .after_y_px = after.y,
                              .before = static_cast<int>(before.points.size()),
                              .after = static_cast<int>(after.points.size())});
        if (label == photometry::transient_label) continue;
        scatter_chi2 += before.chi2() + after.chi2();
        scatter_dof += static_cast<double>(before.points.size() + after.points.size()) - 2.0;
    }
    // Scintillation, thin cloud: what frames of one side scatter by beyond noise widens the steps' errors.
    const double kappa = scatter_dof > 0.0 ? std::sqrt(std::max(1.0, scatter_chi2 / scatter_dof)) : 1.0;
    double chi2 = 0.0, sum = 0.0, weight = 0.0, stars_in = 0.0;
    for (FlipStep& step : flip.steps) {
        step.err_mag *= kappa;
        if (step.label == photometry::transient_label) continue;
        sum += step.step_mag / (step.err_mag * step.err_mag);
        weight += 1.0 / (step.err_mag * step.err_mag);
        stars_in += 1.0;
    }
    if (stars_in < static_cast<double>(least_stars)) return flip;
    const double mean = sum / weight;
    for (const FlipStep& step : flip.steps) {
        if (step.label == photometry::transient_label) continue;
        chi2 += std::pow((step.step_mag - mean) / step.err_mag, 2);
    }
    const double dof = stars_in - 1.0;
    flip.scatter_mag = std::sqrt(std::max(0.0, chi2 / dof - 1.0) * stars_in / weight);
    flip.stands_out = chi2_in_sigma(chi2, static_cast<std::size_t>(dof)) > chance_sigma &&
                      flip.scatter_mag > worth_telling_mag;
    return flip;
}

}  // namespace

std::vector<FrameInSolution> frames_in_solution(const std::vector<FrameFluxes>& frames,
                                                const Solution& solution) {
    std::map<std::pair<std::string, int>, const FrameFluxes*> by_identity;
    for (const FrameFluxes& frame : frames)
        by_identity[{frame.fingerprint, frame.plane}] = &frame;
    std::vector<FrameInSolution> out;
    for (const FrameMeasurement& measured : solution.frames) {
        const auto found = by_identity.find({measured.fingerprint, measured.plane});
        if (found != by_identity.end()) out.push_back({found->second, &measured});
    }
    std::stable_sort(out.begin(), out.end(), [](const FrameInSolution& a, const FrameInSolution& b) {
        return a.measured->jd_utc < b.measured->jd_utc;
    });
    return out;
}

std::optional<std::size_t> aperture_in_use(const FrameFluxes& fluxes, const FrameMeasurement& measured) {
    for (std::size_t k = 0; k < fluxes.apertures.size(); ++k) {
        if (std::abs(fluxes.apertures[k].radius_px - measured.aperture_px) < 1e-6) return k;
    }
    return std::nullopt;
}

bool turned_round(double turn_deg) {
    return std::abs(std::abs(std::remainder(turn_deg, 360.0)) - 180.0) < turn_tolerance_deg;
}

std::vector<FlipOfNight> flips_of(const std::vector<FrameFluxes>& frames, const Solution& solution) {
    std::vector<FlipOfNight> flips;
    for (const auto& members : turned_groups(frames, solution)) {
        FlipOfNight flip = flip_of(members);
        if (!flip.steps.empty()) flips.push_back(std::move(flip));
    }
    return flips;
}

std::string flip_sentence(const FlipOfNight& flip) {
    const FlipStep* surest = nullptr;
    const auto sureness = [](const FlipStep& step) { return std::abs(step.step_mag) / step.err_mag; };
    for (const FlipStep& step : flip.steps) {
        if (step.label == photometry::transient_label) continue;
        if (surest == nullptr || sureness(step) > sureness(*surest)) surest = &step;
    }
    if (surest == nullptr) return {};
    return fmt::format(
        "{}, {}: at the meridian flip the comparison stars change by {:.3f} mag beyond their noise (star {} "
        "by "
        "{:+.3f}): the flat field is not right. Take flats with the camera as it was, and measure again.",
        flip.night, flip.band.name(), flip.scatter_mag, surest->label, surest->step_mag);
}

std::vector<std::string> flag_flip_steps(const std::vector<FrameFluxes>& frames, Solution& solution) {
    std::vector<std::string> sentences;
    for (const FlipOfNight& flip : flips_of(frames, solution)) {
        if (!flip.stands_out) continue;
        sentences.push_back(flip_sentence(flip));
        for (NightMeasurement& night : solution.nights) {
            if (night.night == flip.night && night.band == flip.band && night.instrument == flip.instrument)
                night.caveats.add(Caveat::flip_step);
        }
    }
    return sentences;
}

}  // namespace emberline::night
