// SPDX-License-Identifier: MIT
// lightcurve/profile — where −2 ln L rises by 1 along one parameter, all others at their best: an honest
// error where the likelihood is no parabola.
#pragma once

#include <string_view>

#include "lightcurve/fit.hpp"

namespace emberline::lightcurve {

struct ProfileError {
    double value = 0.0;
    double minus = 0.0, plus = 0.0;  // both positive; infinite where the likelihood never rises by 1 that way
    bool parabolic = true;           // both within a tenth of the error of the covariance
};

// Problem: no parameter of that name, a curve that is not the fit's.
[[nodiscard]] Result<ProfileError> profile_error(const LightCurve& curve, std::shared_ptr<const Model> model,
                                                 const CurveFit& fit, const FitOptions& options,
                                                 std::string_view parameter);

}  // namespace emberline::lightcurve
