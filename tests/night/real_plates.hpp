// SPDX-License-Identifier: MIT
// Real frames solved from their own stars, without a look at the plate solution in their headers, and then
// compared with it.
#pragma once

#include <optional>
#include <string>
#include <vector>

#include "frame/frame.hpp"
#include "stars/detect.hpp"
#include "stars/solve_plate.hpp"

namespace emberline::test {

// One file. Of a colour mosaic what its green picture shows, in stored pixels.
struct RealFrame {
    std::string name;
    std::optional<frame::Frame> frame;
    stars::DetectionField field;
    int width_px = 0, height_px = 0;
    double epoch_jyear = 2000.0;

    [[nodiscard]] std::optional<SkyPosition> by_header(const frame::PixelPosition& stored) const;
    [[nodiscard]] bool has_header_solution() const;
};

// Fails the test where the file cannot be read.
[[nodiscard]] RealFrame look_at(const std::string& path, double saturation_adu,
                                const std::optional<std::string>& pattern = std::nullopt);

// The stars of a frame where its header's solution has them.
[[nodiscard]] std::vector<stars::ReferenceStar> stars_by_header(const RealFrame& frame);

struct Apart {
    double median_arcsec = 0.0, most_arcsec = 0.0;
};

struct PlateRow {
    std::string name, against;
    std::size_t stars = 0, hot_pixels = 0;
    double fwhm_px = 0.0;
    std::optional<stars::PlateSolution> solution;
    std::optional<Apart> apart;               // from the header's, over 5 × 5 places from corner to corner
    std::optional<double> header_rms_arcsec;  // of the same pairs of stars by the header's solution
    std::string problem;                      // why there is no solution
};

// Scale, rotation and mirror unknown, unless hints say so.
[[nodiscard]] PlateRow solve_again(const RealFrame& frame,
                                   const std::vector<stars::ReferenceStar>& references, std::string against,
                                   const stars::PlateHints& hints = {});

// A table in plain text, with a heading.
[[nodiscard]] std::string as_table(const std::vector<PlateRow>& rows);

// Paths of the FITS files in a folder, by name.
[[nodiscard]] std::vector<std::string> frames_in(const std::string& folder);

}  // namespace emberline::test
