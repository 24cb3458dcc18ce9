// SPDX-License-Identifier: MIT
// Notation: u_XZ d(magnitude of X) for one sigma of Z's light; V_X = Σ_Z u_XZ² its variance, c_XY = Σ_Z u_XZ
// u_YZ a covariance, ρ_XY their correlation. diag(r²) + Σ_pairs v vᵀ with v_X = √|ρ| √V_X, v_Y = ±√|ρ| √V_Y,
// and r_X² = V_X (1 − Σ_Y |ρ_XY|) is that covariance exactly.
#include "night/shared_noise.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <tuple>

namespace emberline::night {
namespace {

constexpr double most_shared = 0.95;     // of a variance: some of every magnitude's noise is its own
constexpr double nothing_shared = 1e-6;  // of a correlation

double product(const NoiseOfBands& a, const NoiseOfBands& b) {
    double sum = 0.0;
    for (const auto& [band, value] : a) {
        if (const auto other = b.find(band); other != b.end()) sum += value * other->second;
    }
    return sum;
}

void set_random(Measurement& m, double random_err_mag) {
    m.flux_e.err *= random_err_mag / *m.random_err_mag;
    m.random_err_mag = random_err_mag;
    double common = 0.0;
    for (const CommonComponent& c : m.common)
        common += c.err_mag * c.err_mag;
    m.common_err_mag = std::sqrt(common);
}

void share_within(const std::vector<std::size_t>& group, std::vector<NightMeasurement>& nights,
                  const std::vector<NoiseOfBands>& noise) {
    struct Pair {
        std::size_t one, other;
        double correlation;
    };
    std::vector<Pair> pairs;
    std::vector<double> shared(nights.size(), 0.0), variance(nights.size(), 0.0);
    for (const std::size_t i : group)
        variance[i] = product(noise[i], noise[i]);
    for (std::size_t a = 0; a < group.size(); ++a) {
        for (std::size_t b = a + 1; b < group.size(); ++b) {
            const std::size_t i = group[a], j = group[b];
            const double correlation = product(noise[i], noise[j]) / std::sqrt(variance[i] * variance[j]);
            if (!(std::abs(correlation) > nothing_shared)) continue;
            pairs.push_back({i, j, correlation});
            shared[i] += std::abs(correlation);
            shared[j] += std::abs(correlation);
        }
    }
    std::vector<double> own(nights.size(), 1.0);
    for (const Pair& pair : pairs) {
        const double most = std::max(shared[pair.one], shared[pair.other]);
        const double kept = std::abs(pair.correlation) * std::min(1.0, most_shared / most);
        NightMeasurement& one = nights[pair.one];
        NightMeasurement& other = nights[pair.other];
        const std::string name = fmt::format("colour noise {}-{} {} {}", one.band.name(), other.band.name(),
                                             one.instrument, one.night);
        one.common.push_back({name, std::sqrt(kept * variance[pair.one])});
        other.common.push_back(
            {name, std::copysign(std::sqrt(kept * variance[pair.other]), pair.correlation)});
        own[pair.one] -= kept;
        own[pair.other] -= kept;
    }
    for (const std::size_t i : group)
        set_random(nights[i], std::sqrt(variance[i] * own[i]));
}

}  // namespace

void share_noise(std::vector<NightMeasurement>& nights, const std::vector<NoiseOfBands>& noise,
                 std::vector<FrameMeasurement>& frames) {
    std::map<std::pair<std::string, std::string>, std::vector<std::size_t>> groups;
    for (std::size_t i = 0; i < nights.size(); ++i) {
        if (nights[i].random_err_mag && *nights[i].random_err_mag > 0.0)
            groups[{nights[i].night, nights[i].instrument}].push_back(i);
    }
    std::map<std::tuple<std::string, Band, std::string>, const NightMeasurement*> of_one_frame;
    for (const auto& [key, group] : groups) {
        share_within(group, nights, noise);
        for (const std::size_t i : group) {
            if (nights[i].n_frames == 1)
                of_one_frame[{nights[i].night, nights[i].band, nights[i].instrument}] = &nights[i];
        }
    }
    for (FrameMeasurement& frame : frames) {
        const auto found = of_one_frame.find({frame.night, frame.band, frame.instrument});
        if (!frame.used || found == of_one_frame.end() || !frame.random_err_mag) continue;
        frame.common = found->second->common;
        set_random(frame, *found->second->random_err_mag);
    }
}

}  // namespace emberline::night
