// SPDX-License-Identifier: MIT
// tests/lightcurve/published_claims — what papers say of supernovae whose points are open, and the same
// quantity measured here with the whole chain: series, errors, fit, figures.
#pragma once

#include <functional>
#include <string>
#include <vector>

#include "quantities/problem.hpp"
#include "quantities/value_with_error.hpp"

namespace emberline::test {

using Measure = std::function<Result<ValueWithError>()>;

enum class Basis { read, from_memory, physics, computed };
[[nodiscard]] std::string words_for(Basis basis);

struct Claim {
    std::string supernova, quantity, unit;
    ValueWithError published;      // times: MJD
    bool err_is_rounding = false;  // no error is printed: half of the last figure, or what `remark` says
    // How far the two may lie apart for a reason that neither error holds: other photometry than the points
    // here, another definition, light that is not bolometric. `remark` says which.
    double apart = 0.0;
    Basis basis = Basis::from_memory;
    std::string source, remark;
    Measure measure;
};

// Of the seven supernovae in `lightcurves/` of that folder of open data.
[[nodiscard]] std::vector<Claim> claims_on_type_ia(const std::string& datasets);
[[nodiscard]] std::vector<Claim> claims_on_type_ii(const std::string& datasets);
// Of the two whose points are small enough to lie in tests/data.
[[nodiscard]] std::vector<Claim> claims_on_small_tables();

// What was read of a series: errors estimated from the scatter, rows that repeat another.
[[nodiscard]] std::vector<std::string> remarks_on_series();

// (measured − published) in units of all three errors together.
[[nodiscard]] double difference_in_sigma(const Claim& claim, const ValueWithError& measured);

}  // namespace emberline::test
