// SPDX-License-Identifier: MIT
#include "night/sampled_light.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <limits>

namespace emberline::night {
namespace {

constexpr double usual_beta = 3.2;  // where no star's profile could be fitted; common practice, no source
// By simulation of images that are no Moffat profile, one pixel lost: what is left of its light once filled
// and corrected by the profile, and of the correction itself.
constexpr double filled_light_err = 0.025, filled_correction_err = 0.08;
constexpr double telling_ripple = 0.002;                         // of the star's light: two millimagnitudes
constexpr double least_usual_fwhm = 0.9, most_usual_fwhm = 2.0;  // apertures that are in use, in FWHM
constexpr double mosaic_pitch_px = 2.0;

photometry::SampledImage image_of(const frame::FrameFacts& facts, const stars::FrameProfile& profile) {
    photometry::SampledImage image;
    image.square = gathering_square(facts);
    image.fwhm_px = profile.fwhm_px;
    image.elongation = std::max(profile.elongation, 1.0);
    image.direction = profile.direction;
    image.moffat_beta = profile.stars > 0 && profile.moffat_beta > 1.0 ? profile.moffat_beta : usual_beta;
    return image;
}

// A plane of a picture that was interpolated from a mosaic: how the light of one colour was sampled is not to
// be seen any more, but its ripple is still there. What interpolation cannot take out is that of the whole
// image, in the largest aperture.
double interpolated_ripple(const photometry::SampledImage& image, double largest_px) {
    photometry::SampledImage coarse = image;
    coarse.fwhm_px /= mosaic_pitch_px;
    coarse.square.side_px = 1.0 / mosaic_pitch_px;
    return photometry::SamplingTable(coarse, std::vector<double>{largest_px / mosaic_pitch_px})
        .at({0.0, 0.0})
        .err.front();
}

// Of a star of light 1 at that place, undefined where the frame's pixels are.
frame::Cutout model_of(const photometry::GatheredImage& image, const StarOnFrame& star, double reach_px,
                       bool with_holes) {
    frame::Cutout model{star.cutout.box, std::vector<float>(star.cutout.adu.size(), 0.0F)};
    const frame::PixelBox& box = model.box;
    for (int y = box.y0; y < box.y0 + box.height; ++y) {
        for (int x = box.x0; x < box.x0 + box.width; ++x) {
            const double dx = x - star.position.x, dy = y - star.position.y;
            if (std::hypot(dx, dy) > reach_px) continue;
            const bool hole = with_holes && !std::isfinite(star.cutout.at(x, y));
            model.at(x, y) =
                hole ? std::numeric_limits<float>::quiet_NaN() : static_cast<float>(image.at(dx, dy));
        }
    }
    return model;
}

}  // namespace

SampledLight::SampledLight(const frame::FrameFacts& facts, const stars::FrameProfile& profile,
                           std::span<const double> radii_px)
    : facts_(facts),
      radii_px_(radii_px.begin(), radii_px.end()),
      table_(image_of(facts, profile), radii_px),
      corrected_(profile.stars > 0 && (facts.planes == 1 || facts.lattice)),
      left_(radii_px.size(), 0.0) {
    const photometry::SampledImage image = image_of(facts, profile);
    if (facts.planes > 1 && !facts.lattice &&
        image.fwhm_px < 2.0 * photometry::SamplingTable::smooth_fwhm_px) {
        std::fill(left_.begin(), left_.end(), interpolated_ripple(image, radii_px.back()));
    } else if (image.fwhm_px <= photometry::SamplingTable::smooth_fwhm_px) {
        left_ = corrected_ ? table_.unknown() : table_.ripple();
    }
    double most = 0.0;
    for (std::size_t k = 0; k < radii_px_.size(); ++k) {
        const double fwhms = radii_px_[k] / image.fwhm_px;
        if (fwhms > least_usual_fwhm && fwhms < most_usual_fwhm) most = std::max(most, left_[k]);
    }
    if (most > telling_ripple) {
        caveats_.add(Caveat::undersampled);
        remarks_.push_back(fmt::format(
            "Stars are {:.1f} pixels wide where pixels of the colour lie {:.1f} apart: their light "
            "varies by up to {:.1f} % with where they fall, beyond what their profile tells.",
            image.fwhm_px * (facts.lattice ? facts.lattice->pitch_px() : 1.0),
            facts.lattice ? facts.lattice->pitch_px() : 1.0, 100.0 * most));
    }
}

bool SampledLight::cut_by_edge(const frame::PixelPosition& star, double radius_px) const {
    if (!facts_.lattice) return false;
    const frame::Lattice& lattice = *facts_.lattice;
    const frame::PixelPosition stored = lattice.stored(star);
    const double reach = radius_px * lattice.pitch_px() + 0.5;
    return stored.x - reach < -0.5 || stored.x + reach > lattice.stored_width_px - 0.5 ||
           stored.y - reach < -0.5 || stored.y + reach > lattice.stored_height_px - 0.5;
}

std::vector<SampledLight::Filling> SampledLight::filling(const StarOnFrame& star) const {
    std::vector<Filling> out(radii_px_.size());
    const double reach_px = radii_px_.back() + 1.0;
    const photometry::PixelLimits none{std::numeric_limits<double>::infinity(),
                                       std::numeric_limits<double>::infinity()};
    const auto whole = photometry::sum_apertures(model_of(table_.image(), star, reach_px, false),
                                                 star.position, radii_px_, {}, none);
    const auto filled = photometry::sum_apertures(model_of(table_.image(), star, reach_px, true),
                                                  star.position, radii_px_, {}, none);
    if (!whole || !filled) return out;
    for (std::size_t k = 0; k < out.size(); ++k) {
        if (!(filled->filled_area_px[k] > 0.0) || !(filled->flux_adu[k] > 0.0)) continue;
        out[k].correction = whole->flux_adu[k] / filled->flux_adu[k];
        out[k].err = std::hypot(filled_light_err * filled->filled_adu[k] / filled->flux_adu[k],
                                filled_correction_err * (out[k].correction - 1.0));
    }
    return out;
}

void SampledLight::settle(photometry::StarFlux& light, const StarOnFrame& star,
                          const photometry::ApertureSums& sums) const {
    const photometry::SamplingEffect effect = table_.at(star.position, star.position_err_px);
    const bool holes = sums.filled_area_px.back() > 0.0;
    const std::vector<Filling> fillings = holes ? filling(star) : std::vector<Filling>(radii_px_.size());
    light.place_err.clear();
    for (std::size_t k = 0; k < radii_px_.size(); ++k) {
        light.flux_e[k] *= fillings[k].correction * (corrected_ ? effect.correction[k] : 1.0);
        // A filled pixel's noise is that of its neighbours, which count more: as if it were there twice.
        light.area_px[k] += sums.filled_area_px[k];
        light.place_err.push_back(std::hypot(corrected_ ? effect.err[k] : left_[k], fillings[k].err,
                                             facts_.flat_pixel_err / std::sqrt(table_.pixels()[k])));
        if (cut_by_edge(star.position, radii_px_[k])) {
            light.caveats[k].add(Caveat::edge);
            light.flux_e[k] = std::numeric_limits<double>::quiet_NaN();
        }
    }
}

double SampledLight::fit_err(double radius_px) const {
    const auto at = std::lower_bound(radii_px_.begin(), radii_px_.end(), radius_px);
    const std::size_t k = std::min(static_cast<std::size_t>(at - radii_px_.begin()), radii_px_.size() - 1);
    return std::hypot(left_[k], facts_.flat_pixel_err / std::sqrt(table_.pixels()[k]));
}

}  // namespace emberline::night
