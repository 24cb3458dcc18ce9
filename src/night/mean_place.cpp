// SPDX-License-Identifier: MIT
// Notation: x_i a frame's place on one axis, σ_i its random error (the transient's centre and the plate's
// stars), w_i = g_i / σ_i² with g_i near 0 for a mistake. The mean's error is (Σ w_i)^(−1/2), times the
// scatter over its expectation where that is above 1.
#include "night/mean_place.hpp"

#include <algorithm>
#include <cmath>
#include <set>

#include "numerics/contamination.hpp"
#include "numerics/robust.hpp"

namespace emberline::night {
namespace {

using photometry::FrameFluxes;
using photometry::SeenPlace;

constexpr const char* by_difference = "difference";
constexpr std::size_t least_differences = 3;  // fewer do not stand for the campaign
constexpr int rounds = 20;

struct Axis {
    std::vector<double> value, err;  // arcsec
};
struct AxisMean {
    double mean = 0.0, err = 0.0, chi2 = 0.0;
};

AxisMean mean_of(const Axis& axis) {
    AxisMean out{numerics::median(axis.value), 0.0, 0.0};
    double weights = 0.0, counted = 0.0;
    for (int round = 0; round < rounds; ++round) {
        double sum = 0.0;
        weights = counted = out.chi2 = 0.0;
        for (std::size_t i = 0; i < axis.value.size(); ++i) {
            const double pull = (axis.value[i] - out.mean) / axis.err[i];
            const double good = numerics::contamination_weight(pull * pull, numerics::observation_outliers);
            const double w = good / (axis.err[i] * axis.err[i]);
            sum += w * axis.value[i];
            weights += w;
            counted += good;
            out.chi2 += good * pull * pull;
        }
        out.mean = sum / weights;
    }
    const double widening = counted > 1.5 ? std::max(1.0, out.chi2 / (counted - 1.0)) : 1.0;
    out.err = std::sqrt(widening / weights);
    return out;
}

PlaceOffset seen_from(const SkyPosition& origin, const TransientPlace& place) {
    const SkyOffset away = offset(origin, place.place);
    PlaceOffset out{.east_arcsec = away.east.arcseconds(),
                    .north_arcsec = away.north.arcseconds(),
                    .east_err_arcsec = place.east_err_arcsec,
                    .north_err_arcsec = place.north_err_arcsec};
    out.distance_arcsec = std::hypot(out.east_arcsec, out.north_arcsec);
    const double angle = std::atan2(out.east_arcsec, out.north_arcsec);
    out.position_angle_deg = Angle::radians(angle).wrapped_positive().degrees();
    out.distance_err_arcsec =
        std::hypot(std::sin(angle) * out.east_err_arcsec, std::cos(angle) * out.north_err_arcsec);
    return out;
}

TransientPlace combined(const std::vector<const FrameFluxes*>& frames, const Campaign& campaign) {
    Axis east, north;
    double weights = 0.0, catalogue2 = 0.0, host = 0.0;
    std::set<std::string> nights, methods;
    for (const FrameFluxes* frame : frames) {
        const SeenPlace& seen = *frame->seen;
        const SkyOffset away = offset(campaign.position, seen.place);
        east.value.push_back(away.east.arcseconds());
        north.value.push_back(away.north.arcseconds());
        east.err.push_back(std::hypot(seen.east_err_arcsec, seen.plate_noise_arcsec));
        north.err.push_back(std::hypot(seen.north_err_arcsec, seen.plate_noise_arcsec));
        const double w = 1.0 / (east.err.back() * east.err.back() + north.err.back() * north.err.back());
        weights += w;
        catalogue2 += w * (seen.plate_err_arcsec * seen.plate_err_arcsec -
                           seen.plate_noise_arcsec * seen.plate_noise_arcsec);
        host += w * seen.host_err_arcsec;
        nights.insert(frame->night);
        methods.insert(seen.method);
    }
    const AxisMean e = mean_of(east), n = mean_of(north);
    TransientPlace out;
    out.place = displaced(campaign.position, {Angle::arcseconds(e.mean), Angle::arcseconds(n.mean)});
    out.east_random_arcsec = e.err;
    out.north_random_arcsec = n.err;
    out.common_err_arcsec = std::hypot(std::sqrt(std::max(0.0, catalogue2 / weights)), host / weights);
    out.east_err_arcsec = std::hypot(e.err, out.common_err_arcsec);
    out.north_err_arcsec = std::hypot(n.err, out.common_err_arcsec);
    out.frames = static_cast<int>(frames.size());
    out.nights = static_cast<int>(nights.size());
    for (const std::string& method : methods)
        out.method += (out.method.empty() ? "" : ", ") + method;
    out.chi2 = e.chi2 + n.chi2;
    out.dof = 2 * (out.frames - 1);
    out.from_campaign = seen_from(campaign.position, out);
    if (campaign.nucleus) out.from_nucleus = seen_from(*campaign.nucleus, out);
    return out;
}

double err_of(const TransientPlace& place) {
    return std::hypot(place.east_err_arcsec, place.north_err_arcsec);
}

// A frame's error of 0 would take all the weight: such a place is not one that this room measured.
bool usable(const SeenPlace& seen) {
    return seen.east_err_arcsec > 0.0 && seen.north_err_arcsec > 0.0 &&
           std::isfinite(seen.east_err_arcsec + seen.north_err_arcsec + seen.plate_err_arcsec +
                         seen.plate_noise_arcsec + seen.host_err_arcsec);
}

}  // namespace

std::optional<TransientPlace> mean_place(std::span<const FrameFluxes* const> frames,
                                         const Campaign& campaign) {
    std::vector<const FrameFluxes*> all, differences;
    for (const FrameFluxes* frame : frames) {
        if (!frame->seen || !usable(*frame->seen)) continue;
        all.push_back(frame);
        if (frame->seen->method == by_difference) differences.push_back(frame);
    }
    if (all.empty()) return std::nullopt;
    TransientPlace place = combined(all, campaign);
    if (differences.size() >= least_differences && differences.size() < all.size()) {
        TransientPlace own = combined(differences, campaign);
        if (err_of(own) < err_of(place)) return own;
    }
    return place;
}

std::map<std::string, TransientPlace> places_by_night(std::span<const FrameFluxes* const> frames,
                                                      const Campaign& campaign) {
    std::map<std::string, std::vector<const FrameFluxes*>> by_night;
    for (const FrameFluxes* frame : frames)
        by_night[frame->night].push_back(frame);
    std::map<std::string, TransientPlace> out;
    for (const auto& [night, own] : by_night) {
        if (auto place = mean_place(own, campaign)) out.emplace(night, std::move(*place));
    }
    return out;
}

}  // namespace emberline::night
