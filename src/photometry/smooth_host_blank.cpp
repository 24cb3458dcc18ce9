// SPDX-License-Identifier: MIT
#include "photometry/smooth_host_blank.hpp"

#include <algorithm>
#include <cmath>
#include <numbers>

#include "photometry/circle_pixel.hpp"

namespace emberline::photometry::smooth {
namespace {

constexpr double least_distance_fwhm = 2.5;  // from the transient
constexpr double spacing_fwhm = 1.5;
constexpr double edge_fwhm = 1.5;
constexpr std::size_t most_places = 14;
constexpr std::size_t enough_places = 8;

// Common practice, no source: a fit's own variance is believed within a factor of two or so either way.
constexpr double prior_log_factor = 0.45, prior_log_width = 0.7;
constexpr double student_nu = 5.0;
// Apertures 1.5 FWHM apart share structure: two of them tell less than twice as much as one.
constexpr double independence = 0.7;

bool room_for(const PixelMap& pixels, const frame::PixelPosition& p, double margin_px) {
    const frame::PixelBox& b = pixels.box;
    return p.x >= b.x0 + margin_px && p.y >= b.y0 + margin_px && p.x <= b.x0 + b.width - 1 - margin_px &&
           p.y <= b.y0 + b.height - 1 - margin_px;
}

}  // namespace

Footprint aperture_footprint(const PixelMap& pixels, const frame::PixelPosition& place, double radius_px) {
    Footprint out;
    const frame::PixelBox box = pixels.near(place, radius_px + std::numbers::sqrt2 / 2.0);
    for (int y = box.y0; y < box.y0 + box.height; ++y) {
        for (int x = box.x0; x < box.x0 + box.width; ++x) {
            const double overlap = circle_pixel_overlap(x - place.x, y - place.y, radius_px);
            if (overlap <= 0.0) continue;
            out.pixel.push_back(pixels.box.index(x, y));
            out.weight.push_back(overlap);
        }
    }
    return out;
}

Footprint psf_footprint(const PixelMap& pixels, const frame::PixelPosition& place, const Psf& psf,
                        double reach_px) {
    Footprint out;
    double squares = 0.0;
    const frame::PixelBox box = pixels.near(place, reach_px);
    for (int y = box.y0; y < box.y0 + box.height; ++y) {
        for (int x = box.x0; x < box.x0 + box.width; ++x) {
            const std::size_t i = pixels.box.index(x, y);
            if (squared_distance({x + 0.0, y + 0.0}, place) > reach_px * reach_px) continue;
            const double share = psf.share(place, x, y);
            out.pixel.push_back(i);
            out.weight.push_back(share);
            squares += share * share;
        }
    }
    for (double& w : out.weight)
        w = squares > 0.0 ? w / squares : 0.0;
    return out;
}

std::vector<frame::PixelPosition> blank_places(const PixelMap& pixels, const MeanHost& host,
                                               const frame::PixelPosition& transient, double fwhm_px) {
    std::vector<frame::PixelPosition> places;
    const double spacing2 = 0.99 * spacing_fwhm * fwhm_px * spacing_fwhm * fwhm_px;
    const auto offer = [&](const frame::PixelPosition& p) {
        const double far = least_distance_fwhm * fwhm_px;
        if (places.size() >= most_places || !room_for(pixels, p, edge_fwhm * fwhm_px) ||
            squared_distance(p, transient) < 0.99 * far * far)
            return;
        for (const frame::PixelPosition& other : places) {
            if (squared_distance(p, other) < spacing2) return;
        }
        places.push_back(p);
    };
    if (!host.profile) {
        for (const double ring : {4.0, 6.0, 8.0}) {
            const int n = static_cast<int>(2.0 * std::numbers::pi * ring / (1.7 * spacing_fwhm));
            for (int k = 0; k < n; ++k) {
                const double t = 2.0 * std::numbers::pi * k / n;
                offer(
                    {transient.x + ring * fwhm_px * std::cos(t), transient.y + ring * fwhm_px * std::sin(t)});
            }
        }
        return places;
    }
    const Ellipse& e = host.profile->ellipse;
    const frame::PixelPosition v = e.round(transient);
    const double own = std::hypot(v.x, v.y), start = std::atan2(v.y, v.x);
    const double nearest2 = 0.25 * squared_distance(transient, e.centre);
    for (const double beside : {0.0, -1.5, 1.5}) {
        const double a = own + beside * fwhm_px;
        if (a < 0.5 * own || (beside != 0.0 && places.size() >= enough_places)) continue;
        // Ways around at most `most_places` places, as evenly as they go.
        const double around = 2.0 * std::numbers::pi * a / fwhm_px;
        const int n =
            std::clamp(static_cast<int>(around / spacing_fwhm), 3, static_cast<int>(most_places) + 2);
        for (int k = 0; k < n; ++k) {
            const auto p = e.place(a, start + 2.0 * std::numbers::pi * (k + 0.5) / n);
            if (squared_distance(p, e.centre) >= nearest2) offer(p);
        }
    }
    return places;
}

double variance_factor(const std::vector<Miss>& misses) {
    constexpr int steps = 60;
    constexpr double low = -0.7, high = 5.0;  // of ln factor
    std::vector<double> log_posterior(steps + 1);
    for (int k = 0; k <= steps; ++k) {
        const double log_factor = low + (high - low) * k / steps, factor = std::exp(log_factor);
        const double z = (log_factor - prior_log_factor) / prior_log_width;
        double sum = -0.5 * z * z;
        for (const Miss& m : misses) {
            const double variance = factor * m.model_variance_adu2 + m.noise_variance_adu2;
            if (!(variance > 0.0)) continue;
            // Scaled so that Student's variance, not its core, is what the factor gives.
            const double pull2 = m.miss_adu * m.miss_adu / variance / (student_nu - 2.0);
            sum -= independence * 0.5 * (std::log(variance) + (student_nu + 1.0) * std::log1p(pull2));
        }
        log_posterior[static_cast<std::size_t>(k)] = sum;
    }
    const double top = *std::max_element(log_posterior.begin(), log_posterior.end());
    double weight = 0.0, mean = 0.0;
    for (int k = 0; k <= steps; ++k) {
        const double w = std::exp(log_posterior[static_cast<std::size_t>(k)] - top);
        weight += w;
        mean += w * std::exp(low + (high - low) * k / steps);
    }
    return mean / weight;
}

}  // namespace emberline::photometry::smooth
