// SPDX-License-Identifier: MIT
#include "night/relative_scale.hpp"

#include <algorithm>
#include <cmath>
#include <limits>
#include <map>

#include "night/star_noise.hpp"
#include "numerics/robust.hpp"

namespace emberline::night {
namespace {

using photometry::FrameFluxes;
using photometry::StarFlux;

constexpr int rounds = 12;           // the two unknowns of each flux settle within a few
constexpr double clear_err = 0.1;    // relative; noisier stars say little
constexpr double least_err = 0.002;  // no star is steadier than this from frame to frame
constexpr double stray_sigma = 4.0;  // a star further from its own mean is not obeyed in that frame

struct Seen {
    std::size_t frame, star;
    double log_flux, err;
};

double mean_of(const std::vector<const Seen*>& seen, const std::vector<double>& other,
               std::size_t Seen::*index) {
    double sum = 0.0, weight = 0.0;
    for (const Seen* s : seen) {
        const double w = 1.0 / (s->err * s->err);
        sum += w * (s->log_flux - other[s->*index]);
        weight += w;
    }
    return sum / weight;
}

}  // namespace

std::vector<FrameScale> relative_scales(const std::vector<const FrameFluxes*>& frames,
                                        const std::vector<std::size_t>& aperture,
                                        const std::set<std::string>& comparison) {
    std::vector<Seen> all;
    std::map<std::string, std::size_t> numbers;
    for (std::size_t f = 0; f < frames.size(); ++f) {
        for (const StarFlux& star : frames[f]->stars) {
            const std::size_t k = aperture[f];
            if (!comparison.contains(star.label) || light_lost(*frames[f], star, k) ||
                !(star.flux_e[k] > 0.0))
                continue;
            const double flux = star.flux_e[k];
            const double err = std::sqrt(noise_terms(*frames[f], star, k).variance_e2(flux)) / flux;
            if (!(err < clear_err)) continue;
            const auto number = numbers.try_emplace(star.label, numbers.size()).first->second;
            all.push_back({f, number, std::log(flux), std::hypot(err, least_err)});
        }
    }
    std::vector<double> of_frame(frames.size(), 0.0), of_star(numbers.size(), 0.0);
    std::vector<std::vector<const Seen*>> by_frame(frames.size()), by_star(numbers.size());
    std::vector<bool> stray(all.size(), false);
    for (int round = 0; round < rounds; ++round) {
        for (auto* lists : {&by_frame, &by_star}) {
            for (auto& list : *lists)
                list.clear();
        }
        for (std::size_t i = 0; i < all.size(); ++i) {
            const Seen& s = all[i];
            stray[i] = round > 2 && std::abs(s.log_flux - of_frame[s.frame] - of_star[s.star]) >
                                        stray_sigma * s.err + 0.02;
            if (stray[i]) continue;
            by_frame[s.frame].push_back(&s);
            by_star[s.star].push_back(&s);
        }
        for (std::size_t i = 0; i < by_star.size(); ++i) {
            if (!by_star[i].empty()) of_star[i] = mean_of(by_star[i], of_frame, &Seen::frame);
        }
        for (std::size_t f = 0; f < by_frame.size(); ++f) {
            if (!by_frame[f].empty()) of_frame[f] = mean_of(by_frame[f], of_star, &Seen::star);
        }
    }
    std::vector<double> known;
    for (std::size_t f = 0; f < frames.size(); ++f) {
        if (!by_frame[f].empty()) known.push_back(of_frame[f]);
    }
    const double middle = known.empty() ? 0.0 : numerics::median(known);
    std::vector<FrameScale> scales(frames.size(), {1.0, std::numeric_limits<double>::infinity()});
    for (std::size_t f = 0; f < frames.size(); ++f) {
        if (by_frame[f].empty()) continue;
        double weight = 0.0, chi2 = 0.0;
        for (const Seen* s : by_frame[f]) {
            const double pull = (s->log_flux - of_frame[f] - of_star[s->star]) / s->err;
            weight += 1.0 / (s->err * s->err);
            chi2 += pull * pull;
        }
        // Thin cloud is not uniform: what the stars scatter beyond their noise counts.
        const auto n = static_cast<double>(by_frame[f].size());
        const double widening = n > 2.0 ? std::max(1.0, std::sqrt(chi2 / (n - 1.0))) : 1.0;
        scales[f] = {std::exp(of_frame[f] - middle), widening / std::sqrt(weight)};
    }
    return scales;
}

}  // namespace emberline::night
