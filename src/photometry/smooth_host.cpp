// SPDX-License-Identifier: MIT
// Notation: flux = Σ w (data − model) over a footprint w; its variance beyond photons and n s² is that of
// Σ w model: λ × the fit's own, λ from blank apertures; the part which the pixels' noise brings is random,
// the rest, structure of the host, is common to all frames of a band.
#include "photometry/smooth_host.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <numeric>

#include "numerics/gaussian.hpp"
#include "photometry/aperture_sum.hpp"
#include "photometry/psf.hpp"
#include "photometry/psf_fit.hpp"
#include "photometry/smooth_host_blank.hpp"
#include "photometry/smooth_host_mean.hpp"
#include "photometry/smooth_host_setting.hpp"

namespace emberline::photometry {
namespace {

using namespace smooth;

constexpr double on_nucleus_fwhm = 0.7;
constexpr double beside_nucleus_fwhm = 1.5;
// Common practice, no source: beside the nucleus no blank place is like the transient's own.
constexpr double beside_nucleus_factor = 3.0;
constexpr double mask_fwhm = 1.7;
constexpr double local_reach_fwhm = 4.5;
constexpr double least_share_near = 0.3;   // of the pixels about the transient, defined and beside the mask
constexpr double least_share_blank = 0.7;  // of a blank aperture's weight
constexpr std::size_t fewest_pixels = 60;

// By how much of its light a star falls short that stands beside the place assumed, for a Gaussian image.
double light_lost(double offset_px, double fwhm_px, std::optional<double> radius_px) {
    const double sigma = fwhm_px / numerics::fwhm_per_sigma;
    const double off = 2.0 * offset_px * offset_px / (2.0 * sigma * sigma);  // both axes
    if (!radius_px) return std::min(0.5 * off, 1.0);
    const double u = *radius_px * *radius_px / (2.0 * sigma * sigma);
    return std::min(u * std::exp(-u) / -std::expm1(-u) * off, 1.0);
}

class SmoothHost {
  public:
    SmoothHost(const Surroundings& around, const FluxGrid& grid, Setting setting)
        : around_(around), grid_(grid), set_(std::move(setting)) {}

    Result<SmoothFit> fit();

  private:
    [[nodiscard]] Footprint footprint(std::size_t k, const frame::PixelPosition& place) const {
        return grid_.psf == k ? psf_footprint(pixels_, place, *set_.psf, 1.5 * set_.fwhm_px)
                              : aperture_footprint(pixels_, place, grid_.radii_px[k]);
    }
    [[nodiscard]] std::vector<char> within(const frame::PixelPosition& place, double radius_px) const;
    [[nodiscard]] Surface surface(const MeanBasis& basis, const frame::PixelPosition& place,
                                  const WholeNormal& whole, const std::vector<char>& leave_out,
                                  double point_adu) const;
    [[nodiscard]] std::vector<double> spread_of_degrees(const Surface& here) const;
    [[nodiscard]] double unexplained_adu(const Footprint& footprint, const Surface& here) const;
    void measure_blanks(const std::vector<char>& hidden);
    [[nodiscard]] tl::unexpected<Problem> too_few() const;
    [[nodiscard]] tl::unexpected<Problem> on_nucleus() const;
    Result<std::vector<double>> fluxes_e(const frame::Cutout& without_host, Caveats& caveats) const;

    const Surroundings& around_;
    const FluxGrid& grid_;
    Setting set_;
    PixelMap pixels_;
    MeanHost host_;
    std::vector<MeanBasis> neighbour_degrees_;  // of a polynomial, one lower and one higher
    std::vector<std::vector<Miss>> misses_;     // of each aperture of the grid
};

std::vector<char> SmoothHost::within(const frame::PixelPosition& place, double radius_px) const {
    std::vector<char> out(pixels_.size(), 0);
    const frame::PixelBox box = pixels_.near(place, radius_px);
    for (int y = box.y0; y < box.y0 + box.height; ++y) {
        for (int x = box.x0; x < box.x0 + box.width; ++x) {
            if (squared_distance({x + 0.0, y + 0.0}, place) < radius_px * radius_px)
                out[pixels_.box.index(x, y)] = 1;
        }
    }
    return out;
}

Surface SmoothHost::surface(const MeanBasis& basis, const frame::PixelPosition& place,
                            const WholeNormal& whole, const std::vector<char>& leave_out,
                            double point_adu) const {
    SurfaceOptions options;
    options.fwhm_px = set_.fwhm_px;
    options.reach_px = (host_.profile ? local_reach_fwhm : polynomial_reach_fwhm) * set_.fwhm_px;
    options.psf = &*set_.psf;
    options.image_err = set_.image_err;
    options.structure_adu2 = host_.structure_adu2;
    if (host_.profile) {
        const double light = host_.profile->light_adu(host_.profile->ellipse.radius(place));
        const double brighter = std::max(1.0, light / host_.scale_adu);
        options.structure_adu2 *= brighter * brighter;
    }
    options.point_adu = point_adu;
    return {pixels_, basis, whole, place, leave_out, options};
}

// Each with its own mask and fit, the transient hidden as well.
void SmoothHost::measure_blanks(const std::vector<char>& hidden) {
    const WholeNormal whole = whole_normal(pixels_, host_.basis, set_.fwhm_px, hidden);
    misses_.assign(grid_.radii_px.size(), {});
    for (const auto& place : blank_places(pixels_, host_, set_.transient, set_.fwhm_px)) {
        const Surface there = surface(host_.basis, place, whole, hidden, 0.0);
        if (there.pixels_near() < fewest_pixels) continue;
        for (std::size_t k = 0; k < misses_.size(); ++k) {
            const Footprint all = footprint(k, place);
            Footprint seen;
            double weight = 0.0;
            Miss miss;
            for (std::size_t f = 0; f < all.pixel.size(); ++f) {
                const std::size_t i = all.pixel[f];
                weight += all.weight[f];
                if (pixels_.used[i] == 0 || hidden[i] != 0) continue;
                seen.pixel.push_back(i);
                seen.weight.push_back(all.weight[f]);
                miss.miss_adu += all.weight[f] * pixels_.light_adu[i];
                miss.noise_variance_adu2 += all.weight[f] * all.weight[f] * pixels_.variance_adu2[i];
            }
            const double seen_weight = std::accumulate(seen.weight.begin(), seen.weight.end(), 0.0);
            if (seen_weight < least_share_blank * weight || !(weight > 0.0)) continue;
            const Surface::Known known = there.known(seen);
            miss.miss_adu -= known.host_adu;
            miss.model_variance_adu2 = known.variance_adu2;
            misses_[k].push_back(miss);
        }
    }
}

// A polynomial's degree is a choice: by how much its neighbours would have the host differently, ADU.
std::vector<double> SmoothHost::spread_of_degrees(const Surface& here) const {
    std::vector<double> spread(grid_.radii_px.size(), 0.0);
    const std::vector<char> none(pixels_.size(), 0);
    for (const MeanBasis& basis : neighbour_degrees_) {
        const WholeNormal nothing = whole_normal(pixels_, basis, set_.fwhm_px, none);
        const Surface other = surface(basis, set_.transient, nothing, none, here.point_adu());
        for (std::size_t k = 0; k < spread.size(); ++k) {
            const Footprint f = footprint(k, set_.transient);
            spread[k] = std::max(spread[k], std::abs(other.known(f).host_adu - here.known(f).host_adu));
        }
    }
    return spread;
}

// Light of stars, clumps and saturated pixels under the footprint, which the model was kept from following.
double SmoothHost::unexplained_adu(const Footprint& footprint, const Surface& here) const {
    double sum = 0.0;
    for (std::size_t f = 0; f < footprint.pixel.size(); ++f) {
        const std::size_t i = footprint.pixel[f];
        const auto adu = static_cast<double>(around_.cutout.adu[i]);
        const double mask = mask_fwhm * set_.fwhm_px;
        const bool own = squared_distance(pixels_.place(i), set_.transient) < mask * mask;
        if (pixels_.used[i] != 0 || own || !std::isfinite(adu)) continue;
        sum += footprint.weight[f] * (adu - around_.sky_adu - here.host_adu(i));
    }
    return sum;
}

tl::unexpected<Problem> SmoothHost::too_few() const {
    return fail({.what = "Too few usable pixels lie beside the transient to model its host.",
                 .where = place_words(set_.transient),
                 .mend = "Keep a larger cut-out, or take the host away with a template."});
}

tl::unexpected<Problem> SmoothHost::on_nucleus() const {
    const Footprint circle = aperture_footprint(pixels_, set_.transient, set_.fwhm_px);
    double light = 0.0, area = 0.0;
    for (std::size_t f = 0; f < circle.pixel.size(); ++f) {
        const std::size_t i = circle.pixel[f];
        light += circle.weight[f] * std::max(0.0, pixels_.light_adu[i]);
        area += circle.weight[f];
    }
    const double gain = around_.gain_e_per_adu, scatter_e = around_.sky_scatter_adu * gain;
    const double light_e = light * gain;
    const double error_e = std::sqrt(light_e + 2.0 * area * scatter_e * scatter_e);
    return fail(
        {.what = "The transient sits on the host's nucleus: a smooth model cannot tell the two apart.",
         .where = place_words(set_.transient),
         .mend = fmt::format("Subtract a template taken without the transient: in an aperture of one "
                             "FWHM it would leave an error of about {:.0f} electrons, {:.1f} per cent "
                             "of the light there.",
                             error_e, light_e > 0.0 ? 100.0 * error_e / light_e : 100.0)});
}

Result<std::vector<double>> SmoothHost::fluxes_e(const frame::Cutout& without_host, Caveats& caveats) const {
    std::vector<double> flux_e(grid_.radii_px.size());
    if (!set_.apertures.empty()) {
        std::vector<double> radii;
        for (const std::size_t k : set_.apertures)
            radii.push_back(grid_.radii_px[k]);
        const auto sums = sum_apertures(without_host, set_.transient, radii, {}, {1e30, 1e30});
        if (!sums) return fail(sums.error());
        for (std::size_t n = 0; n < radii.size(); ++n) {
            flux_e[set_.apertures[n]] = sums->flux_adu[n] * around_.gain_e_per_adu;
            caveats.add(sums->caveats[n]);
        }
    }
    if (grid_.psf) {
        PsfFitOptions options;
        options.sky_adu = 0.0;
        options.weights = PsfWeights::equal;
        std::vector<double> host_variance(pixels_.size());
        const double noise = around_.sky_scatter_adu * around_.sky_scatter_adu;
        for (std::size_t i = 0; i < host_variance.size(); ++i)
            host_variance[i] = std::max(0.0, pixels_.variance_adu2[i] - noise);
        const auto fit = fit_psf(without_host, *set_.psf, {{set_.transient, false}},
                                 {around_.gain_e_per_adu, around_.sky_scatter_adu}, options, host_variance);
        if (!fit) return fail(fit.error());
        flux_e[*grid_.psf] = fit->sources.front().flux_adu * around_.gain_e_per_adu;
    }
    return flux_e;
}

Result<SmoothFit> SmoothHost::fit() {
    pixels_ = pixel_map(around_);
    const double fwhm = set_.fwhm_px, gain = around_.gain_e_per_adu;
    const double from_nucleus =
        set_.nucleus ? std::sqrt(squared_distance(*set_.nucleus, set_.transient)) : 1e30;
    if (from_nucleus < on_nucleus_fwhm * fwhm) return on_nucleus();
    const std::vector<char> hidden = within(set_.transient, mask_fwhm * fwhm);
    const frame::PixelBox about = pixels_.near(set_.transient, local_reach_fwhm * fwhm);
    std::size_t seen = 0;
    for (int y = about.y0; y < about.y0 + about.height; ++y) {
        for (int x = about.x0; x < about.x0 + about.width; ++x) {
            const std::size_t i = pixels_.box.index(x, y);
            if (pixels_.used[i] != 0 && hidden[i] == 0) ++seen;
        }
    }
    const double wanted = least_share_near * 4.0 * local_reach_fwhm * local_reach_fwhm * fwhm * fwhm;
    if (seen < fewest_pixels || static_cast<double>(seen) < wanted) return too_few();
    const MeanOptions options{fwhm, gain, set_.centre_err_px};
    host_ = set_.nucleus ? profile_host(pixels_, hidden, set_.transient, *set_.nucleus, options)
                         : polynomial_host(pixels_, hidden, set_.transient, options);
    if (!host_.profile) {
        const double unit = polynomial_reach_fwhm * fwhm;
        if (host_.degree > 0)
            neighbour_degrees_.push_back(
                polynomial_basis(pixels_, set_.transient, unit, host_.degree - 1, false));
        neighbour_degrees_.push_back(
            polynomial_basis(pixels_, set_.transient, unit, host_.degree + 1, false));
    }
    measure_blanks(hidden);

    const std::vector<char> none(pixels_.size(), 0);
    const WholeNormal whole = whole_normal(pixels_, host_.basis, fwhm, none);
    Surface here = surface(host_.basis, set_.transient, whole, none, 0.0);
    here = surface(host_.basis, set_.transient, whole, none, here.point_adu());
    if (here.pixels_near() < fewest_pixels) return too_few();

    SmoothFit out;
    out.model = around_.cutout;
    frame::Cutout without_host = around_.cutout;
    for (std::size_t i = 0; i < pixels_.size(); ++i) {
        const double model = around_.sky_adu + here.host_adu(i);
        out.model.adu[i] = static_cast<float>(model);
        without_host.adu[i] = static_cast<float>(static_cast<double>(around_.cutout.adu[i]) - model);
    }
    HostLight& light = out.light;
    light.method = HostMethod::smooth;
    light.caveats.add(Caveat::host_modelled);
    auto flux_e = fluxes_e(without_host, light.caveats);
    if (!flux_e) return fail(flux_e.error());
    light.flux_e = std::move(*flux_e);
    const std::vector<double> by_degree = spread_of_degrees(here);
    const bool beside_nucleus = from_nucleus < beside_nucleus_fwhm * fwhm;
    for (std::size_t k = 0; k < grid_.radii_px.size(); ++k) {
        const Footprint here_footprint = footprint(k, set_.transient);
        const Surface::Known known = here.known(here_footprint);
        const double factor = variance_factor(misses_[k]) * (beside_nucleus ? beside_nucleus_factor : 1.0);
        const double total = factor * known.variance_adu2;
        const bool psf = grid_.psf == k;
        if (!std::isfinite(known.host_adu) || !std::isfinite(total)) return too_few();
        const double lost = light_lost(set_.position_err_px, fwhm,
                                       psf ? std::nullopt : std::optional<double>(grid_.radii_px[k]));
        const double displaced = std::isfinite(light.flux_e[k]) ? lost * light.flux_e[k] : 0.0;
        light.host_e.push_back(std::max(0.0, known.host_adu * gain));
        light.variance_e2.push_back(known.noise_variance_adu2 * gain * gain + displaced * displaced);
        const double blend = unexplained_adu(here_footprint, here);
        const double structure =
            std::max(0.0, total - known.noise_variance_adu2) + by_degree[k] * by_degree[k] + blend * blend;
        if (blend * blend > known.variance_adu2) light.caveats.add(Caveat::blended);
        light.common_err_e.push_back(std::sqrt(structure) * gain);
    }
    Footprint middle = aperture_footprint(pixels_, set_.transient, 0.5 * fwhm);
    const double area = std::accumulate(middle.weight.begin(), middle.weight.end(), 0.0);
    for (double& w : middle.weight)
        w /= std::max(area, 1e-9);
    const Surface::Known surface_here = here.known(middle);
    out.surface_adu_per_px = surface_here.host_adu;
    out.surface_err_adu_per_px = std::sqrt(variance_factor(misses_.front()) * surface_here.variance_adu2 +
                                           around_.sky_err_adu * around_.sky_err_adu);
    for (std::size_t i = 0; i < pixels_.size(); ++i) {
        if (hidden[i] != 0 && std::isfinite(around_.cutout.adu[i]) &&
            static_cast<double>(around_.cutout.adu[i]) >= around_.saturation_adu)
            light.caveats.add(Caveat::saturated);
    }
    if (beside_nucleus) {
        light.caveats.add(Caveat::on_nucleus);
        light.remarks.push_back(fmt::format(
            "The transient stands {:.1f} FWHM from the nucleus: the host's light there is little better than "
            "guessed, and its error is large.",
            from_nucleus / fwhm));
    }
    return out;
}

}  // namespace

Result<SmoothFit> fit_smooth_host(const Surroundings& around, const FluxGrid& grid,
                                  const std::optional<SkyShift>& nucleus, const SkyShift& shift) {
    auto checked = setting(around, grid, nucleus, shift);
    if (!checked) return fail(std::move(checked.error()));
    return SmoothHost(around, grid, std::move(*checked)).fit();
}

}  // namespace emberline::photometry
