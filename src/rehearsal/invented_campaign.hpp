// SPDX-License-Identifier: MIT
// rehearsal/invented_campaign — a campaign in memory: what is in the sky, what looks at it, and every frame
// that it will take. Studies expose the frames that they need; rehearse() writes them all to disk.
#pragma once

#include <cstdint>
#include <optional>
#include <string>
#include <vector>

#include "quantities/problem.hpp"
#include "rehearsal/field_troubles.hpp"
#include "rehearsal/invented_instrument.hpp"
#include "rehearsal/invented_sky.hpp"
#include "rehearsal/processed_save.hpp"
#include "rehearsal/stack_options.hpp"
#include "rehearsal/star_troubles.hpp"

namespace emberline::rehearsal {

// A deep frame of the field with another instrument.
struct TemplateOptions {
    std::string start_utc = "2023-03-18T23:30:00";  // a year before; or long after the fade
    std::optional<std::string> band;                // absent: the band of the frames that it is for
    double exposure_s = 600.0;
    double scale_arcsec_per_px = 0.8, rotation_deg = 20.0;
    bool mirrored = false;
    double fwhm_arcsec = 2.4, moffat_beta = 3.0, elongation = 1.04;
    double zero_point_mag = 22.0;       // magnitude giving 1 e/s
    std::optional<double> colour_term;  // absent: as the campaign's instrument
    double gain_e_per_adu = 20.0, read_noise_e = 8.0, sky_mag_per_arcsec2 = 20.3;
    double east_arcsec = 0.0, north_arcsec = 0.0;  // of its middle from the transient
    double residual_share = 0.0;                   // of the transient's light at its peak that is still there
    int width_px = 0, height_px = 0;               // 0: somewhat wider than the campaign's frames
    std::uint64_t seed = 7;
};

struct CalibrationOptions {
    int bias = 20, dark = 20, flat = 20;  // exposures; darks as long as the frames, flats one set a band
    double flat_level = 0.4;              // of saturation
};

struct RehearsalOptions {
    std::uint64_t seed = 2;
    int nights = 6;
    int frames = 10;  // a night and band
    double night_spacing_days = 4.0;
    std::vector<std::string> bands = {"V"};
    double exposure_s = 60.0;
    double peak_mag = 13.5;  // in the first band
    double decline_mag_per_day = 0.05;
    double catalogue_err_mag = 0.03;
    int comparison_stars = 10;
    double faintest_comparison_mag = 15.0;
    bool host = true;
    std::optional<HostKind> host_kind;  // drawn from the seed; absent: a plain one, the same for every seed
    double host_offset_arcsec = 16.0;   // nucleus from the transient; 0: the transient sits on it
    std::optional<double> host_angle_deg;  // of the nucleus seen from the transient, east of north
    double defocused_share = 0.0;          // of the frames, blurred by up to defocus_px
    double defocus_px = 2.0;
    std::optional<TemplateOptions> host_template;  // what rehearse() writes beside the frames
    // A colour camera: the pattern of its mosaic, "RGGB". The bands are then TR, TG and TB, all from each
    // file, whatever `bands` says; peak_mag is TG's, and colour terms are those of dye filters.
    std::optional<std::string> pattern;
    bool top_down = false;
    bool debayered = false;  // saved as cubes of three interpolated planes in place of mosaics
    double vignetting = 0.0, amp_glow_e_per_s = 0.0;
    int dust_rings = 0, dead_pixels = 0;
    std::optional<double> dark_e_per_s;  // absent: hardly any
    std::optional<int> hot_pixels;       // absent: a few, by the frame's area
    std::optional<CalibrationOptions>
        calibration;                           // frames beside; the camera then needs them: pixels differ
    std::optional<StackOptions> stack;         // each frame is a live stack
    Processing processing = Processing::none;  // that a share of the frames went through before they
    double processed_share = 0.0;              // were saved
    bool cloud = true;                         // some nights have some
    bool flip = true;                          // a meridian flip in the middle of each night
    bool trailing = true;                      // a few frames trail
    int width_px = 800, height_px = 600;
    double fwhm_arcsec = 3.0;
    double colour_term = 0.03;
    bool transient_colour_known = true;
    FieldTroubles field;  // frames unsolved, fields that drift, and the like
    StarTroubles stars;   // comparison stars that are not what the table says
};

struct PlannedFrame {
    std::string path;   // "frames/2024-03-14/V_001.fits", relative to the campaign's folder; colour_001.fits
    std::string night;  // "2024-03-14"
    Band band;          // of a mosaic TG, and `air` is what TG sees of it
    Instant start_utc;
    double exposure_s = 0.0;
    InventedAir air;
    InventedPointing pointing;
    std::uint64_t seed = 0;
    double transient_share = 1.0;  // of its light; 0: the frame without it
    HeaderPlate plate = HeaderPlate::right;
};

struct InventedCampaign {
    RehearsalOptions options;
    InventedSky sky;
    InventedInstrument instrument;
    sky::Site site;
    std::vector<Band> bands;
    std::vector<PlannedFrame> frames;  // by time
};

// Problem (kind request): an option that makes no campaign. The same for the same options.
[[nodiscard]] Result<InventedCampaign> invent_campaign(const RehearsalOptions& options);
[[nodiscard]] InventedFrame expose(const InventedCampaign& campaign, const PlannedFrame& frame);

// The host's electrons within a circle about the transient in that frame, after the air: with extinction and
// grey cloud, as InventedFrame::transient_flux_e is. 0 without a host.
[[nodiscard]] double host_in_aperture_e(const InventedCampaign& campaign, const PlannedFrame& frame,
                                        double radius_arcsec);
// The transient made so bright, in all bands alike, that in that frame it sends `ratio` times the host's
// light within the circle. Problem (kind request): no host light there, a ratio that is not positive.
[[nodiscard]] Result<void> match_transient_to_host(InventedCampaign& campaign, const PlannedFrame& frame,
                                                   double radius_arcsec, double ratio);

}  // namespace emberline::rehearsal
