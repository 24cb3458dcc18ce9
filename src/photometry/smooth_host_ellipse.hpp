// SPDX-License-Identifier: MIT
// photometry/smooth_host_ellipse — a profile over ellipses about a nucleus. Private to the room.
// Notation: v = exp(S/2) (p − p₀), S = [s₁ s₂; s₂ −s₁]; elliptical radius a = |v| (area of the isophote
// π a²), azimuth θ of v; axis ratio exp(−|s|). I(a) is a cubic B-spline over asinh(a / a₀), linear in its
// coefficients, so that it follows a core as well as an outskirt lost in the sky (where log I fails).
// After Jedrzejewski 1987 (MNRAS 226, 747): geometry from the harmonics that a wrong ellipse leaves.
#pragma once

#include <array>
#include <cmath>
#include <cstddef>
#include <vector>

#include "frame/wcs.hpp"
#include "photometry/smooth_host_pixels.hpp"

namespace emberline::photometry::smooth {

struct Ellipse {
    frame::PixelPosition centre;
    double s1 = 0.0, s2 = 0.0;
    // exp(S/2): for many places it is worked out once.
    struct Root {
        frame::PixelPosition centre;
        double xx, xy, yy;
        [[nodiscard]] frame::PixelPosition round(const frame::PixelPosition& place) const {
            const double dx = place.x - centre.x, dy = place.y - centre.y;
            return {xx * dx + xy * dy, xy * dx + yy * dy};
        }
        [[nodiscard]] double radius(const frame::PixelPosition& place) const {
            const frame::PixelPosition v = round(place);
            return std::sqrt(v.x * v.x + v.y * v.y);
        }
    };
    [[nodiscard]] Root root() const;
    // v of a place.
    [[nodiscard]] frame::PixelPosition round(const frame::PixelPosition& place) const;
    [[nodiscard]] frame::PixelPosition place(double radius_px, double azimuth_rad) const;
    [[nodiscard]] double radius(const frame::PixelPosition& place) const;
};

// Four cubic B-splines are not 0 at any radius.
class RadialSplines {
  public:
    RadialSplines(double core_px, double step, double to_px);
    struct At {
        std::size_t first = 0;
        std::array<double, 4> value{}, slope{};  // slope by radius
    };
    [[nodiscard]] At at(double radius_px) const;
    [[nodiscard]] std::size_t count() const { return count_; }

  private:
    double core_px_, step_;
    std::size_t count_;
};

struct Profile {
    Ellipse ellipse;
    RadialSplines splines;
    std::vector<double> coefficients_adu;
    [[nodiscard]] double light_adu(double radius_px) const;
};

struct ProfileOptions {
    double fwhm_px = 0.0;
    frame::PixelPosition focus;  // the transient: on its isophote the ellipse has to be right
    double centre_err_px = 0.0;  // the nucleus may move by about that
};
// Gauss–Newton in geometry and profile together. Priors keep a host too faint to show a shape round.
[[nodiscard]] Profile fit_profile(const PixelMap& pixels, const frame::PixelPosition& nucleus,
                                  const ProfileOptions& options);

}  // namespace emberline::photometry::smooth
