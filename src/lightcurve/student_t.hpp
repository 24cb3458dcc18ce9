// SPDX-License-Identifier: MIT
// lightcurve/student_t — a likelihood with tails: Student's t as a Gaussian whose variance varies from point
// to point (Lange, Little & Taylor 1989, JASA 84, 881). Notation: z residual over its scale, ν degrees of
// freedom, ψ = −d ln t / dz.
#pragma once

#include <optional>
#include <span>

namespace emberline::lightcurve {

// Tried. Under the heaviest, points that are Gaussian in truth lose a seventh of their information, and one
// that is 25 sigma off still pulls by an eighth of what a point at 1 sigma does.
inline constexpr double tried_nu[] = {2.0, 3.0, 5.0, 10.0, 20.0};

// An absent ν is the Gaussian everywhere here.
// −2 ln of the density at z is the sum of these two; a fit lowers the second.
[[nodiscard]] double tail_constant(std::optional<double> nu);
[[nodiscard]] double tail_depth(double z2, std::optional<double> nu);
[[nodiscard]] inline double minus_two_log_tail(double z2, std::optional<double> nu) {
    return tail_constant(nu) + tail_depth(z2, nu);
}
// Expected 1 / variance of that point, given its residual: (ν + 1) / (ν + z²).
[[nodiscard]] double tail_weight(double z2, std::optional<double> nu);
// Fisher's information of one point about its centre, against a Gaussian of the same scale.
[[nodiscard]] double tail_information(std::optional<double> nu);

// 1 within 3 sigma, where a point is like the others whatever tails they have; further out its weight.
[[nodiscard]] double standing_weight(double z2, std::optional<double> nu);

// By how much the covariance of parameters exceeds that of a Gaussian fit of the same scales in which each
// point counts with its standing weight: mean ψ² over the squared mean of ψ' (Huber 1973, Ann. Stat. 1, 799).
// True whatever the points' real distribution is: tails that one or two points ask for do not make the errors
// of the others large.
struct TailSpread {
    double covariance = 1.0;  // factor
    double likelihood = 1.0;  // the rise of −2 ln L that stands for one sigma
};
// `squared_residuals` are at the fit, of which `parameters` were fitted.
[[nodiscard]] TailSpread tail_spread(std::span<const double> squared_residuals, std::size_t parameters,
                                     std::optional<double> nu);

}  // namespace emberline::lightcurve
