// SPDX-License-Identifier: MIT
#include "lightcurve/refit.hpp"

#include <fmt/format.h>

namespace emberline::lightcurve {

Result<Refit> refit(const LightCurve& curve, const Model& model, const CurveFit& fit,
                    const FitOptions& options) {
    const auto used = within(curve, options.from_bjd_tdb, options.to_bjd_tdb);
    if (curve.points.size() != fit.points.size() || curve.common_names.size() != fit.commons.size() ||
        used.size() != fit.n || model.name() != fit.model) {
        return fail({.what = fmt::format("This fit of the model {} was not made of this curve.", fit.model),
                     .where = {},
                     .mend = "Fit the curve again with the same model and the same dates.",
                     .kind = ProblemKind::request});
    }
    for (const std::size_t i : used) {
        if (const auto good = check_point(curve, i); !good) return fail(good.error());
    }
    Refit again{
        .likelihood = Likelihood(curve, model, used, fit.reference_bjd_tdb, mistaken_limit(options.robust)),
        .noise = {.extra_scatter_mag = fit.extra_scatter_mag, .student_nu = fit.student_nu},
        .place = {.parameters = fit.parameters}};
    for (const ValueWithError& common : fit.commons)
        again.place.commons.push_back(common.value);
    return again;
}

}  // namespace emberline::lightcurve
