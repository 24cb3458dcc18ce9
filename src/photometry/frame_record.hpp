// SPDX-License-Identifier: MIT
// photometry/frame_record — all that one frame says, of itself and of its stars: what the ledger keeps,
// enough to solve the campaign again without the frames.
#pragma once

#include <optional>
#include <string>
#include <vector>

#include "photometry/host_light.hpp"
#include "photometry/star_flux.hpp"
#include "quantities/band.hpp"
#include "quantities/caveat.hpp"
#include "quantities/instant.hpp"
#include "quantities/sky_position.hpp"

namespace emberline::photometry {

// Radii of two kinds lie side by side: multiples of the frame's FWHM, and angles that are the same for the
// whole campaign (design: host light must not follow the seeing). Where a frame has a PSF, its fit with equal
// weights is one more aperture, of the radius of a circle with as much sky noise.
struct FrameAperture {
    double radius_px = 0.0;
    std::optional<double> fwhm_multiple;      // set for the first kind
    std::optional<double> angle_arcsec;       // set for the second
    std::optional<double> psf_photon_factor;  // set for the PSF: its photon noise over the star's own
    // Where neighbouring pixels vary together, an aperture's sky noise over what the stars' sky_scatter_e (of
    // apertures in use) makes of it: below 1 in small ones, above in large ones.
    double sky_noise_factor = 1.0;
    [[nodiscard]] bool is_psf() const { return psf_photon_factor.has_value(); }
    bool operator==(const FrameAperture&) const = default;
};

// Where this frame alone shows the transient on the sky, on the comparison stars' positions.
struct SeenPlace {
    SkyPosition place;                                     // ICRS
    double east_err_arcsec = 0.0, north_err_arcsec = 0.0;  // random, of the transient's own centre
    double plate_err_arcsec = 0.0;    // one axis: of the plate there, from its stars' residuals
    double plate_noise_arcsec = 0.0;  // of that, what the stars' centroids make: new in every frame
    double plate_rms_arcsec = 0.0;    // of its stars, one axis
    // One axis: what host light or a template's noise under the transient may move its centre by, in every
    // frame alike.
    double host_err_arcsec = 0.0;
    int stars = 0;
    std::string method;  // "psf", "difference", "centroid"
    bool operator==(const SeenPlace&) const = default;
};

// All of a frame but the pixels about the transient.
struct FrameRecord {
    std::string frame;        // path, relative to the campaign where it lies inside
    std::string fingerprint;  // with plane: the identity of the frame
    int plane = 0;
    std::string night;  // YYYY-MM-DD of the evening
    Band band;
    std::string instrument;
    std::string filter;    // as the header writes it
    Instant mid_exposure;  // UTC
    double bjd_tdb = 0.0;
    double exposure_s = 0.0;
    std::optional<double> airmass;  // of the transient
    double gain_e_per_adu = 1.0;
    double read_noise_e = 0.0;
    double scintillation = 0.0;  // relative; 0 where it cannot be known
    double flat_err = 0.0;       // relative, from the settings
    double fwhm_px = 0.0;
    double elongation = 1.0;
    double direction_deg = 0.0;
    double scale_arcsec_per_px = 0.0;
    bool mirrored = false;
    double rotation_deg = 0.0;                  // position angle of +y, east of north
    double shift_x_px = 0.0, shift_y_px = 0.0;  // stars against the plate solution
    double shift_scatter_px = 0.0;
    int stars_expected = 0, stars_found = 0;
    std::string plate = "header";  // where its plate solution comes from: "header", or "solved" here
    int plate_stars = 0;           // of a solution made here: stars that it stands on
    double plate_rms_arcsec = 0.0;
    std::optional<double> middle_ra_deg, middle_dec_deg;  // ICRS, of the stored frame's middle
    std::vector<std::string> stack_of;  // fingerprints of the frames that were stacked into this one
    std::vector<FrameAperture> apertures;
    std::vector<StarFlux> stars;  // the transient among them
    Caveats caveats;              // of the whole frame
    std::vector<std::string> remarks;
    bool operator==(const FrameRecord&) const = default;

    [[nodiscard]] const StarFlux* find(const std::string& label) const {
        for (const StarFlux& star : stars) {
            if (star.label == label) return &star;
        }
        return nullptr;
    }
};

struct FrameFluxes : FrameRecord {
    std::optional<Surroundings> surroundings;  // of the transient, where a host shines in
    std::vector<HostLight> host_lights;        // what this frame alone says: by a template
    std::optional<SeenPlace> seen;             // absent: too faint to be centred, or never looked for
    bool operator==(const FrameFluxes&) const = default;
};

}  // namespace emberline::photometry
