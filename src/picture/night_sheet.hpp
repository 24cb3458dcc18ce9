// SPDX-License-Identifier: MIT
// picture/night_sheet — one night on one page that is kept or mailed: the number, the light curve, the finder
// with apertures, the comparison stars and their residuals, the air, the settings and where all of it comes
// from.
// Needs: what tasks gathered from the ledger and one frame.  Feeds: an HTML file, a PDF.
#pragma once

#include <optional>
#include <string>
#include <vector>

#include "night/judge_night.hpp"
#include "night/measurement.hpp"
#include "picture/curve_picture.hpp"
#include "picture/finder_image.hpp"
#include "picture/sheet_drawing.hpp"
#include "quantities/problem.hpp"
#include "quantities/value_with_error.hpp"

namespace emberline::picture {

struct SheetStar {
    std::string label;
    StarMark mark = StarMark::comparison;
    ValueWithError catalogue_mag;
    // Of the night's frames, in the zero points that the transient was measured with; absent: not measured.
    std::optional<double> measured_mag, residual_mag, err_mag;  // residual: measured − catalogue
    int frames = 0;
    bool suspect = false;
    std::string remark;  // why it is suspect, or why it is not used
};

// One band of one instrument.
struct SheetBand {
    night::NightMeasurement measured;
    std::vector<SheetStar> stars;
    std::string stars_remark;  // how the residuals were reckoned; may be empty
    std::optional<ValueWithError>
        fades_mag_per_day;  // of the light curve in this band; negative: it brightens
};

struct SheetFrame {
    night::JudgedExposure judged;
    double exposure_s = 0.0;
    std::optional<double> airmass;
    std::string fingerprint;
};

struct SheetLine {
    std::string name, value;
};

struct NightSheet {
    std::string title;     // the transient's name
    std::string night;     // YYYY-MM-DD of the evening
    std::string observer;  // may be empty
    double limit_sigma = 3.0;
    std::vector<SheetBand> bands;  // blue to red; none: all frames were refused
    std::optional<CurvePicture> curve;
    FinderImage finder;
    std::string finder_words;        // which frame it is, or why there is none
    std::vector<SheetFrame> frames;  // by time
    std::vector<SheetLine> place;    // of the transient on the sky
    std::vector<SheetLine> settings, provenance;
    std::vector<std::string> remarks;  // sentences that belong to the whole night
};

// The whole file: well-formed XML, without script, and nothing in it is fetched from anywhere. Paper-white,
// and red on black where the reader's screen asks for dark.
[[nodiscard]] std::string night_sheet_html(const NightSheet& sheet);
// The same on sheets of A4, as a PDF. Problem (storage): gnuplot, the disk.
[[nodiscard]] Result<void> draw_night_sheet(const NightSheet& sheet, const std::string& path);

}  // namespace emberline::picture
