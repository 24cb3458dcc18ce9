// SPDX-License-Identifier: MIT
// Notation: x the parameter held, Δ the rise of −2 ln L with all others at their best there.
#include "lightcurve/profile.hpp"

#include <fmt/format.h>
#include <fmt/ranges.h>

#include <algorithm>
#include <cmath>

#include "lightcurve/noise_search.hpp"
#include "lightcurve/refit.hpp"

namespace emberline::lightcurve {
namespace {

class Profile {
  public:
    Profile(const Refit& refit, const Model& model, const CurveFit& fit, std::size_t held)
        : refit_(refit),
          model_(model),
          fit_(fit),
          held_(held),
          mask_(fit.parameters.size(), false),
          bottom_(refit.likelihood.minus_two_log(refit.place, refit.noise)) {
        mask_[held] = true;
    }

    // How far in that direction (±1) −2 ln L rises by `goal`; infinite where it never does. Problem: the
    // other parameters find no best place.
    Result<double> distance(double direction, double goal) const {
        // So far out, and hardly any rise: nothing bounds the parameter on that side.
        constexpr double farthest_sigma = 4096.0;
        const double sigma = std::sqrt(fit_.covariance(held_, held_));
        Reached inside{.place = refit_.place}, outside = inside;
        for (double sigmas = 1.0; outside.rise < goal; sigmas *= 2.0) {
            if (sigmas > farthest_sigma) return HUGE_VAL;
            inside = outside;
            auto next = reach(inside.place, fit_.parameters[held_] + direction * sigmas * sigma);
            if (!next) return fail(next.error());
            outside = std::move(*next);
        }
        // √Δ is nearly straight where Δ is nearly a parabola; halving where it is not, or where a bound ends
        // all.
        constexpr int most_tries = 60;
        constexpr double close_enough = 1e-4;  // of one sigma, in Δ and in x
        for (int i = 0; i < most_tries; ++i) {
            const double low = inside.place.parameters[held_], high = outside.place.parameters[held_];
            if (std::abs(high - low) < close_enough * sigma) break;
            double part = 0.5;
            if (std::isfinite(outside.rise) && i % 3 != 2) {
                const double from = std::sqrt(std::max(inside.rise, 0.0)), to = std::sqrt(outside.rise);
                part = std::clamp((std::sqrt(goal) - from) / (to - from), 0.02, 0.98);
            }
            auto middle = reach(inside.place, low + part * (high - low));
            if (!middle) return fail(middle.error());
            const bool close = std::abs(middle->rise - goal) < close_enough * goal;
            (middle->rise < goal ? inside : outside) = std::move(*middle);
            if (close) break;
        }
        const Reached& end = goal - inside.rise < outside.rise - goal ? inside : outside;
        return std::abs(end.place.parameters[held_] - fit_.parameters[held_]);
    }

  private:
    struct Reached {
        Place place;
        double rise = 0.0;
    };

    [[nodiscard]] Result<Reached> reach(const Place& from, double x) const {
        Place start = from;
        const double moved = x - from.parameters[held_];
        start.parameters[held_] = x;
        if (!model_.allowed(start.parameters)) return Reached{std::move(start), HUGE_VAL};
        // Where the covariance says that the others go along, unless that leads out of bounds.
        Place along = start;
        for (std::size_t j = 0; j < mask_.size(); ++j) {
            if (j != held_)
                along.parameters[j] += moved * fit_.covariance(j, held_) / fit_.covariance(held_, held_);
        }
        if (model_.allowed(along.parameters)) start = std::move(along);
        auto best = refit_.likelihood.climb(std::move(start), refit_.noise, Precision::full, mask_);
        if (!best) return fail(best.error());
        const double depth = refit_.likelihood.minus_two_log(best->place, refit_.noise);
        return Reached{std::move(best->place), depth - bottom_};
    }

    const Refit& refit_;
    const Model& model_;
    const CurveFit& fit_;
    std::size_t held_;
    std::vector<bool> mask_;
    double bottom_;
};

}  // namespace

Result<ProfileError> profile_error(const LightCurve& curve, std::shared_ptr<const Model> model,
                                   const CurveFit& fit, const FitOptions& options,
                                   std::string_view parameter) {
    constexpr double nearly = 0.1;
    std::vector<std::string> names;
    for (const ParameterInfo& info : fit.parameter_info)
        names.push_back(info.name);
    const auto found = std::find(names.begin(), names.end(), parameter);
    if (found == names.end()) {
        return fail({.what = fmt::format("The model {} has no parameter '{}'.", fit.model, parameter),
                     .where = {},
                     .mend = fmt::format("Choose one of: {}.", fmt::join(names, ", ")),
                     .kind = ProblemKind::request});
    }
    const auto held = static_cast<std::size_t>(found - names.begin());
    const auto again = refit(curve, *model, fit, options);
    if (!again) return fail(again.error());
    // Under a t that only a few points ask for, a rise by less than 1 is one sigma.
    const auto uncertainty =
        uncertainty_at(again->likelihood, again->likelihood.expand(again->place, again->noise));
    if (!uncertainty) return fail(uncertainty.error());
    const Profile profile(*again, *model, fit, held);
    const auto minus = profile.distance(-1.0, uncertainty->spread.likelihood);
    if (!minus) return fail(minus.error());
    const auto plus = profile.distance(1.0, uncertainty->spread.likelihood);
    if (!plus) return fail(plus.error());
    const double err = std::sqrt(fit.covariance(held, held));
    return ProfileError{
        .value = fit.parameter(parameter)->value,
        .minus = *minus,
        .plus = *plus,
        .parabolic = std::abs(*minus - err) <= nearly * err && std::abs(*plus - err) <= nearly * err};
}

}  // namespace emberline::lightcurve
