// SPDX-License-Identifier: MIT
#include "night/aperture_grid.hpp"

#include <algorithm>
#include <cmath>
#include <numbers>

namespace emberline::night {
namespace {

constexpr double multiples[] = {0.6, 0.8, 1.0, 1.2, 1.5, 1.8, 2.1, 2.5, 3.0};
constexpr double least_angle_fwhm = 0.7, most_angle_fwhm = 4.0;
constexpr double angles_an_octave = 3.0;
constexpr double least_annulus_px2 = 200.0;
constexpr double same = 1e-6;  // relative: angles and multiples are compared as numbers that were computed

std::optional<std::size_t> find(const std::vector<photometry::FrameAperture>& grid,
                                std::optional<double> photometry::FrameAperture::*kind, double value) {
    for (std::size_t k = 0; k < grid.size(); ++k) {
        const auto& own = grid[k].*kind;
        if (own && std::abs(*own - value) <= same * value) return k;
    }
    return std::nullopt;
}

}  // namespace

std::vector<photometry::FrameAperture> aperture_grid(double fwhm_px, double scale_arcsec_per_px,
                                                     const MeasureSettings& settings) {
    std::vector<photometry::FrameAperture> grid;
    const auto add_multiple = [&](double multiple) {
        if (!find_multiple(grid, multiple)) grid.push_back({multiple * fwhm_px, multiple, std::nullopt});
    };
    const auto add_angle = [&](double angle) {
        if (!find_angle(grid, angle)) grid.push_back({angle / scale_arcsec_per_px, std::nullopt, angle});
    };
    for (const double multiple : multiples)
        add_multiple(multiple);
    const double fwhm_arcsec = fwhm_px * scale_arcsec_per_px;
    const int first =
        static_cast<int>(std::ceil(angles_an_octave * std::log2(least_angle_fwhm * fwhm_arcsec)));
    const int last =
        static_cast<int>(std::floor(angles_an_octave * std::log2(most_angle_fwhm * fwhm_arcsec)));
    for (int k = first; k <= last; ++k)
        add_angle(std::exp2(k / angles_an_octave));
    if (settings.aperture_fwhm) add_multiple(*settings.aperture_fwhm);
    if (settings.aperture_arcsec) add_angle(*settings.aperture_arcsec);
    std::stable_sort(grid.begin(), grid.end(),
                     [](const auto& a, const auto& b) { return a.radius_px < b.radius_px; });
    return grid;
}

std::optional<std::size_t> find_angle(const std::vector<photometry::FrameAperture>& grid,
                                      double angle_arcsec) {
    return find(grid, &photometry::FrameAperture::angle_arcsec, angle_arcsec);
}

std::optional<std::size_t> find_psf(const std::vector<photometry::FrameAperture>& grid) {
    for (std::size_t k = 0; k < grid.size(); ++k) {
        if (grid[k].is_psf()) return k;
    }
    return std::nullopt;
}

std::optional<std::size_t> find_multiple(const std::vector<photometry::FrameAperture>& grid,
                                         double fwhm_multiple) {
    return find(grid, &photometry::FrameAperture::fwhm_multiple, fwhm_multiple);
}

std::optional<std::size_t> find_core(const std::vector<photometry::FrameAperture>& grid, double fwhm_px) {
    if (const auto psf = find_psf(grid)) return psf;
    std::optional<std::size_t> best;
    for (std::size_t k = 0; k < grid.size(); ++k) {
        if (!best || grid[k].radius_px <= fwhm_px) best = k;
    }
    return best;
}

photometry::Annulus annulus_around(const std::vector<photometry::FrameAperture>& grid, double fwhm_px,
                                   double scale_arcsec_per_px, const MeasureSettings& settings) {
    if (settings.annulus_inner_arcsec && settings.annulus_outer_arcsec) {
        return {*settings.annulus_inner_arcsec / scale_arcsec_per_px,
                *settings.annulus_outer_arcsec / scale_arcsec_per_px};
    }
    const double largest_px = grid.empty() ? 0.0 : grid.back().radius_px;
    const double inner = std::max(settings.annulus_inner_fwhm * fwhm_px, largest_px + 1.0);
    const double width = (settings.annulus_outer_fwhm - settings.annulus_inner_fwhm) * fwhm_px;
    const double least = std::sqrt(inner * inner + least_annulus_px2 / std::numbers::pi);
    return {inner, std::max(inner + width, least)};
}

}  // namespace emberline::night
