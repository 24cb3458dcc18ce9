// SPDX-License-Identifier: MIT
#include "lightcurve/posterior.hpp"

#include "lightcurve/refit.hpp"

namespace emberline::lightcurve {

struct Posterior::Impl {
    std::shared_ptr<const Model> model;
    Refit refit;
};

Posterior::Posterior(std::shared_ptr<const Impl> impl) : impl_(std::move(impl)) {}

Result<Posterior> Posterior::make(const LightCurve& curve, std::shared_ptr<const Model> model,
                                  const CurveFit& fit, const FitOptions& options) {
    auto again = refit(curve, *model, fit, options);
    if (!again) return fail(again.error());
    return Posterior(std::make_shared<const Impl>(Impl{std::move(model), std::move(*again)}));
}

double Posterior::minus_two_log(std::span<const double> parameters) const {
    Place place{.parameters = {parameters.begin(), parameters.end()}, .commons = impl_->refit.place.commons};
    return impl_->refit.likelihood.minus_two_log(std::move(place), impl_->refit.noise);
}

}  // namespace emberline::lightcurve
