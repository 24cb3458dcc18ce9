// SPDX-License-Identifier: MIT
// frame/calibration — bias, dark, flat and defects taken out of the pixels that are read, and of no others.
// A master is chosen by header: size and binning must fit; gain setting, temperature, exposure, filter decide
// among those that do. What was chosen, what did not fit and why is told.
#pragma once

#include <array>
#include <limits>
#include <map>
#include <memory>
#include <string>
#include <vector>

#include "frame/frame_facts.hpp"
#include "frame/header.hpp"
#include "frame/pixels.hpp"
#include "quantities/caveat.hpp"
#include "quantities/problem.hpp"

namespace emberline::frame {

struct MasterPaths {  // absolute, or relative to the current folder
    std::vector<std::string> bias, dark, defects;
    std::map<std::string, std::vector<std::string>> flat;  // band name -> files; "" for every band
    [[nodiscard]] bool empty() const {
        return bias.empty() && dark.empty() && defects.empty() && flat.empty();
    }
};

struct Master;  // one file, opened

// What is done to one frame. Copies share the masters; used by several threads at a time.
class Calibration {
  public:
    Calibration() = default;
    [[nodiscard]] bool nothing() const { return steps_.empty(); }
    // In stored pixels, each cut-out as FitsImage read it. Defects become NaN. Problem: a master cannot be
    // read.
    [[nodiscard]] Result<void> apply(std::vector<Cutout>& stored) const;
    [[nodiscard]] const std::vector<std::string>& used() const { return used_; }  // "dark masters/dark.fits"
    [[nodiscard]] const std::vector<std::string>& remarks() const { return remarks_; }  // sentences
    [[nodiscard]] Caveats caveats() const { return caveats_; }
    // Relative, one sigma, of one pixel of the flat; 0 without a flat.
    [[nodiscard]] double flat_pixel_err() const { return flat_pixel_err_; }
    // What becomes of the frame's facts: masters, caveats, remarks, the offset, and the levels of saturation
    // and linearity, which are the camera's own: a pixel that was saturated stays at or above saturation, and
    // no other reaches it.
    void note_in(FrameFacts& facts) const;

  private:
    friend class Masters;
    friend class CalibrationMaker;
    struct Step {
        enum class Kind { subtract, divide, mask } kind = Kind::subtract;
        std::shared_ptr<const Master> master;
        std::shared_ptr<const Master> bias;              // divide: taken off a raw flat first
        int dx_px = 0, dy_px = 0;                        // a frame's pixel x is the master's x + dx
        double scale = 1.0;                              // subtract: scale × master
        std::array<double, 4> norm{1.0, 1.0, 1.0, 1.0};  // divide: level of each phase (x & 1) + 2 (y & 1)
    };
    static void take(const Step& step, const Cutout& master, const Cutout* bias, Cutout& light);
    static std::string step_name(const Step& step);

    std::vector<Step> steps_;
    std::vector<std::string> used_, remarks_;
    Caveats caveats_;
    double flat_pixel_err_ = 0.0;
    bool offset_gone_ = false;
    double offset_adu_ = 0.0;  // the level that the steps subtract
    double highest_flat_ = 1.0;
    // A raw pixel at or above the first is given the second at least.
    double saturated_adu_ = std::numeric_limits<double>::infinity();
    double kept_saturated_adu_ = std::numeric_limits<double>::infinity();
};

class Masters {
  public:
    Masters() = default;
    // Never fails: a master that cannot be used is refused with its reason, and the others serve.
    static Masters open(const MasterPaths& paths);
    [[nodiscard]] const std::vector<Problem>& refused() const { return refused_; }
    // Of what was named, nothing at all.
    [[nodiscard]] bool empty() const { return masters_.empty() && refused_.empty(); }
    // By what the frame's header says; a frame that is calibrated already (CALSTAT and the like) is left as
    // it is where it was.
    [[nodiscard]] Calibration calibration_of(const FrameFacts& facts, const Header& header) const;

  private:
    std::vector<std::shared_ptr<const Master>> masters_;
    std::vector<Problem> refused_;
    bool bias_named_ = false, dark_named_ = false, flat_named_ = false, defects_named_ = false;
};

// Names and fingerprints: measurements made with other masters are other measurements. `folder` is where
// relative paths begin.
[[nodiscard]] std::string masters_text(const MasterPaths& paths, const std::string& folder);

}  // namespace emberline::frame
