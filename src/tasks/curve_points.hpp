// SPDX-License-Identifier: MIT
// tasks/curve_points — whose points make the curves: the campaign's from its ledger, other people's from
// their tables, one curve a band.
#pragma once

#include <string>
#include <vector>

#include "tasks/curve.hpp"

namespace emberline::tasks {

struct CurvePoints {
    std::string title;
    TransientFacts facts;  // those asked for, and the campaign's where none were
    std::vector<lightcurve::LightCurve>
        curves;  // by wavelength; other series' offsets among the common errors
    std::vector<std::string> remarks;
};
// Problem: no such series or campaign, nothing measured, a band that is none, no points of those bands.
[[nodiscard]] Result<CurvePoints> curve_points(const CurveRequest& request);

}  // namespace emberline::tasks
