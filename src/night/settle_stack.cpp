// SPDX-License-Identifier: MIT
// Notation: n exposures, c the exposures' worth of photons behind a stored pixel of a mean or median.
#include "night/settle_stack.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "frame/read_stack.hpp"
#include "night/stack_evidence.hpp"
#include "sky/time_scales.hpp"

namespace emberline::night {
namespace {

using frame::FrameFacts;
using frame::StackKind;
using frame::StackScale;

constexpr double top_adu = 65535.0;
constexpr double unit_top = 1.0 + 1e-6;        // of pictures that were scaled to 0 … 1
constexpr double contradiction = 3.0;          // of the noise variance, against a header that tells all
constexpr double smoothed_at_most = 10.0;      // single pixels' variance, by interpolation of any kind
constexpr double single_log_likelihood = 8.0;  // better by this: no single exposure
constexpr double surely_log_likelihood = 4.5;  // three sigma
constexpr double impossible_share = 1.3;       // of all light: a telescope gathers less …
constexpr double surely_summed_share = 2.0;    // … and its aperture is not so wrong
constexpr double usual_share = 0.3;            // of a telescope with its camera, through some air
constexpr double surely_more_than = 1.8;       // exposures, at three sigma
constexpr double kind_log_likelihood = 3.0;    // of the best kind over the next
// Gain, flat errors, warm pixels: real frames without dark and flat are noisier by up to a third.
constexpr double camera_log_err = 0.2;
constexpr double wrong_offset_adu = 5.0;
constexpr double resampled_correlation = 0.06;  // of pixels side by side; single exposures have none
constexpr double longest_stack_s = 4.0 * 3600.0;

bool told(const FrameFacts& facts) {
    return facts.stacked_exposures && facts.stacked_exposures->source != "assumed";
}
int count_of(const FrameFacts& facts) {
    return facts.stacked_exposures ? facts.stacked_exposures->value : 1;
}
StackKind kind_or_mean(const FrameFacts& facts) {
    return facts.stack_kind ? facts.stack_kind->value : StackKind::mean;
}

// A gain that nobody stated cannot be compared with the noise's. GAIN as a whole number may be a setting.
bool gain_known(const FrameFacts& facts, double gain_of_one) {
    if (!facts.gain_e_per_adu || facts.gain_e_per_adu->source.starts_with("assumed")) return false;
    const bool perhaps = facts.gain_e_per_adu->source.starts_with("GAIN") &&
                         gain_of_one == std::floor(gain_of_one) && facts.caveats.has(Caveat::gain_assumed);
    return !perhaps;
}

// One exposure's numbers, from those of the stored pixels.
Camera camera_of(const FrameFacts& facts, const FrameNeeds& needs, const StackScale& scale) {
    Camera camera{.gain_e_per_adu = needs.gain_e_per_adu / scale.gain,
                  .read_noise_e = needs.read_noise_e / scale.read_noise,
                  .read_noise_known = !facts.caveats.has(Caveat::read_noise_assumed)};
    if (facts.offset_adu) camera.offset_adu = facts.offset_adu->value / scale.level;
    return camera;
}

FrameNeeds restacked(const FrameNeeds& one, const FrameFacts& facts, StackKind kind, double n) {
    const StackScale scale = frame::stack_scale(kind, n);
    FrameNeeds needs = one;
    needs.gain_e_per_adu *= scale.gain;
    needs.read_noise_e *= scale.read_noise;
    const bool bounded = facts.pixel_type == "int16" || facts.pixel_type == "uint16";
    const double top = bounded ? std::max(top_adu, one.saturation_adu) : scale.level * one.saturation_adu;
    needs.saturation_adu = std::min(scale.level * one.saturation_adu, top);
    needs.linear_to_adu =
        std::min(frame::trusted_of_a_stack * scale.level * one.linear_to_adu, needs.saturation_adu);
    return needs;
}

// Whether single pixels contradict what the header says of a stack.
void check_told(const FrameFacts& facts, const FrameNeeds& needs, const StarField& field, double unit,
                StackVerdict& verdict) {
    if (count_of(facts) < 2 || facts.caveats.has(Caveat::gain_assumed)) return;
    const auto sky = sky_noise(field, unit, false);
    if (!sky) return;
    const double gain = needs.gain_e_per_adu;
    const auto variance = [&](double offset_adu) {
        return std::max(0.0, sky->level_adu - offset_adu) / gain + std::pow(needs.read_noise_e / gain, 2.0) +
               (sky->whole_numbers ? 1.0 / 12.0 : 0.0);
    };
    const double most = variance(facts.offset_adu ? facts.offset_adu->value : 0.0);
    const double least = variance(facts.offset_adu ? facts.offset_adu->value : sky->level_adu);
    const double found = sky->pixel_variance_adu2;
    const bool too_much = found > contradiction * most;
    const bool too_little = found * smoothed_at_most * contradiction < least;
    if (!too_much && !too_little) return;
    verdict.remarks.push_back(
        fmt::format("The header tells a {} of {} exposures, whose sky would scatter by {:.3g} ADU; it "
                    "scatters by {:.3g}. Gain, offset or the header's count is wrong; nothing was changed.",
                    frame::word(kind_or_mean(facts)), count_of(facts), std::sqrt(too_much ? most : least),
                    std::sqrt(found)));
}

// Count without how.
void choose_kind(const FrameFacts& facts, const FrameNeeds& one, const Camera& camera, const SkyNoise& sky,
                 const std::optional<LightNoise>& light, StackVerdict& verdict) {
    const int n = count_of(facts);
    struct Choice {
        StackKind kind;
        double log_likelihood;
    };
    std::vector<Choice> choices;
    for (const StackKind kind : {StackKind::sum, StackKind::mean, StackKind::median}) {
        if (kind == StackKind::median && n < 3) continue;
        choices.push_back({kind, log_likelihood(kind, n, camera, sky, light)});
    }
    std::sort(choices.begin(), choices.end(),
              [](const Choice& a, const Choice& b) { return a.log_likelihood > b.log_likelihood; });
    const Choice &best = choices[0], &next = choices[1];
    if (best.log_likelihood - next.log_likelihood < kind_log_likelihood) {
        if (best.kind != StackKind::sum && next.kind != StackKind::sum) {
            verdict.remarks.push_back(fmt::format(
                "The noise is that of a mean or a median of {} exposures, and does not tell which.", n));
        }
        return;
    }
    verdict.needs = restacked(one, facts, best.kind, n);
    verdict.gain_told = true;
    verdict.caveats.add(Caveat::stack_inferred);
    verdict.remarks.push_back(fmt::format("The noise fits a {} of {} exposures: {:.4g} e-/ADU.",
                                          frame::word(best.kind), n, verdict.needs.gain_e_per_adu));
}

// What the stars' light says of the exposure, where the telescope's aperture is known: the share of all light
// that one exposure's time and gain would mean. Within a factor of some of the usual; cloud lowers it.
double log_plausible(double share) {
    constexpr double less_by = 4.0, more_by = 2.0;
    const double log_off = std::log(share / usual_share);
    const double err = std::log(log_off > 0.0 ? more_by : less_by);
    return -0.5 * (log_off / err) * (log_off / err);
}

// EXPTIME of one exposure, DATE-OBS of the first: what programs write that add the others in silence.
void lengthen(const FrameFacts& facts, double n, double n_err, std::optional<double> share_of_one,
              StackVerdict& verdict) {
    verdict.caveats.add(Caveat::time_uncertain);
    const bool dim =
        share_of_one && log_plausible(*share_of_one) + kind_log_likelihood < log_plausible(*share_of_one * n);
    const double one_s = facts.exposure_s->value;
    const std::string& source = facts.exposure_s->source;
    if (dim || source.starts_with("campaign") || source.find("TOT") != std::string::npos ||
        source.find("LIVE") != std::string::npos || n * one_s > longest_stack_s) {
        verdict.remarks.push_back(fmt::format("{} is taken for the time of all exposures together.", source));
        return;
    }
    verdict.exposure_s = n * one_s;
    std::string remark = fmt::format("{} is taken for one of them: together {:.0f} s", source, n * one_s);
    if (facts.mid_exposure && facts.mid_exposure->source.find("+ half of") != std::string::npos) {
        verdict.mid_exposure = sky::later_by(facts.mid_exposure->value, 0.5 * (n - 1.0) * one_s);
        remark += fmt::format(
            ", and the middle {:.0f} ± {:.0f} s after the start of the first; pauses between them put it "
            "later by half their sum",
            0.5 * n * one_s, 0.5 * std::max(n_err, 0.5) * one_s);
    }
    verdict.remarks.push_back(remark + ".");
}

// A sum has one exposure's gain, and its noise tells nothing of it without an offset; its stars are brighter
// than one exposure's can be.
void look_at_light(const FrameFacts& facts, const FrameNeeds& one, const Camera& camera, const SkyNoise& sky,
                   std::optional<double> share, StackVerdict& verdict) {
    if (!share || *share < impossible_share || kind_or_mean(facts) == StackKind::median) return;
    verdict.caveats.add(Caveat::time_uncertain);
    const std::string seen = fmt::format(
        "The stars send {:.1f} times the light that such a telescope gathers in {:g} s without any "
        "loss",
        *share, facts.exposure_s->value);
    // Read noise alone allows no more of them.
    const double most = sky.variance_adu2 * std::pow(camera.gain_e_per_adu / camera.read_noise_e, 2.0);
    const double n = std::round(std::min(*share / usual_share, camera.read_noise_known ? most : 1e5));
    if (*share < surely_summed_share || n < 3.0) {
        verdict.remarks.push_back(seen +
                                  ": EXPTIME, gain or aperture is wrong, or exposures were summed. Say "
                                  "`stacked` and `stack` under [instrument].");
        return;
    }
    verdict.needs = restacked(one, facts, StackKind::sum, n);
    verdict.caveats.add(Caveat::stack_inferred);
    verdict.remarks.push_back(fmt::format(
        "{}: taken for a sum of {:.0f} exposures, or half or twice as many. Say `stacked` and `stack` "
        "under [instrument].",
        seen, n));
    lengthen(facts, n, 0.5 * n, *share / n, verdict);
}

void infer_count(const FrameFacts& facts, const FrameNeeds& one, const Camera& camera, const SkyNoise& sky,
                 const std::optional<LightNoise>& light, std::optional<double> share, StackVerdict& verdict) {
    StackKind kind = kind_or_mean(facts);
    CountFit fit = fit_count(kind, camera, sky, light);
    const auto beats = [&](double n, double by) {
        return fit.log_n > std::log(n) && fit.best - log_likelihood(kind, n, camera, sky, light) > by;
    };
    const bool several = beats(1.0, single_log_likelihood) && beats(surely_more_than, surely_log_likelihood);
    if (!several) return look_at_light(facts, one, camera, sky, share, verdict);
    if (!facts.stack_kind && camera.offset_adu) {
        const CountFit summed = fit_count(StackKind::sum, camera, sky, light);
        if (summed.n() > surely_more_than && summed.best > fit.best - kind_log_likelihood) {
            const double for_sum = share ? log_plausible(*share / summed.n()) - log_plausible(*share) : 0.0;
            if (std::abs(for_sum) < kind_log_likelihood) {
                verdict.caveats.add(Caveat::time_uncertain);
                verdict.remarks.push_back(fmt::format(
                    "The noise fits {:.0f} exposures summed as well as {:.0f} averaged: say `stacked` and "
                    "`stack` under [instrument]. Until then the gain is one exposure's.",
                    summed.n(), fit.n()));
                return;
            }
            if (for_sum > 0.0) {
                kind = StackKind::sum;
                fit = summed;
            }
        }
    }
    const double n = std::max(2.0, std::round(fit.n()));
    const double n_err = std::max(0.5, fit.n() * std::hypot(fit.err, camera_log_err));
    verdict.needs = restacked(one, facts, kind, fit.n());
    verdict.caveats.add(Caveat::stack_inferred);
    verdict.remarks.push_back(fmt::format(
        "The noise fits {:.0f} ± {:.0f} exposures {}, though the header does not say so: {:.4g} e-/ADU. Say "
        "`stacked` and `stack` under [instrument] where that is known.",
        fit.n(), n_err,
        kind == StackKind::sum    ? "summed"
        : kind == StackKind::mean ? "averaged"
                                  : "under a median",
        verdict.needs.gain_e_per_adu));
    if (share && kind == StackKind::sum) share = *share / n;
    lengthen(facts, n, n_err, share, verdict);
}

void settle(const FrameFacts& facts, const StarField& field, double unit, const standard::Sequence& sequence,
            StackVerdict& verdict) {
    const FrameNeeds stated = verdict.needs;
    if (told(facts) && (facts.stack_kind || count_of(facts) < 2))
        return check_told(facts, stated, field, unit, verdict);
    const StackScale scale = frame::stack_scale(kind_or_mean(facts), count_of(facts));
    Camera camera = camera_of(facts, stated, scale);
    if (!gain_known(facts, camera.gain_e_per_adu)) return;
    // Numbers of a single exposure again, to be put together anew.
    FrameNeeds one = stated;
    one.gain_e_per_adu = camera.gain_e_per_adu;
    one.read_noise_e = camera.read_noise_e;
    if (count_of(facts) > 1) one.linear_to_adu /= frame::trusted_of_a_stack;

    auto sky = sky_noise(field, unit, false);
    if (!sky) return;
    const double floor_adu2 = std::pow(camera.read_noise_e / camera.gain_e_per_adu, 2.0);
    const bool below_floor =
        camera.read_noise_known && sky->pixel_variance_adu2 * surely_more_than < floor_adu2;
    if (!told(facts)) {
        // Most frames are single exposures, and their pixels scatter as such.
        const double light_adu = std::max(0.0, sky->level_adu - camera.offset_adu.value_or(0.0));
        const double single_adu2 = light_adu / camera.gain_e_per_adu + floor_adu2;
        if (sky->pixel_variance_adu2 * surely_more_than > single_adu2) return;
    }
    // An offset above the sky is another camera's, or was taken away already.
    if (camera.offset_adu && sky->level_adu < *camera.offset_adu - wrong_offset_adu)
        camera.offset_adu.reset();
    std::optional<double> share;
    if (facts.aperture_mm)
        share = light_share(field, sequence, stated.band, camera.gain_e_per_adu / unit,
                            facts.exposure_s->value, facts.aperture_mm->value);
    // Any offset fits the sky of an ordinary exposure, and a camera's own integers need no closer look; star
    // light tells where the offset does not, of pictures that were worked on.
    const bool worked_on = !sky->whole_numbers || sky->neighbours > resampled_correlation || below_floor;
    if (!camera.offset_adu && !worked_on && !told(facts))
        return look_at_light(facts, one, camera, *sky, share, verdict);
    sky = sky_noise(field, unit, true);
    if (!sky) return;
    std::optional<LightNoise> light;
    if (!camera.offset_adu && worked_on && !facts.lattice)
        light = light_noise(field, *sky, unit, stated.linear_to_adu);
    if (told(facts)) return choose_kind(facts, one, camera, *sky, light, verdict);
    infer_count(facts, one, camera, *sky, light, share, verdict);
}

}  // namespace

double unit_of(const frame::Frame& frame, const FrameNeeds& needs) {
    const FrameFacts& facts = frame.facts();
    // The header of a stack of ours has its numbers for the stored pixels, whatever unit they are in.
    if (!facts.stack_of.empty()) return 1.0;
    if (!facts.pixel_type.starts_with("float") || needs.saturation_adu <= unit_top) return 1.0;
    constexpr int boxes_a_side = 5, side_px = 40;
    std::vector<frame::PixelBox> boxes;
    for (int j = 0; j < boxes_a_side; ++j) {
        for (int i = 0; i < boxes_a_side; ++i) {
            const auto start = [&](int k, int size) {
                return std::max(0, (2 * k + 1) * size / (2 * boxes_a_side) - side_px / 2);
            };
            boxes.push_back({start(i, facts.width_px), start(j, facts.height_px), side_px, side_px});
        }
    }
    const auto cutouts = frame.read(boxes);
    if (!cutouts) return 1.0;  // told where the stars are looked for
    float brightest = 0.0F;
    for (const frame::Cutout& cutout : *cutouts) {
        for (const float v : cutout.adu) {
            if (v > brightest) brightest = v;
        }
    }
    return brightest > 0.0F && static_cast<double>(brightest) <= unit_top ? 1.0 / top_adu : 1.0;
}

FrameNeeds in_unit(FrameNeeds needs, double unit) {
    if (unit == 1.0) return needs;
    needs.gain_e_per_adu /= unit;
    needs.saturation_adu = std::min(1.0, needs.saturation_adu * unit);
    needs.linear_to_adu = std::min(needs.saturation_adu, needs.linear_to_adu * unit);
    return needs;
}

StackVerdict settle_stack(const frame::Frame& frame, const StarField& field, const FrameNeeds& needs,
                          double unit, const standard::Sequence& sequence) {
    StackVerdict verdict{.needs = needs};
    settle(frame.facts(), field, unit, sequence, verdict);
    verdict.needs = in_unit(verdict.needs, unit);
    if (unit != 1.0) {
        verdict.caveats.add(Caveat::stack_inferred);
        verdict.remarks.emplace_back(
            "The pixels run from 0 to 1: they are taken for parts of 65535 ADU, and the gain is scaled with "
            "them.");
    }
    return verdict;
}

}  // namespace emberline::night
