// SPDX-License-Identifier: MIT
// Real frames of a supernova at the core of its galaxy, one night, two bands (see the data sets' own notes
// for their terms). Nothing on the sky changed within the night, while the seeing did: late frames less a
// stack of early ones leave nothing at the core beyond the noise. PSF and apertures must tell the same of the
// stars.
#include <fmt/format.h>
#include <unistd.h>

#include <algorithm>
#include <catch2/catch.hpp>
#include <cmath>
#include <cstdlib>
#include <filesystem>

#include "frame/frame.hpp"
#include "frame/write_frame.hpp"
#include "night/aperture_grid.hpp"
#include "night/measure_frame.hpp"
#include "night/stack_template.hpp"
#include "numerics/robust.hpp"
#include "quantities/magnitude.hpp"

using namespace emberline;
namespace fs = std::filesystem;

namespace {

std::optional<std::string> data_sets() {
    const char* folder = std::getenv("EMBERLINE_DATASETS");
    if (folder == nullptr) {
        WARN("SKIPPED: EMBERLINE_DATASETS is not set; the real frames lie there.");
        return std::nullopt;
    }
    return std::string(folder) + "/supernova_at_core";
}

std::vector<std::string> frames_of(const std::string& folder, const std::string& band) {
    std::vector<std::string> paths;
    for (const auto& entry : fs::directory_iterator(folder + "/lights")) {
        if (entry.path().filename().string().find("_" + band + "_") != std::string::npos)
            paths.push_back(entry.path().string());
    }
    std::sort(paths.begin(), paths.end());  // their names count up with time
    return paths;
}

photometry::FrameFluxes measured(const std::string& path, const standard::Sequence& sequence,
                                 const night::Campaign& campaign, const night::HostTemplates* templates) {
    const auto frames = frame::open_frames(path, campaign.instruments);
    REQUIRE(frames);
    auto fluxes = night::measure_frame(frames->front(), path, path, sequence, campaign, templates);
    REQUIRE(fluxes);
    return std::move(*fluxes);
}

struct Place {
    std::string path = (fs::temp_directory_path() / fmt::format("emberline-core-{}", ::getpid())).string();
    Place() { fs::create_directories(path); }
    ~Place() { fs::remove_all(path); }
};

}  // namespace

TEST_CASE("real frames: late ones less early ones leave nothing at the core though the seeing changed",
          "[night][real][template]") {
    const auto folder = data_sets();
    if (!folder) return;
    const Place place;
    for (const std::string band : {"B", "V"}) {
        auto campaign = night::read_campaign(*folder);
        REQUIRE(campaign);
        const auto sequence = standard::read_sequence(campaign->path(campaign->catalog));
        REQUIRE(sequence);
        const auto paths = frames_of(*folder, band);
        REQUIRE(paths.size() >= 6);
        const std::vector<std::string> early(paths.begin(), paths.begin() + 3);
        auto stack = night::stack_template(early, *sequence, *campaign);
        REQUIRE(stack);
        REQUIRE(stack->used.size() >= 2);
        const std::string file = place.path + "/early_" + band + ".fits";
        REQUIRE(frame::write_frame(file, stack->width_px, stack->height_px,
                                   std::span<const float>(stack->adu), stack->cards));
        campaign->host_templates[band] = file;
        const night::HostTemplates templates(*sequence, *campaign);
        std::vector<double> pulls, shares, fwhm;
        for (auto path = paths.begin() + 3; path != paths.end(); ++path) {
            const auto fluxes = measured(*path, *sequence, *campaign, &templates);
            CAPTURE(*path, fluxes.remarks);
            REQUIRE(fluxes.host_lights.size() == 1);
            const photometry::HostLight& light = fluxes.host_lights.front();
            const auto k = night::find_multiple(fluxes.apertures, 1.5);
            REQUIRE(k);
            const auto& star = *fluxes.find(photometry::transient_label);
            const double scatter_e =
                fluxes.surroundings->sky_scatter_adu * fluxes.surroundings->gain_e_per_adu;
            const double variance = light.host_e[*k] + star.area_px[*k] * scatter_e * scatter_e +
                                    light.variance_e2[*k] + std::pow(light.common_err_e[*k], 2);
            pulls.push_back(light.flux_e[*k] / std::sqrt(variance));
            shares.push_back(light.flux_e[*k] / light.host_e[*k]);
            fwhm.push_back(fluxes.fwhm_px * fluxes.scale_arcsec_per_px);
            fmt::print(
                "{} {}: seeing {:.2f}″ (template {:.2f}″), left at the core {:+.0f} ± {:.0f} e of {:.0f} e, "
                "{:+.2f} σ, {:+.2f} %\n",
                band, fs::path(*path).filename().string(), fwhm.back(), stack->fwhm_arcsec, light.flux_e[*k],
                std::sqrt(variance), light.host_e[*k], pulls.back(), 100.0 * shares.back());
        }
        // Four or five frames: their mean pull is known to half a sigma, the template's noise being shared.
        double mean = 0.0, rms = 0.0;
        for (const double p : pulls) {
            mean += p / static_cast<double>(pulls.size());
            rms += p * p / static_cast<double>(pulls.size());
        }
        CHECK(std::abs(mean) < 2.0);
        CHECK(std::sqrt(rms) < 2.5);
        // No flats were applied, and B is a short series of wide seeing: some per cent of the light may stay.
        for (const double share : shares)
            CHECK(std::abs(share) < 0.08);
    }
}

TEST_CASE("real frames: PSF and aperture magnitudes of the comparison stars agree", "[night][real][psf]") {
    const auto folder = data_sets();
    if (!folder) return;
    auto campaign = night::read_campaign(*folder);
    REQUIRE(campaign);
    const auto sequence = standard::read_sequence(campaign->path(campaign->catalog));
    REQUIRE(sequence);
    for (const std::string band : {"B", "V"}) {
        std::vector<double> scatter_mag, pulls;
        for (const std::string& path : frames_of(*folder, band)) {
            const auto fluxes = measured(path, *sequence, *campaign, nullptr);
            const auto psf = night::find_psf(fluxes.apertures);
            const auto wide = night::find_multiple(fluxes.apertures, 1.5);
            REQUIRE(psf);
            REQUIRE(wide);
            std::vector<double> differences, errs;
            for (const auto& star : fluxes.stars) {
                if (star.label == photometry::transient_label || !(star.flux_e[*psf] > 0.0) ||
                    star.caveats[*wide].has(Caveat::saturated) || star.caveats[*wide].has(Caveat::blended))
                    continue;
                const double area = star.area_px[*wide], s = star.sky_scatter_e;
                const double err = std::sqrt(star.flux_e[*wide] + area * s * s) / star.flux_e[*wide];
                if (!(star.flux_e[*wide] > 0.0) || err > 0.03) continue;
                differences.push_back(magnitude_difference(star.flux_e[*psf], star.flux_e[*wide]));
                errs.push_back(mag_per_relative_flux * err);
            }
            if (differences.size() < 3) continue;  // hazy: too few clear stars
            const double middle = numerics::median(differences);
            for (std::size_t i = 0; i < differences.size(); ++i) {
                scatter_mag.push_back(differences[i] - middle);
                pulls.push_back((differences[i] - middle) / errs[i]);
            }
        }
        REQUIRE(scatter_mag.size() >= 20);
        const double spread = numerics::robust_spread(scatter_mag);
        fmt::print(
            "{}: {} pairs of PSF and 1.5-FWHM magnitudes scatter by {:.4f} mag, {:.2f} of the aperture's "
            "noise\n",
            band, scatter_mag.size(), spread, numerics::robust_spread(pulls));
        CHECK(spread < 0.015);  // what the check star scatters in B from frame to frame
    }
}
