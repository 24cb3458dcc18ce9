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
constexpr double camera_log_err = 0.15;        // of gain and offset together, one sigma
constexpr double surely_more_than = 1.8;       // exposures, at three sigma
constexpr double kind_log_likelihood = 3.0;    // of the best kind over the next
constexpr double light_log_err = 0.4;          // of what star light tells of the gain, beside its chance
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

// Floating-point pictures are often saved as parts of the full range: what one ADU is in them.
double unit_of(const FrameFacts& facts, const FrameNeeds& needs, const StarField& field) {
    if (!facts.pixel_type.starts_with("float") || needs.saturation_adu <= unit_top) return 1.0;
    float brightest = 0.0F;
    for (const StarOnFrame& star : field.stars) {
        for (const float v : star.cutout.adu) {
            if (v > brightest) brightest = v;
        }
    }
    return brightest > 0.0F && static_cast<double>(brightest) <= unit_top ? 1.0 / top_adu : 1.0;
}

void rescale(FrameNeeds& needs, double unit) {
    needs.gain_e_per_adu /= unit;
    needs.saturation_adu = std::min(1.0, needs.saturation_adu * unit);
    needs.linear_to_adu = std::min(needs.saturation_adu, needs.linear_to_adu * unit);
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

// EXPTIME of one exposure, DATE-OBS of the first: what programs write that add the others in silence.
void lengthen(const FrameFacts& facts, double n, double n_err, StackVerdict& verdict) {
    verdict.caveats.add(Caveat::time_uncertain);
    const bool plain = facts.exposure_s && !facts.exposure_s->source.starts_with("campaign") &&
                       facts.exposure_s->source.find("TOT") == std::string::npos &&
                       facts.exposure_s->source.find("LIVE") == std::string::npos;
    if (!plain || n * facts.exposure_s->value > longest_stack_s) {
        verdict.remarks.push_back(fmt::format("{} is taken for the time of all exposures together.",
                                              facts.exposure_s ? facts.exposure_s->source : "The exposure"));
        return;
    }
    const double one_s = facts.exposure_s->value;
    verdict.exposure_s = n * one_s;
    const std::string& source = facts.mid_exposure ? facts.mid_exposure->source : facts.exposure_s->source;
    if (!facts.mid_exposure || source.find("+ half of") == std::string::npos) {
        verdict.remarks.push_back(fmt::format("{} is taken for one of them: together {:.0f} s.",
                                              facts.exposure_s->source, n * one_s));
        return;
    }
    verdict.mid_exposure = sky::later_by(facts.mid_exposure->value, 0.5 * (n - 1.0) * one_s);
    verdict.remarks.push_back(fmt::format(
        "{} is taken for one of them: together {:.0f} s, and the middle {:.0f} ± {:.0f} s after "
        "the start of the first; pauses between them put it later by half their sum.",
        facts.exposure_s->source, n * one_s, 0.5 * n * one_s, 0.5 * std::max(n_err, 0.5) * one_s));
}

void infer_count(const FrameFacts& facts, const FrameNeeds& one, const Camera& camera, const SkyNoise& sky,
                 const std::optional<LightNoise>& light, StackVerdict& verdict) {
    const StackKind kind = kind_or_mean(facts);
    const CountFit averaged = fit_count(kind, camera, sky, light);
    // A gain known to a tenth or so is not a count.
    const double single =
        std::max({log_likelihood(StackKind::single, 1.0, camera, sky, light),
                  log_likelihood(StackKind::mean, 1.0 + camera_log_err, camera, sky, light)});
    const double err = std::hypot(averaged.err, camera_log_err, light ? light_log_err : 0.0);
    const bool several = averaged.best - single > single_log_likelihood &&
                         averaged.log_n - 3.0 * err > std::log(surely_more_than);
    if (!several) return;
    if (!facts.stack_kind && camera.offset_adu) {
        const CountFit summed = fit_count(StackKind::sum, camera, sky, light);
        if (summed.n() > surely_more_than && summed.best > averaged.best - kind_log_likelihood) {
            verdict.caveats.add(Caveat::time_uncertain);
            verdict.remarks.push_back(fmt::format(
                "The noise fits {:.0f} exposures summed as well as {:.0f} averaged: say `stacked` "
                "and `stack` under [instrument]. Until then the gain is one exposure's.",
                summed.n(), averaged.n()));
            return;
        }
    }
    const double n = std::max(2.0, std::round(averaged.n()));
    verdict.needs = restacked(one, facts, kind, averaged.n());
    verdict.caveats.add(Caveat::stack_inferred);
    verdict.remarks.push_back(fmt::format(
        "The noise fits {:.0f} ± {:.0f} exposures {}, though the header does not say so: {:.4g} e-/ADU. Say "
        "`stacked` and `stack` under [instrument] where that is known.",
        averaged.n(), averaged.n() * std::max(averaged.err, camera_log_err),
        kind == StackKind::median ? "under a median" : "averaged", verdict.needs.gain_e_per_adu));
    lengthen(facts, n, n * err, verdict);
}

void settle(const FrameFacts& facts, const StarField& field, double unit, StackVerdict& verdict) {
    const FrameNeeds stated = verdict.needs;
    if (told(facts) && (facts.stack_kind || count_of(facts) < 2))
        return check_told(facts, stated, field, unit, verdict);
    const StackScale scale = frame::stack_scale(kind_or_mean(facts), count_of(facts));
    const Camera camera = camera_of(facts, stated, scale);
    if (!gain_known(facts, camera.gain_e_per_adu)) return;
    // Numbers of a single exposure again, to be put together anew.
    FrameNeeds one = stated;
    one.gain_e_per_adu = camera.gain_e_per_adu;
    one.read_noise_e = camera.read_noise_e;
    if (count_of(facts) > 1) one.linear_to_adu /= frame::trusted_of_a_stack;

    auto sky = sky_noise(field, unit, false);
    if (!sky) return;
    if (!told(facts)) {
        // Most frames are single exposures, and their pixels scatter as such.
        const double gain = camera.gain_e_per_adu;
        const double light_adu = std::max(0.0, sky->level_adu - camera.offset_adu.value_or(0.0));
        const double single_adu2 = light_adu / gain + std::pow(camera.read_noise_e / gain, 2.0);
        if (sky->pixel_variance_adu2 * surely_more_than > single_adu2) return;
    }
    sky = sky_noise(field, unit, true);
    if (!sky) return;
    // Star light tells where the offset does not, of pictures that were worked on: a camera's own integers
    // need no such look.
    std::optional<LightNoise> light;
    const bool resampled = sky->variance_adu2 > sky->pixel_variance_adu2;
    if (!camera.offset_adu && (!sky->whole_numbers || resampled))
        light = light_noise(field, *sky, unit, stated.linear_to_adu);
    if (told(facts)) {
        choose_kind(facts, one, camera, *sky, light, verdict);
    } else {
        infer_count(facts, one, camera, *sky, light, verdict);
    }
}

}  // namespace

StackVerdict settle_stack(const frame::Frame& frame, const StarField& field, const FrameNeeds& needs,
                          const Campaign&) {
    StackVerdict verdict{.needs = needs};
    const double unit = unit_of(frame.facts(), needs, field);
    settle(frame.facts(), field, unit, verdict);
    if (unit != 1.0) {
        rescale(verdict.needs, unit);
        verdict.caveats.add(Caveat::stack_inferred);
        verdict.remarks.emplace_back(
            "The pixels run from 0 to 1: they are taken for parts of 65535 ADU, and the gain is scaled with "
            "them.");
    }
    return verdict;
}

}  // namespace emberline::night
