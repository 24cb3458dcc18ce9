// SPDX-License-Identifier: MIT
#include "night/removal_effect.hpp"

#include <algorithm>
#include <cmath>
#include <map>

#include "numerics/robust.hpp"

namespace emberline::night {
namespace {

constexpr std::size_t least_nights_for_rate = 3;

using Nights = std::map<std::string, const NightMeasurement*>;

Nights nights_of(const Solution& solution, const Band& band, const std::string& instrument) {
    Nights nights;
    for (const NightMeasurement& night : solution.nights) {
        if (night.band == band && night.instrument == instrument && night.magnitude_mag &&
            night.random_err_mag)
            nights[night.night] = &night;
    }
    return nights;
}

// The slope of a line weighted by the random errors is Σ c_n m_n; its variance Σ c_n² σ_n² and, of each
// unknown that the nights share, (Σ c_n v_n)².
ValueWithError rate_of(const std::vector<const NightMeasurement*>& nights) {
    double sum = 0.0, mean_t = 0.0, tt = 0.0;
    for (const auto* n : nights) {
        const double w = 1.0 / (*n->random_err_mag * *n->random_err_mag);
        sum += w;
        mean_t += w * (n->jd_utc - nights.front()->jd_utc);
    }
    mean_t /= sum;
    const auto from_mean = [&](const NightMeasurement& n) {
        return n.jd_utc - nights.front()->jd_utc - mean_t;
    };
    for (const auto* n : nights)
        tt += from_mean(*n) * from_mean(*n) / (*n->random_err_mag * *n->random_err_mag);
    ValueWithError rate;
    double variance = 0.0;
    std::map<std::string, double> shared;
    for (const auto* n : nights) {
        const double random_mag2 = *n->random_err_mag * *n->random_err_mag;
        const double c = from_mean(*n) / (random_mag2 * tt);
        rate.value += c * *n->magnitude_mag;
        variance += c * c * random_mag2;
        for (const CommonComponent& component : n->common)
            shared[component.name] += c * component.err_mag;
    }
    for (const auto& [name, v] : shared)
        variance += v * v;
    rate.err = std::sqrt(variance);
    return rate;
}

}  // namespace

RemovalEffect removal_effect(const Solution& before, const Solution& without, const Band& band,
                             const std::string& instrument) {
    const Nights first = nights_of(before, band, instrument), second = nights_of(without, band, instrument);
    RemovalEffect out;
    std::vector<const NightMeasurement*> both_before, both_without;
    std::vector<double> ratios;
    double squares = 0.0;
    for (const auto& [name, night] : first) {
        const auto found = second.find(name);
        if (found == second.end()) {
            ++out.lost;
            continue;
        }
        const NightMeasurement& other = *found->second;
        both_before.push_back(night);
        both_without.push_back(&other);
        out.nights.push_back({name,
                              night->jd_utc,
                              {*night->magnitude_mag, *night->total_err_mag()},
                              {*other.magnitude_mag, *other.total_err_mag()}});
        const NightChange& change = out.nights.back();
        out.mean_change_mag += change.change_mag();
        if (std::abs(change.change_mag()) > std::abs(out.largest_change_mag))
            out.largest_change_mag = change.change_mag();
        if (std::abs(change.change_in_errors()) > std::abs(out.largest_in_errors))
            out.largest_in_errors = change.change_in_errors();
        squares += change.change_in_errors() * change.change_in_errors();
        ratios.push_back(change.without_mag.err / change.before_mag.err);
    }
    out.gained = second.size() - out.nights.size();
    if (out.nights.empty()) return out;
    const auto count = static_cast<double>(out.nights.size());
    out.mean_change_mag /= count;
    out.harm = std::sqrt(squares / count);
    out.error_ratio = numerics::median(std::move(ratios));
    if (out.nights.size() < least_nights_for_rate) return out;
    const auto by_time = [](const NightMeasurement* a, const NightMeasurement* b) {
        return a->jd_utc < b->jd_utc;
    };
    std::sort(both_before.begin(), both_before.end(), by_time);
    std::sort(both_without.begin(), both_without.end(), by_time);
    if (!(both_before.back()->jd_utc > both_before.front()->jd_utc)) return out;
    RateChange rate{rate_of(both_before), rate_of(both_without), {}};
    const double gained = rate.without_mag_per_day.err * rate.without_mag_per_day.err -
                          rate.before_mag_per_day.err * rate.before_mag_per_day.err;
    rate.change_mag_per_day = {rate.without_mag_per_day.value - rate.before_mag_per_day.value,
                               gained > 0.0
                                   ? std::sqrt(gained)
                                   : std::max(rate.before_mag_per_day.err, rate.without_mag_per_day.err)};
    out.rate = rate;
    return out;
}

}  // namespace emberline::night
