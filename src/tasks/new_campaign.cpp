// SPDX-License-Identifier: MIT
#include "tasks/new_campaign.hpp"

#include <filesystem>

#include "quantities/delimited_table.hpp"

namespace emberline::tasks {
namespace {

constexpr const char* campaign_template =
    R"toml(# A campaign: one transient, followed night after night. Lines that begin with # are remarks.

[transient]
name = "MY TRANSIENT"            # as the network lists it
ra  = "13:25:21.12"              # ICRS: hours, minutes, seconds, or a number in degrees
dec = "+37:16:12.0"              # degrees, minutes, seconds, or a number in degrees
# nucleus_ra = 201.3417          # the host's nucleus, where it is near
# nucleus_dec = 37.2681
# type = "Ia"
# discovered = 2024-02-03
# exploded = 2024-01-30          # where it is known: lengths of plateaus and ages count from it
# redshift = 0.0041
# distance_modulus = 31.2        # or distance_mpc; distance_modulus_err
# ebv = 0.021                    # foreground reddening E(B-V)
# colour = { "B-V" = 0.6 }       # for the colour term, when only one band is observed

# [site]                         # yours; it wins over what the headers say
# latitude = 51.1                # degrees, north positive
# longitude = -1.2               # degrees, EAST positive
# elevation = 95.0               # metres

[observer]
code = ""                        # the network's code for you: reports need it
name = ""

[instrument]                     # fills in what the frames' headers do not say
# override = true                # lets these win where the headers are wrong
# aperture_mm = 280.0            # of the telescope
# exposure_s = 60.0              # of a frame
# gain = 0.9                     # electrons per ADU
# read_noise = 6.0               # electrons
# saturation = 65535             # ADU
# linear_to = 50000              # ADU up to which the sensor is linear
# offset = 300                   # ADU of a pixel that got no light
# bands = { "Green" = "V" }      # FILTER in the header -> band
# pattern = "RGGB"               # of a colour camera's mosaic, where the header is silent; "none": no mosaic
# stacked = 20                   # exposures in each frame of a live stack, where the header is silent
# stack = "mean"                 # … and how they were put together: sum, mean or median
# colour_terms = { V = [0.03, 0.01] }   # magnitudes a magnitude of colour, and one sigma; else they are fitted
# match = { INSTRUME = "Camera 2" }     # under [instrument.NAME], of several: the header words that tell it
# observer_code = "ABC"          # where somebody else observes with it

[comparison]
catalog = "comparison.csv"
# check = "126"                  # label of the check star; wins over the table's role
chart = ""                       # the sequence's chart identifier, goes into reports

# [host]                         # the galaxy's light under the transient; the most trusted way is taken by itself
# template = "template.fits"     # a deep frame without the transient; or one a band: { B = "B.fits", V = "V.fits" }
# faded = 2025-02-03             # from this night on the transient is gone
# method = "scene"               # insist on template, scene, smooth or annulus

# [measure]
# aperture_fwhm = 1.5            # radius of the aperture in FWHM, or aperture_arcsec; else the best one is found
# annulus_inner_fwhm = 4.0       # of the ring where the sky is taken; with annulus_outer_fwhm = 7.0
# annulus_inner_arcsec = 12.0    # … or fixed on the sky; with annulus_outer_arcsec = 20.0
# psf = true                     # the PSF fit always counts; false: never; else where it is better
# limit_sigma = 3.0              # fainter than so many sigma: a limit
# colour_term = false            # fit and apply none
# flat_err = 0.0                 # relative error of the flat field from frame to frame
# cloud_mag = 0.3                # more light lost than this against the night's best: flagged cloud
# refuse_cloud_mag = 2.0         # … than this: the frame is refused
# refuse_elongation = 2.5        # stars longer than wide by more: refused
# least_comparison_stars = 1     # fewer on the frame: refused
# most_shift_arcsec = 15.0       # stars are looked for this far from the plate solution
# refuse_processed = false       # measure pictures that no longer count light, and flag them

# [masters]                      # calibration frames: `emberline masters build FOLDER` makes them
# bias = "masters/bias.fits"
# dark = ["masters/dark_60s.fits", "masters/dark_120s.fits"]   # chosen from by header
# flat = { V = "masters/flat_V.fits" }
# defects = "masters/defects.fits"

# [plate]                        # for frames that come without a plate solution
# catalogue = "field.csv"        # stars of the field: CSV, ECSV, VOTable or FITS table with ra, dec, magnitude
# catalogue_epoch = 2016.0       # year of its positions, where the file does not say
# scale_arcsec_per_px = 1.2      # about; makes solving quicker and surer
# solve = false                  # refuse frames that come without

[report]
obstype = "CCD"                  # CCD (also for CMOS), DSLR, PEP or VISDIG
# hold = ["cloud", "processed"]  # values with these flags are held back
# transformed_only = true        # … and those without a colour term
# limits = false                 # … and limits

# [report.server]                # for the IAU transient server's report; its numbers stand in the server's lists
# reporting_group = 0            # your group's number there
# data_source_group = 0          # … and that of the group whose data they are
# instrument = 0
# at_type = 1                    # 0 other, 1 possible supernova, 2 possible nova, 3 known AGN, 4 possibly nuclear
# filters = { V = 0 }            # band -> number; known without: g 21, r 22, i 23, z 24
# units = { Vega = 0 }           # of magnitudes; known without: AB 1
# reporter = "A. Observer (Example Observatory)"
# archive = "DSS"                # DSS, SDSS or another, where nobody saw the place empty before
# archive_remark = ""            # says which plate or survey
# discovery = "2024-02-03T21:04:05"   # UT; where it was not you who saw it first
# position_err_arcsec = 0.5      # of ra and dec above, where no frame gives a better position
# host_name = ""
# host_redshift = 0.0041
# internal_name = ""
# remarks = ""
)toml";

constexpr const char* comparison_template =
    "# One line a star. Roles: comparison, check or ignore. An empty magnitude means unknown in that band.\n"
    "# label,ra,dec,V,V_err,B,B_err,role\n"
    "# 126,201.2500,37.3000,12.614,0.030,13.311,0.035,comparison\n"
    "label,ra,dec,V,V_err,B,B_err,role\n";

}  // namespace

std::string_view empty_sequence_text() {
    return comparison_template;
}

Result<void> new_campaign(const std::string& folder) {
    namespace fs = std::filesystem;
    const fs::path root(folder);
    std::error_code error;
    if (fs::exists(root / "campaign.toml", error)) {
        return fail({.what = "There is a campaign in that folder already.",
                     .where = folder,
                     .mend = "Edit its campaign.toml, or name another folder.",
                     .kind = ProblemKind::request});
    }
    fs::create_directories(root / "frames", error);
    if (error) {
        return fail({.what = "The folder cannot be made: " + error.message() + ".",
                     .where = folder,
                     .mend = "Check the free space and the permissions there.",
                     .kind = ProblemKind::storage});
    }
    if (!fs::exists(root / "comparison.csv", error)) {
        if (auto good = write_text_file((root / "comparison.csv").string(), comparison_template); !good)
            return good;
    }
    return write_text_file((root / "campaign.toml").string(), campaign_template);
}

}  // namespace emberline::tasks
