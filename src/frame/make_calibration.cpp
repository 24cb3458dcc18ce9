// SPDX-License-Identifier: MIT
// From what a frame says about itself to the steps that calibrate it.
// Notation: t, t_d exposures of frame and dark; s = t / t_d; b = 1 where the frame's bias is still in it,
// else 0. What is taken away is b · bias + s · (dark − bias) = s · dark + (b − s) · bias.
#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "frame/calibration.hpp"
#include "frame/choose_masters.hpp"
#include "frame/master.hpp"

namespace emberline::frame {
namespace {

constexpr double temperature_said_c = 0.5;  // smaller differences go without saying
constexpr std::size_t most_said = 3;        // masters passed over, each with its reason

std::string reasons(const std::vector<std::string>& passed_over) {
    if (passed_over.empty()) return "none that is named can be used";
    std::string text;
    for (std::size_t i = 0; i < std::min(most_said, passed_over.size()); ++i)
        text += (i > 0 ? "; " : "") + passed_over[i];
    if (passed_over.size() > most_said) text += fmt::format("; and {} more", passed_over.size() - most_said);
    return text;
}

}  // namespace

class CalibrationMaker {
  public:
    CalibrationMaker(const MasterList& masters, const FrameFacts& facts, const Header& header)
        : masters_(masters), frame_(wanted_of(facts, header)) {}

    void offset_and_dark(bool bias_in_frame, bool bias_named, bool dark_named) {
        const Pick bias = pick_bias();
        const Pick dark = pick(masters_, MasterRole::dark, frame_, [&](const Master& m) {
            return cost_of_dark(m, bias_in_frame, bias.master != nullptr);
        });
        if (dark.master) {
            subtract_dark(dark.master, bias_in_frame, bias.master);
            return;
        }
        const bool done = bias_in_frame && (bias.master ? subtract_bias(bias.master) : subtract_short_dark());
        if (dark_named && !(done && only_short_darks())) miss("dark", dark.passed_over);
        if (bias_named && bias_in_frame && !done) miss("bias", bias.passed_over);
    }

    void flat() {
        const Pick bias_of_flats = pick_bias();
        const Pick flat = pick(masters_, MasterRole::flat, frame_, [&](const Master& m) {
            const bool same_gain = !frame_.gain_setting || !m.facts.gain_setting ||
                                   *frame_.gain_setting == m.facts.gain_setting->value;
            return Cost{
                (same_gain ? 0.0 : 1.0) + (m.band.empty() ? 2.0 : 0.0) +
                    (frame_.filter && m.facts.filter && *frame_.filter == m.facts.filter->value ? 0.0 : 4.0),
                std::nullopt};
        });
        if (!flat.master) {
            miss("flat", flat.passed_over);
            return;
        }
        const Master& master = *flat.master;
        Calibration::Step step = step_of(Calibration::Step::Kind::divide, flat.master);
        double offset_adu = 0.0;
        if (master.bias_in && bias_of_flats.master) {
            step.bias = bias_of_flats.master;
            offset_adu = step.bias->level_adu;
            out_.remarks_.push_back(fmt::format("The flat {} is as the camera gave it: {} was taken off it.",
                                                master.name, step.bias->name));
        } else if (master.bias_in) {
            out_.remarks_.push_back(fmt::format(
                "The flat {} is as the camera gave it, and no bias is there to be taken off it: what it "
                "corrects is a little too small.",
                master.name));
        }
        // Every pixel of one colour alike; without colours, rows and columns that answer unequally are the
        // sensor's own.
        for (std::size_t p = 0; p < 4; ++p)
            step.norm[p] =
                (frame_.mosaic || master.facts.pattern ? master.phase_adu[p] : master.level_adu) - offset_adu;
        if (std::any_of(step.norm.begin(), step.norm.end(), [](double n) { return !(n > 0.0); })) {
            miss("flat", {master.name + ": there is no more light in it than in the bias"});
            return;
        }
        const double above = (master.level_adu - offset_adu) / master.level_adu;
        const auto over_mean = [&](double relative) { return 1.0 + (relative - 1.0) / above; };
        out_.flat_pixel_err_ = master.pixel_err / above;
        lowest_flat_ = std::clamp(over_mean(master.lowest), darkest_flat, 1.0);
        out_.highest_flat_ = std::max(over_mean(master.highest), 1.0);
        out_.steps_.push_back(std::move(step));
        out_.used_.push_back("flat " + master.name);
    }

    void defects() {
        const Pick map = pick(masters_, MasterRole::defects, frame_, [](const Master&) { return Cost{}; });
        if (!map.master) {
            miss("defect map", map.passed_over);
            return;
        }
        out_.steps_.push_back(step_of(Calibration::Step::Kind::mask, map.master));
        out_.used_.push_back("defects " + map.master->name);
    }

    void remark(std::string sentence) { out_.remarks_.push_back(std::move(sentence)); }
    void miss_all(std::string sentence) {
        out_.caveats_.add(Caveat::not_calibrated);
        out_.remarks_.push_back(std::move(sentence));
    }

    Calibration finish(const FrameFacts& facts) {
        if (facts.saturation_adu && !out_.steps_.empty()) {
            out_.saturated_adu_ = facts.saturation_adu->value;
            // As pixels hold it: a saturated one is then exactly there.
            const auto kept = static_cast<float>((out_.saturated_adu_ - out_.offset_adu_) / lowest_flat_);
            out_.kept_saturated_adu_ = static_cast<double>(kept);
        }
        return std::move(out_);
    }

  private:
    // The nearest in temperature.
    [[nodiscard]] Pick pick_bias() const {
        return pick(masters_, MasterRole::bias, frame_, [&](const Master& m) {
            return Cost{degrees_apart(frame_, m), std::nullopt};
        });
    }

    void miss(const char* what, const std::vector<std::string>& passed_over) {
        miss_all(fmt::format("No {} was used: {}.", what, reasons(passed_over)));
    }

    Calibration::Step step_of(Calibration::Step::Kind kind, const std::shared_ptr<const Master>& master,
                              double scale = 1.0) const {
        Calibration::Step step;
        step.kind = kind;
        step.master = master;
        step.scale = scale;
        step.dx_px = frame_.left_px - master->left_px;
        step.dy_px = frame_.bottom_px - master->bottom_px;
        return step;
    }

    [[nodiscard]] double scale_of(const Master& dark) const {
        const double s = *frame_.exposure_s / dark.facts.exposure_s->value;
        return std::abs(s - 1.0) <= unscaled_within ? 1.0 : s;
    }

    Cost cost_of_dark(const Master& dark, bool bias_in_frame, bool bias_there) const {
        if (!frame_.exposure_s || !(dark.facts.exposure_s->value > 0.0))
            return {0.0, frame_.exposure_s ? "it was not exposed" : "the frame's exposure is not known"};
        const double s = scale_of(dark);
        const double apart = 0.01 * degrees_apart(frame_, dark);
        const double bias_share = (bias_in_frame ? 1.0 : 0.0) - (dark.bias_in ? s : 0.0);
        const bool needs_bias = bias_share != 0.0;
        if (needs_bias && !bias_there) {
            const std::string how = fmt::format("exposed for {:g} s, the frame for {:g} s",
                                                dark.facts.exposure_s->value, *frame_.exposure_s);
            if (!dark.bias_in) return {0.0, "its bias was taken away, and no bias that fits is named"};
            if (!bias_in_frame) return {0.0, "it holds the bias, which was taken from the frame before"};
            return {0.0, how + ", and no bias that fits would let it be scaled"};
        }
        if (s > most_scaled_up) {
            return {0.0, fmt::format("exposed for {:g} s, too short to be scaled to {:g} s",
                                     dark.facts.exposure_s->value, *frame_.exposure_s)};
        }
        return {apart + (s == 1.0 ? 0.0 : 1.0 + std::abs(std::log(s))), std::nullopt};
    }

    void say_temperature(const Master& master) {
        if (degrees_apart(frame_, master) <= temperature_said_c) return;
        out_.remarks_.push_back(fmt::format("The {} {} was taken at {:.1f} °C, the frame at {:.1f} °C.",
                                            word(master.role), master.name, master.facts.temperature_c->value,
                                            *frame_.temperature_c));
    }

    void subtract(const std::shared_ptr<const Master>& master, double scale) {
        out_.steps_.push_back(step_of(Calibration::Step::Kind::subtract, master, scale));
        out_.offset_adu_ += scale * master->level_adu;
        const std::string times = scale == 1.0 ? "" : fmt::format(" × {:.3g}", scale);
        out_.used_.push_back(fmt::format("{} {}{}", word(master->role), master->name, times));
        say_temperature(*master);
    }

    void subtract_dark(const std::shared_ptr<const Master>& dark, bool bias_in_frame,
                       const std::shared_ptr<const Master>& bias) {
        const double s = scale_of(*dark);
        const double bias_share = (bias_in_frame ? 1.0 : 0.0) - (dark->bias_in ? s : 0.0);
        subtract(dark, s);
        if (bias_share != 0.0) subtract(bias, bias_share);
        out_.offset_gone_ = true;
    }

    bool subtract_bias(const std::shared_ptr<const Master>& bias) {
        subtract(bias, 1.0);
        out_.offset_gone_ = true;
        const bool dark = bias->facts.kind && (bias->facts.kind->value == FrameKind::dark ||
                                               bias->facts.kind->value == FrameKind::flat_dark);
        if (dark) say_stand_in(*bias);
        return true;
    }

    // Darks of flats are named for the flats' sake, and are no more than biases to the frame.
    [[nodiscard]] bool only_short_darks() const {
        bool any = false;
        for (const auto& master : masters_) {
            if (master->role != MasterRole::dark) continue;
            any = true;
            if (!is_short(*master)) return false;
        }
        return any;
    }

    [[nodiscard]] bool is_short(const Master& dark) const {
        return frame_.exposure_s && dark.facts.exposure_s->value <= short_of_exposure * *frame_.exposure_s;
    }

    bool subtract_short_dark() {
        const Pick dark = pick(masters_, MasterRole::dark, frame_, [&](const Master& m) {
            if (!m.bias_in || !is_short(m)) return Cost{0.0, ""};
            return Cost{m.facts.exposure_s->value, std::nullopt};
        });
        if (!dark.master) return false;
        subtract(dark.master, 1.0);
        out_.offset_gone_ = true;
        say_stand_in(*dark.master);
        return true;
    }

    void say_stand_in(const Master& dark) {
        const std::string exposed =
            dark.facts.exposure_s ? fmt::format(" of {:g} s", dark.facts.exposure_s->value) : "";
        out_.remarks_.push_back(fmt::format(
            "The dark {}{} stands in for a bias: the dark current and hot pixels of the exposure stay in.",
            dark.name, exposed));
    }

    const MasterList& masters_;
    Wanted frame_;
    Calibration out_;
    double lowest_flat_ = 1.0;
};

Calibration Masters::calibration_of(const FrameFacts& facts, const Header& header) const {
    CalibrationMaker maker(masters_, facts, header);
    if (empty()) return maker.finish(facts);
    if (facts.stacked_exposures && facts.stacked_exposures->value > 1) {
        maker.miss_all(
            fmt::format("A stack of {} exposures is not calibrated: masters belong to each of them.",
                        facts.stacked_exposures->value));
        return maker.finish(facts);
    }
    if (facts.planes == 3 && !facts.lattice) {
        maker.miss_all(
            "A colour picture of three planes is not calibrated: masters belong to the camera's own "
            "pixels.");
        return maker.finish(facts);
    }
    const std::string letters = facts.calibrated ? facts.calibrated->value : "";
    const auto has = [&](char letter) { return letters.find(letter) != std::string::npos; };
    const bool dark_named = (dark_named_ || bias_named_) && !has('D');
    if (dark_named && (dark_named_ || !has('B'))) maker.offset_and_dark(!has('B'), bias_named_, dark_named_);
    if (flat_named_ && !has('F')) maker.flat();
    if (defects_named_) maker.defects();
    const bool left_alone = ((bias_named_ || dark_named_) && (has('D') || (has('B') && bias_named_))) ||
                            (flat_named_ && has('F'));
    if (left_alone) {
        maker.remark(fmt::format(
            "{} says that the frame is calibrated ({}: B bias, D dark, F flat): that is not done again.",
            facts.calibrated->source, letters));
    }
    return maker.finish(facts);
}

}  // namespace emberline::frame
