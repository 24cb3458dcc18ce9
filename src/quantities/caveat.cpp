// SPDX-License-Identifier: MIT
#include "quantities/caveat.hpp"

#include <array>

namespace emberline {
inline namespace quantities {
namespace {

struct Entry {
    Caveat caveat;
    std::string_view word;
    std::string_view sentence;
};

constexpr std::array entries{
    Entry{Caveat::saturated, "saturated", "A pixel under the aperture is saturated."},
    Entry{Caveat::not_linear, "not-linear", "A pixel is above the level up to which the sensor is linear."},
    Entry{Caveat::edge, "edge", "The aperture or its annulus is cut by the edge of the frame."},
    Entry{Caveat::bad_pixels, "bad-pixels", "Undefined pixels under the aperture were filled in."},
    Entry{Caveat::blended, "blended", "Another source reaches into the aperture."},
    Entry{Caveat::sky_gradient, "sky-gradient", "The local sky is tilted; a plane was fitted."},
    Entry{Caveat::crowded_sky, "crowded-sky", "More than half of the sky annulus was clipped away."},
    Entry{Caveat::host_unmodelled, "host-unmodelled",
          "Host light under the aperture is not flat and nothing models it."},
    Entry{Caveat::cloud, "cloud", "The frame lost light against the best of its night."},
    Entry{Caveat::uneven_transparency, "uneven-transparency",
          "The comparison stars scatter more than their noise: thin or moving cloud."},
    Entry{Caveat::trailed, "trailed", "The stars are elongated."},
    Entry{Caveat::few_comparison_stars, "few-comparison-stars",
          "Fewer than three comparison stars carry the zero point."},
    Entry{Caveat::no_check_star, "no-check-star", "No check star confirms the zero point."},
    Entry{Caveat::check_star_off, "check-star-off", "The check star misses its catalogue magnitude."},
    Entry{Caveat::colour_unknown, "colour-unknown",
          "No colour term was applied: the transient's colour, or the instrument's term, is not known."},
    Entry{Caveat::colour_extrapolated, "colour-extrapolated",
          "The transient's colour lies outside the colours of the comparison stars."},
    Entry{Caveat::spectrum_not_stellar, "spectrum-not-stellar",
          "A colour term measured on stars was applied to a transient, whose spectrum differs."},
    Entry{Caveat::time_uncertain, "time-uncertain",
          "The header does not say when the light was gathered; the middle of the interval is used."},
    Entry{Caveat::gain_assumed, "gain-assumed",
          "The gain is a guess: nothing tells it, or a stack whose header does not say how it was made."},
    Entry{Caveat::read_noise_assumed, "read-noise-assumed", "The read noise is not known."},
    Entry{Caveat::low_altitude, "low-altitude", "The airmass is above 3."},
    Entry{Caveat::pointing_off, "pointing-off", "The stars sit far from where the plate solution puts them."},
    Entry{Caveat::no_airmass, "no-airmass", "The site is not known, so there is no airmass."},
    Entry{Caveat::saturation_assumed, "saturation-assumed",
          "The saturation level is not known; the limit of the pixel type is assumed."},
    Entry{Caveat::single_frame, "single-frame", "One frame only: its scatter cannot be checked."},
    Entry{Caveat::scattered_frames, "scattered-frames", "The frames scatter more than their errors allow."},
    Entry{Caveat::sequence_mixed_band, "sequence-mixed-band",
          "The band has no sequence of its own and is calibrated on a neighbour's."},
    Entry{Caveat::cosmic_ray, "cosmic-ray", "A cosmic ray hit the transient; its pixels were masked."},
    Entry{Caveat::template_other_band, "template-other-band",
          "The host was taken away with a template of another band, whose colours differ."},
    Entry{Caveat::host_modelled, "host-modelled",
          "The host's light under the transient was modelled, not measured; its error is in the common one."},
    Entry{Caveat::on_nucleus, "on-nucleus",
          "The transient sits on the host's nucleus, where only a template tells the two apart."},
    Entry{
        Caveat::undersampled, "undersampled",
        "The stars are so sharp that where they fall on the pixels changes their light; it is in the error."},
    Entry{Caveat::not_calibrated, "not-calibrated",
          "No calibration frame of the campaign fits this frame, or not of every kind."},
    Entry{Caveat::stack_inferred, "stack-inferred",
          "The header does not say how exposures were stacked; the pixels told it."},
    Entry{Caveat::pattern_doubtful, "pattern-doubtful",
          "The pixels contradict the colour pattern that the header or the campaign gives."},
    Entry{Caveat::processed, "processed",
          "The picture shows signs of processing after which pixels no longer count light."},
    Entry{Caveat::flip_step, "flip-step",
          "Stars change brightness where the field turns round on the sensor: the flat field is not right."},
    Entry{Caveat::measured_on_stack, "measured-on-stack",
          "Measured on one deep frame made of the night's, since single ones show too little."},
};

const Entry& entry(Caveat caveat) {
    for (const Entry& e : entries) {
        if (e.caveat == caveat) return e;
    }
    static constexpr Entry unknown{Caveat::saturated, "unknown", "From a newer version of the program."};
    return unknown;
}

}  // namespace

std::string_view word(Caveat caveat) {
    return entry(caveat).word;
}

std::string_view sentence(Caveat caveat) {
    return entry(caveat).sentence;
}

std::vector<Caveat> Caveats::list() const {
    std::vector<Caveat> found;
    for (unsigned bit = 0; bit < 64; ++bit) {
        if ((bits_ >> bit) & 1U) found.push_back(static_cast<Caveat>(bit));
    }
    return found;
}

std::string Caveats::words() const {
    std::string joined;
    for (const Caveat c : list()) {
        if (!joined.empty()) joined += ';';
        joined += word(c);
    }
    return joined;
}

Result<Caveats> parse_caveats(std::string_view words) {
    Caveats caveats;
    while (!words.empty()) {
        const auto end = words.find(';');
        const std::string_view one = words.substr(0, end);
        bool known = false;
        for (const Entry& e : entries) {
            if (e.word == one) {
                caveats.add(e.caveat);
                known = true;
            }
        }
        if (!known) {
            return fail({.what = "'" + std::string(one) + "' is not a flag.",
                         .mend = "Flags are words such as 'cloud' or 'saturated', joined by ';'."});
        }
        words = end == std::string_view::npos ? std::string_view{} : words.substr(end + 1);
    }
    return caveats;
}

}  // namespace quantities
}  // namespace emberline
