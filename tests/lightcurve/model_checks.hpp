// SPDX-License-Identifier: MIT
// What the tests of light-curve models share.
#pragma once

#include <memory>
#include <vector>

#include "lightcurve/curves.hpp"
#include "lightcurve/model.hpp"

namespace emberline::test {

inline lightcurve::CurveFit fitted(const lightcurve::LightCurve& curve,
                                   std::unique_ptr<lightcurve::Model> model,
                                   const lightcurve::FitOptions& options = {}) {
    const auto result = lightcurve::fit(curve, std::move(model), options);
    INFO((result ? std::string() : one_line(result.error())));
    REQUIRE(result);
    return *result;
}

// A model's own gradient against central differences, whose rounding and curvature leave some 1e-9 of a
// slope, of the largest of the row where one vanishes.
inline void check_gradient(const lightcurve::Model& model, const std::vector<double>& values, double from,
                           double to) {
    std::vector<double> own(values.size()), differences(values.size());
    for (double t = from; t < to; t += 3.1) {
        CAPTURE(model.name(), t);
        model.gradient(t, values, own);
        model.lightcurve::Model::gradient(t, values, differences);
        for (std::size_t j = 0; j < values.size(); ++j) {
            CAPTURE(j);
            CHECK(own[j] == Approx(differences[j]).epsilon(1e-6).margin(1e-7));
        }
    }
}

}  // namespace emberline::test
