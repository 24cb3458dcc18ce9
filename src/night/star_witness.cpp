// SPDX-License-Identifier: MIT
// Notation as in the header; v variance of one light, w = share / v its weight.
#include "night/star_witness.hpp"

#include <algorithm>
#include <cmath>

#include "numerics/contamination.hpp"
#include "numerics/least_squares.hpp"
#include "numerics/robust.hpp"
#include "standard/group_scatter.hpp"

namespace emberline::night {
namespace {

using numerics::BorderedLeastSquares;

constexpr int rounds = 4;          // floors and outliers settle in two or three
constexpr double loose_mag = 0.5;  // prior of δ_i: fixes the one sum that the data leave open
constexpr std::size_t least_stars_of_frame = 5;
constexpr std::size_t least_witnesses = 2;  // of a frame
constexpr double least_variance_mag2 = 1e-8;

class Hearing {
  public:
    Hearing(const StarLights& group, const std::vector<bool>& trusted)
        : group_(group), trusted_(trusted), share_(group.lights.size(), 1.0), variance_(group.lights.size()) {
        add_noise(0.0, {});
    }

    Witnesses hear() {
        Witnesses out;
        for (int round = 0; round < rounds; ++round)
            settle();
        const auto all = solve(group_.stars.size());
        for (std::size_t i = 0; i < group_.stars.size(); ++i) {
            out.stars.push_back(witnessed(i));
            out.stars.back().level_mag = level(i, all);
        }
        out.night_floor_mag = night_floor(out.stars);
        return out;
    }

  private:
    void add_noise(double floor_mag2, const std::vector<double>& frame_mag2) {
        for (std::size_t l = 0; l < variance_.size(); ++l) {
            const StarMagnitude& light = group_.lights[l];
            variance_[l] = std::max(light.noise_mag2, least_variance_mag2) + floor_mag2 +
                           (frame_mag2.empty() ? 0.0 : frame_mag2[light.frame]);
        }
    }

    // δ_i and −z_f from the witnesses but for the star `without`.
    [[nodiscard]] BorderedLeastSquares::Solution solve(std::size_t without) const {
        BorderedLeastSquares problem(group_.frames.size(), group_.stars.size());
        for (std::size_t l = 0; l < group_.lights.size(); ++l) {
            const StarMagnitude& light = group_.lights[l];
            if (!trusted_[light.star] || light.star == without) continue;
            const BorderedLeastSquares::Term terms[] = {{light.star, 1.0}};
            problem.add_row(light.frame, terms, light.magnitude_mag, share_[l] / variance_[l]);
        }
        for (std::size_t i = 0; i < group_.stars.size(); ++i)
            problem.add_prior(i, 0.0, 1.0 / (loose_mag * loose_mag));
        auto solved = problem.solve();
        // With a prior on every star nothing is left open: a failure is one of memory or of numbers.
        return solved ? std::move(*solved) : BorderedLeastSquares::Solution{};
    }

    // Residuals about each star's mean of the night: what no slow change can make.
    [[nodiscard]] std::vector<double> within_nights(const BorderedLeastSquares::Solution& all) const {
        std::vector<double> residual(group_.lights.size(), 0.0);
        std::map<std::pair<std::size_t, std::size_t>, std::vector<std::size_t>> nights;
        for (std::size_t l = 0; l < residual.size(); ++l) {
            const StarMagnitude& light = group_.lights[l];
            if (!all.determined[light.frame]) continue;
            residual[l] = light.magnitude_mag - all.locals[light.frame];
            nights[{light.star, group_.frames[light.frame].night}].push_back(l);
        }
        for (const auto& [key, members] : nights) {
            std::vector<double> values;
            for (const std::size_t l : members)
                values.push_back(residual[l]);
            const double middle = numerics::median(std::move(values));
            for (const std::size_t l : members)
                residual[l] -= middle;
        }
        return residual;
    }

    // Floors and outliers anew.
    void settle() {
        const auto all = solve(group_.stars.size());
        if (all.locals.empty()) return;
        const std::vector<double> residual = within_nights(all);
        std::vector<std::size_t> star, frame;
        std::vector<bool> used;
        std::vector<double> noise;
        for (const StarMagnitude& light : group_.lights) {
            star.push_back(light.star);
            frame.push_back(light.frame);
            used.push_back(trusted_[light.star] && all.determined[light.frame]);
            noise.push_back(std::max(light.noise_mag2, least_variance_mag2));
        }
        standard::GroupedResiduals by_star(star, used, group_.stars.size());
        by_star.update(residual, noise);
        std::vector<double> beyond;
        for (std::size_t i = 0; i < group_.stars.size(); ++i) {
            if (by_star.scatter(i).members > 2) beyond.push_back(by_star.beyond_mag2(i));
        }
        const double floor_mag2 = beyond.empty() ? 0.0 : numerics::median(std::move(beyond));
        for (double& v : noise)
            v += floor_mag2;
        standard::GroupedResiduals by_frame(frame, used, group_.frames.size());
        by_frame.update(residual, noise);
        std::vector<double> uneven(group_.frames.size(), 0.0);
        for (std::size_t f = 0; f < uneven.size(); ++f) {
            const auto members = static_cast<double>(by_frame.scatter(f).members);
            // The median absolute deviation of n values is known to 1.17/√n of itself: twice that above 1.
            const double ratio = 1.0 + 2.0 * 1.17 / std::sqrt(members);
            const double own = by_frame.scatter(f).noise_mag * by_frame.scatter(f).noise_mag;
            if (by_frame.scatter(f).members >= least_stars_of_frame &&
                by_frame.exceeds(f, (ratio * ratio - 1.0) * own))
                uneven[f] = by_frame.beyond_mag2(f);
        }
        add_noise(floor_mag2, uneven);
        for (std::size_t l = 0; l < residual.size(); ++l)
            share_[l] = numerics::contamination_weight(residual[l] * residual[l] / variance_[l],
                                                       numerics::observation_outliers);
    }

    [[nodiscard]] WitnessedStar witnessed(std::size_t star) const {
        WitnessedStar out;
        const auto others = solve(star);
        if (others.locals.empty()) return out;
        std::vector<std::size_t> witnesses(group_.frames.size(), 0);
        for (const StarMagnitude& light : group_.lights) {
            if (trusted_[light.star] && light.star != star) ++witnesses[light.frame];
        }
        for (std::size_t l = 0; l < group_.lights.size(); ++l) {
            const StarMagnitude& light = group_.lights[l];
            if (light.star != star || witnesses[light.frame] < least_witnesses) continue;
            out.frames.push_back({light.frame, light.magnitude_mag - others.locals[light.frame],
                                  variance_[l] + others.local_variance_given_globals[light.frame],
                                  share_[l]});
        }
        gather_nights(out);
        return out;
    }

    void gather_nights(WitnessedStar& star) const {
        std::map<std::size_t, std::vector<const WitnessedFrame*>> nights;
        for (const WitnessedFrame& frame : star.frames)
            nights[group_.frames[frame.frame].night].push_back(&frame);
        std::vector<double> deviations, expected;
        for (const auto& [night, members] : nights) {
            WitnessedNight mean{.night = night, .frames = members.size()};
            double weight = 0.0;
            for (const WitnessedFrame* frame : members) {
                const double w = frame->share / frame->variance_mag2;
                const LightFrame& own = group_.frames[frame->frame];
                weight += w;
                mean.magnitude_mag += w * frame->magnitude_mag;
                mean.log_width += w * own.log_width;
                mean.jd_utc += own.fluxes->mid_exposure.jd() / static_cast<double>(members.size());
            }
            mean.magnitude_mag /= weight;
            mean.log_width /= weight;
            mean.variance_mag2 = 1.0 / weight;
            for (const WitnessedFrame* frame : members) {
                const double miss = frame->magnitude_mag - mean.magnitude_mag;
                star.within_chi2 += frame->share * miss * miss / frame->variance_mag2;
                const double freed = static_cast<double>(members.size()) /
                                     std::max(1.0, static_cast<double>(members.size()) - 1.0);
                deviations.push_back(miss * std::sqrt(freed));
                expected.push_back(std::sqrt(frame->variance_mag2));
            }
            star.within_dof += members.size() - 1;
            star.nights.push_back(mean);
        }
        std::sort(star.nights.begin(), star.nights.end(),
                  [](const WitnessedNight& a, const WitnessedNight& b) { return a.jd_utc < b.jd_utc; });
        if (deviations.empty()) return;
        star.scatter_mag = numerics::mad_to_sigma * numerics::median_absolute_deviation(deviations, 0.0);
        star.expected_scatter_mag = numerics::median(std::move(expected));
    }

    [[nodiscard]] double level(std::size_t star, const BorderedLeastSquares::Solution& all) const {
        double sum = 0.0, weight = 0.0;
        for (std::size_t l = 0; l < group_.lights.size(); ++l) {
            const StarMagnitude& light = group_.lights[l];
            if (light.star != star || all.locals.empty() || !all.determined[light.frame]) continue;
            const double w = share_[l] / variance_[l];
            sum += w * (light.magnitude_mag - all.locals[light.frame]);
            weight += w;
        }
        return weight > 0.0 ? sum / weight : 0.0;
    }

    // What, added to the nights' noise, brings the middle star's χ² to where the middle of a χ² lies: several
    // stars that vary do not raise it.
    [[nodiscard]] double night_floor(const std::vector<WitnessedStar>& stars) const {
        const auto middle_of = [&](double floor_mag) {
            std::vector<double> ratios;
            for (std::size_t i = 0; i < stars.size(); ++i) {
                if (!trusted_[i]) continue;
                const NightScatter scatter = night_scatter(stars[i].nights, floor_mag);
                if (scatter.dof == 0) continue;
                const auto dof = static_cast<double>(scatter.dof);
                ratios.push_back(scatter.chi2 / (dof * std::pow(1.0 - 2.0 / (9.0 * dof), 3)));
            }
            return ratios.empty() ? 0.0 : numerics::median(std::move(ratios));
        };
        if (middle_of(0.0) <= 1.0) return 0.0;
        double low = 0.0, high = 1.0;
        constexpr int halvings = 30;
        for (int k = 0; k < halvings; ++k) {
            const double middle = 0.5 * (low + high);
            (middle_of(middle) > 1.0 ? low : high) = middle;
        }
        return high;
    }

    const StarLights& group_;
    const std::vector<bool>& trusted_;
    std::vector<double> share_, variance_;
};

}  // namespace

Witnesses hear_witnesses(const StarLights& group, const std::vector<bool>& trusted) {
    return Hearing(group, trusted).hear();
}

NightScatter night_scatter(const std::vector<WitnessedNight>& nights, double night_floor_mag) {
    NightScatter out;
    if (nights.size() < 2) return out;
    const double floor_mag2 = night_floor_mag * night_floor_mag;
    double weight = 0.0, mean_mag = 0.0, expected_mag2 = 0.0;
    for (const WitnessedNight& night : nights) {
        const double w = 1.0 / (night.variance_mag2 + floor_mag2);
        weight += w;
        mean_mag += w * night.magnitude_mag;
        expected_mag2 += (night.variance_mag2 + floor_mag2) / static_cast<double>(nights.size());
    }
    mean_mag /= weight;
    double squares = 0.0;
    for (const WitnessedNight& night : nights) {
        const double miss = night.magnitude_mag - mean_mag;
        out.chi2 += miss * miss / (night.variance_mag2 + floor_mag2);
        squares += miss * miss;
    }
    out.dof = nights.size() - 1;
    out.rms_mag = std::sqrt(squares / static_cast<double>(out.dof));
    out.expected_mag = std::sqrt(expected_mag2);
    return out;
}

}  // namespace emberline::night
