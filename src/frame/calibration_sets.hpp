// SPDX-License-Identifier: MIT
// frame/calibration_sets — a heap of files sorted by their headers into what can be combined.
#pragma once

#include <optional>
#include <string>
#include <vector>

#include "frame/build_master.hpp"
#include "frame/frame_facts.hpp"
#include "frame/header.hpp"
#include "frame/instrument.hpp"
#include "quantities/problem.hpp"

namespace emberline::frame {

struct CalibrationFrame {
    FrameFacts facts;                      // of the stored picture, whole; its path as given
    std::optional<FrameKind> kind;         // by the header, else by the names of file and folder
    bool made = false;                     // a master, or a map of defects, already
    std::optional<double> offset_setting;  // of the camera, no unit
    std::string readout;                   // name of the mode
    int left_px = 0, bottom_px = 0;        // of the sensor, where the picture begins
    std::vector<Card> kept;                // that a master made of it carries on
};
// Problem: no frame that can be read; three planes.
[[nodiscard]] Result<CalibrationFrame> read_calibration_frame(const std::string& path,
                                                              const std::vector<Instrument>& instruments);

// Of one camera and setting: readout, gain, offset, binning, size, part of the sensor, colour pattern.
[[nodiscard]] bool same_setting(const CalibrationFrame& a, const CalibrationFrame& b);

// What makes one master: of one setting, darks of one exposure and temperature, flats of one filter.
struct CalibrationSet {
    FrameKind kind = FrameKind::dark;  // bias, dark or flat: a flat's dark is a dark
    std::vector<CalibrationFrame> frames;
    [[nodiscard]] const CalibrationFrame& first() const { return frames.front(); }
    [[nodiscard]] std::optional<double> exposure_s() const;     // median
    [[nodiscard]] std::optional<double> temperature_c() const;  // mean
};
struct SortedCalibration {
    std::vector<CalibrationSet> sets;       // biases, darks by exposure, flats by filter
    std::vector<LeftOut> left_out;          // cannot be used: why
    std::vector<std::string> lights, made;  // passed over
};
[[nodiscard]] SortedCalibration sort_calibration(const std::vector<std::string>& paths,
                                                 const std::vector<Instrument>& instruments);

// Exposures that count as one: within 1 %, or 5 ms.
[[nodiscard]] bool same_exposure(double a_s, double b_s);

}  // namespace emberline::frame
