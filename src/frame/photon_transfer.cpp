// SPDX-License-Identifier: MIT
// Notation: as in the header; z = (V − (1 + r²) σ²) / (a + r² b), whose mean over the boxes is 1 / g.
#include "frame/photon_transfer.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <map>

#include "frame/colour_pattern.hpp"
#include "frame/frame.hpp"
#include "frame/transfer_boxes.hpp"
#include "frame/transfer_exposures.hpp"
#include "numerics/robust.hpp"

namespace emberline::frame {
namespace {

constexpr double too_bright = 0.92;       // of what a pixel can hold
constexpr double most_at_top = 0.002;     // of the pixels: hot ones are fewer
constexpr double most_unequal = 2.0;      // levels of two flats
constexpr double least_light_adu = 20.0;  // above the bias: below, the flat was divided or is empty
constexpr double clip_sigma = 4.0;
constexpr std::size_t least_boxes = 12;
constexpr std::size_t most_bias_pairs = 4;
constexpr double levels_tell = 1.7;  // highest over lowest level: a slope can be told
constexpr double slope_sigma = 4.0;
constexpr double slope_matters = 0.01;  // of the gain, from no light to the highest level
constexpr double gains_agree = 0.05;

class Transfer {
  public:
    explicit Transfer(PhotonTransfer& out) : out_(out) {}

    void leave_out(const TransferExposure& e, std::string what, std::string mend) {
        out_.left_out.push_back(
            {e.path, {.what = std::move(what), .where = e.path, .mend = std::move(mend)}});
    }

    Result<void> take_biases(const std::vector<const TransferExposure*>& biases, const TransferGrid& grid) {
        std::vector<double> variances, errs, levels;
        for (std::size_t i = 0; i + 1 < biases.size() && variances.size() < most_bias_pairs; i += 2) {
            const auto noise = noise_of_biases(biases[i]->frame, biases[i + 1]->frame, grid);
            if (!noise) return fail(noise.error());
            if (!(noise->variance_adu2 > 0.0)) {
                leave_out(*biases[i + 1], fmt::format("It is the same exposure as {}.", biases[i]->path),
                          "Name different exposures.");
                continue;
            }
            variances.push_back(noise->variance_adu2);
            errs.push_back(noise->variance_err_adu2);
            levels.push_back(noise->level_adu);
        }
        if (variances.empty()) return none("biases, or of short darks,");
        const auto n = static_cast<double>(variances.size());
        double square = 0.0;
        for (std::size_t i = 0; i < variances.size(); ++i) {
            variance_adu2_ += variances[i] / n;
            square += errs[i] * errs[i] / (n * n);
            out_.bias_level_adu += levels[i] / n;
        }
        variance_err_adu2_ = std::sqrt(square);
        out_.bias_pairs = variances.size();
        out_.from_darks = biases.front()->kind != FrameKind::bias;
        out_.dark_exposure_s = out_.from_darks ? biases.front()->exposure_s() : 0.0;
        return {};
    }

    Result<void> take_pair(const FlatPair& pair, const Frame& bias, const TransferGrid& grid) {
        const auto& [first, second] = pair;
        const double zero = out_.bias_level_adu;
        const double a = first->look.level_adu - zero, b = second->look.level_adu - zero;
        if (std::min(a, b) < least_light_adu) {
            leave_out(a < b ? *first : *second,
                      fmt::format("Its level is {:.0f} ADU, that of the biases {:.0f}: there is too little "
                                  "light in it, or it was divided.",
                                  a < b ? first->look.level_adu : second->look.level_adu, zero),
                      "Expose flats to about half of what the pixels hold.");
            return {};
        }
        if (std::max(a, b) > most_unequal * std::min(a, b)) {
            leave_out(*second,
                      fmt::format("Its level and that of {} differ too much: {:.0f} and {:.0f} ADU.",
                                  first->path, b, a),
                      "Take flats in pairs, one right after the other.");
            return {};
        }
        const auto boxes = noise_of_flats(first->frame, second->frame, bias, grid);
        if (!boxes) return fail(boxes.error());
        add_pair(pair, *boxes);
        return {};
    }

    Result<void> finish(const FrameFacts& facts) {
        if (out_.pairs.empty()) return none("flats");
        settle_gain();
        settle_phases(facts);
        const double rounding = *step_ * *step_ / 12.0;
        const double own = variance_adu2_ - rounding;
        const double g = out_.gain_e_per_adu.value;
        out_.step_adu = *step_;
        out_.read_noise_adu = std::sqrt(std::max(own, 0.0));
        out_.read_noise_e.value = g * out_.read_noise_adu;
        if (own > 0.0) {
            out_.read_noise_e.err = out_.read_noise_e.value *
                                    std::hypot(out_.gain_e_per_adu.err / g, 0.5 * variance_err_adu2_ / own);
        } else {
            out_.read_noise_e.err = g * std::sqrt(rounding);
        }
        if (own < rounding) {
            out_.remarks.push_back(fmt::format(
                "The read noise is smaller than the rounding to steps of {:g} ADU: it is only roughly told.",
                *step_));
        }
        out_.header_gain = facts.gain_e_per_adu;
        if (facts.caveats.has(Caveat::gain_assumed)) out_.header_gain.reset();
        if (out_.header_gain && std::abs(g / out_.header_gain->value - 1.0) > gains_agree &&
            std::abs(g - out_.header_gain->value) > 3.0 * out_.gain_e_per_adu.err) {
            out_.remarks.push_back(fmt::format(
                "{} says {:g} e-/ADU, the noise {}. The noise is what errors are made of, unless the "
                "flats were altered after they were taken.",
                out_.header_gain->source, out_.header_gain->value, with_error(out_.gain_e_per_adu)));
        }
        return {};
    }

    void take_step(const TransferExposure& e) {
        const double own = *e.look.step_adu;
        step_ = step_ ? std::min(*step_, own) : own;
    }

  private:
    struct Point {
        int phase;
        double level_adu, z;
    };

    [[nodiscard]] Result<void> none(const char* what) const {
        std::string reasons;
        for (std::size_t i = 0; i < std::min<std::size_t>(3, out_.left_out.size()); ++i)
            reasons += " " + one_line(out_.left_out[i].problem);
        if (out_.lights > 0) reasons += fmt::format(" {} pictures of the sky were passed over.", out_.lights);
        return fail({.what = fmt::format("There is no pair of {} to compare.{}", what, reasons),
                     .where = {},
                     .mend =
                         "Two flats through one filter and two biases (or short darks) are needed, as the "
                         "camera gave them."});
    }

    void add_pair(const FlatPair& pair, const std::vector<FlatBox>& boxes) {
        const auto& [first, second] = pair;
        std::vector<double> z, levels, ratios, reads;
        std::vector<Point> points;
        for (const FlatBox& box : boxes) {
            const double r = box.ratio();
            const double read = (1.0 + r * r) * variance_adu2_;
            const double value = (box.variance_adu2 - read) / box.light_adu();
            z.push_back(value);
            levels.push_back(box.level_adu());
            ratios.push_back(r);
            reads.push_back(read / box.light_adu());
            points.push_back({box.phase, box.level_adu(), value});
        }
        const auto mean = numerics::clipped_mean(z, clip_sigma, clip_sigma);
        const double read = numerics::median(reads);
        if (mean.used < least_boxes) {
            leave_out(*second, "Too few parts of it hold light.", "Name flats that are lit all over.");
            return;
        }
        if (std::all_of(boxes.begin(), boxes.end(),
                        [](const FlatBox& b) { return b.variance_adu2 == 0.0; })) {
            leave_out(*second, fmt::format("It is the same exposure as {}.", first->path),
                      "Name different exposures.");
            return;
        }
        if (mean.mean < read) {
            leave_out(*second, "Its light varies less than the read noise: it is too faint to tell the gain.",
                      "Expose flats to about half of what the pixels hold.");
            return;
        }
        const double own_err = mean.sigma / std::sqrt(static_cast<double>(mean.used));
        const double err = std::hypot(own_err, read * variance_err_adu2_ / variance_adu2_);
        TransferPair told{first->path,
                          second->path,
                          first->filter(),
                          first->exposure_s(),
                          numerics::clipped_mean(levels, 20.0, 20.0).mean,
                          numerics::median(ratios),
                          {1.0 / mean.mean, err / (mean.mean * mean.mean)}};
        out_.pairs.push_back(std::move(told));
        inverse_.push_back(mean.mean);
        inverse_err_.push_back(own_err);
        read_share_.push_back(read);
        points_.insert(points_.end(), points.begin(), points.end());
    }

    // The mean of the pairs, unless the gain follows the level: then its value for no light where the levels
    // reach far enough, else the mean with an error as wide as what is not known.
    void settle_gain() {
        const auto mean = numerics::weighted_mean(inverse_, inverse_err_);
        const double chi2_per = mean.n > 1 ? mean.chi2 / static_cast<double>(mean.n - 1) : 1.0;
        const double common = numerics::median(read_share_) * variance_err_adu2_ / variance_adu2_;
        const auto told = [](double inverse, double err) {
            return ValueWithError{1.0 / inverse, err / (inverse * inverse)};
        };
        out_.gain_e_per_adu =
            told(mean.mean, std::hypot(mean.err * std::sqrt(std::max(1.0, chi2_per)), common));
        const auto [low, high] =
            std::minmax_element(out_.pairs.begin(), out_.pairs.end(),
                                [](const auto& a, const auto& b) { return a.level_adu < b.level_adu; });
        const Line line = line_through();
        const double drift = line.slope * high->level_adu / mean.mean;
        if (std::abs(line.slope) > slope_sigma * line.slope_err && std::abs(drift) > slope_matters &&
            line.at_zero > 0.0) {
            const ValueWithError at_zero = told(line.at_zero, std::hypot(line.at_zero_err, common));
            const bool tells = high->level_adu > levels_tell * low->level_adu;
            out_.remarks.push_back(fmt::format(
                "The noise does not grow in proportion to the light: the gain seems to be {} at {:.0f} ADU "
                "and, along a straight line, {} for no light. Bright pixels share their charge, or the "
                "camera is not linear.{}",
                with_error(told(line.at_zero + line.slope * high->level_adu, mean.err)), high->level_adu,
                with_error(at_zero),
                tells ? ""
                      : " Flats of several levels, a tenth to a half of what the pixels hold, would tell."));
            if (tells) {
                out_.gain_e_per_adu = at_zero;
            } else {
                out_.gain_e_per_adu.err =
                    std::hypot(out_.gain_e_per_adu.err, out_.gain_e_per_adu.value - at_zero.value);
            }
        } else if (chi2_per > 9.0) {
            out_.remarks.push_back(fmt::format(
                "The pairs of flats do not agree about the gain ({:.1f} times their errors); the error is "
                "widened.",
                std::sqrt(chi2_per)));
        }
    }

    struct Line {
        double at_zero = 0.0, at_zero_err = 0.0, slope = 0.0, slope_err = 0.0;
    };
    // z against level, all boxes alike: their errors are a fixed part of z.
    [[nodiscard]] Line line_through() const {
        std::vector<double> z;
        for (const Point& p : points_)
            z.push_back(p.z);
        const auto all = numerics::clipped_mean(z, clip_sigma, clip_sigma);
        double n = 0.0, x_mean = 0.0, z_mean = 0.0;
        std::vector<const Point*> used;
        for (const Point& p : points_) {
            if (std::abs(p.z - all.mean) > clip_sigma * all.sigma) continue;
            used.push_back(&p);
            n += 1.0;
            x_mean += p.level_adu;
            z_mean += p.z;
        }
        x_mean /= n;
        z_mean /= n;
        double xx = 0.0, xz = 0.0;
        for (const Point* p : used) {
            xx += (p->level_adu - x_mean) * (p->level_adu - x_mean);
            xz += (p->level_adu - x_mean) * (p->z - z_mean);
        }
        Line line;
        line.slope = xz / xx;
        line.at_zero = z_mean - line.slope * x_mean;
        double rest = 0.0;
        for (const Point* p : used) {
            const double d = p->z - line.at_zero - line.slope * p->level_adu;
            rest += d * d / (n - 2.0);
        }
        line.slope_err = std::sqrt(rest / xx);
        line.at_zero_err = std::sqrt(rest * (1.0 / n + x_mean * x_mean / xx));
        return line;
    }

    void settle_phases(const FrameFacts& facts) {
        if (!facts.pattern) return;
        const auto pattern = parse_colour_pattern(facts.pattern->value);
        for (int phase = 0; pattern && phase < 4; ++phase) {
            std::vector<double> z, levels;
            for (const Point& p : points_) {
                if (p.phase != phase) continue;
                z.push_back(p.z);
                levels.push_back(p.level_adu);
            }
            const auto mean = numerics::clipped_mean(z, clip_sigma, clip_sigma);
            if (mean.used < least_boxes || !(mean.mean > 0.0)) continue;
            const double err = mean.sigma / std::sqrt(static_cast<double>(mean.used));
            out_.phases.push_back({phase,
                                   pattern->word()[static_cast<std::size_t>(phase)],
                                   numerics::median(levels),
                                   {1.0 / mean.mean, err / (mean.mean * mean.mean)}});
        }
    }

    PhotonTransfer& out_;
    double variance_adu2_ = 0.0, variance_err_adu2_ = 0.0;
    std::optional<double> step_;
    std::vector<double> inverse_, inverse_err_, read_share_;
    std::vector<Point> points_;
};

}  // namespace

Result<PhotonTransfer> photon_transfer(const std::vector<std::string>& paths,
                                       const std::vector<Instrument>& instruments) {
    PhotonTransfer out;
    std::vector<TransferExposure> all;
    for (const std::string& path : paths) {
        auto opened = open_exposure(path, instruments);
        if (!opened) {
            out.left_out.push_back({path, opened.error()});
        } else if (*opened) {
            all.push_back(std::move(**opened));
        } else {
            ++out.lights;
        }
    }
    Transfer transfer(out);
    // The setting with most flats; the others are told.
    std::map<std::string, std::size_t> settings;
    for (const TransferExposure& e : all) {
        if (e.is_flat()) ++settings[e.setting()];
    }
    std::string setting;
    for (const auto& [name, n] : settings) {
        if (setting.empty() || n > settings[setting]) setting = name;
    }
    std::vector<const TransferExposure*> flats;
    for (const TransferExposure& e : all) {
        if (!setting.empty() && e.setting() != setting) {
            transfer.leave_out(
                e, fmt::format("It is of another setting ({}) than the flats ({}).", e.setting(), setting),
                "Measure each setting of the camera on its own.");
            continue;
        }
        if (!e.is_flat()) continue;
        const double held = e.frame.facts().saturation_adu ? e.frame.facts().saturation_adu->value : 65535.0;
        if (e.look.level_adu > too_bright * held || e.look.at_top > most_at_top) {
            transfer.leave_out(
                e, fmt::format("It is saturated, or nearly: its level is {:.0f} ADU.", e.look.level_adu),
                "Expose flats to about half of what the pixels hold.");
            continue;
        }
        flats.push_back(&e);
    }
    const auto biases = biases_of(all, setting);
    if (flats.empty() || biases.empty()) {
        const Result<void> nothing =
            flats.empty() ? transfer.finish({}) : transfer.take_biases({}, {0, 0, false});
        return fail(nothing.error());
    }
    const FrameFacts& facts = flats.front()->frame.facts();
    const int width = facts.stored_width_px();
    const int height = facts.stored_height_px();
    const TransferGrid grid(width, height, facts.pattern.has_value());
    if (grid.strips().empty()) {
        return fail(
            {.what = fmt::format("Exposures of {} × {} pixels are too small to compare.", width, height),
             .where = flats.front()->path,
             .mend = "Name exposures of the whole sensor, or of a larger part of it."});
    }
    if (auto good = transfer.take_biases(biases, grid); !good) return fail(good.error());
    for (const TransferExposure* flat : flats)
        transfer.take_step(*flat);
    for (const FlatPair& pair : pairs_of(flats)) {
        if (auto good = transfer.take_pair(pair, biases.front()->frame, grid); !good)
            return fail(good.error());
    }
    if (auto good = transfer.finish(facts); !good) return fail(good.error());
    return out;
}

}  // namespace emberline::frame
