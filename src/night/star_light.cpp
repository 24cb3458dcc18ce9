// SPDX-License-Identifier: MIT
#include "night/star_light.hpp"

#include "photometry/aperture_sum.hpp"

namespace emberline::night {

Result<StarLight> light_of(const StarOnFrame& star, const std::vector<double>& radii_px,
                           const photometry::Annulus& annulus, const FrameNeeds& needs,
                           const SampledLight& sampled) {
    const auto sky = photometry::estimate_sky(star.cutout, star.position, annulus);
    if (!sky) return fail(sky.error());
    const auto sums = photometry::sum_apertures(star.cutout, star.position, radii_px, *sky,
                                                {needs.saturation_adu, needs.linear_to_adu});
    if (!sums) return fail(sums.error());
    const double gain = needs.gain_e_per_adu;
    StarLight out{.flux = {}, .sky = *sky};
    photometry::StarFlux& light = out.flux;
    light.label = star.label;
    light.place = star.place;
    light.position = star.position;
    light.position_err_px = star.position_err_px;
    light.forced = star.forced;
    light.sky_e_per_px = sky->level_adu * gain;
    light.sky_err_e_per_px = sky->level_err_adu * gain;
    light.sky_scatter_e = sky->scatter_adu * gain;
    light.sky_pixels = sky->pixels;
    light.sky_factor = sky->factor;
    light.sky_unevenness = sky->unevenness;
    light.peak_adu = sums->peak_adu;
    if (star.profile) light.fwhm_px = star.profile->fwhm_px;
    for (std::size_t k = 0; k < radii_px.size(); ++k) {
        light.flux_e.push_back(sums->flux_adu[k] * gain);
        light.area_px.push_back(sums->area_px[k]);
        Caveats caveats = sums->caveats[k];
        caveats.add(sky->caveats);
        light.caveats.push_back(caveats);
    }
    sampled.settle(light, star, *sums);
    return out;
}

}  // namespace emberline::night
