// SPDX-License-Identifier: MIT
// quantities/caveat — what a reader of a value should know, carried with it to the last report.
// The words are the `flags` of the tables, and the same everywhere: command, page, report, ledger.
#pragma once

#include <cstdint>
#include <initializer_list>
#include <string>
#include <string_view>
#include <vector>

#include "quantities/problem.hpp"

namespace emberline {
inline namespace quantities {

// Numbers are stored in ledgers as bit positions: append, never renumber.
enum class Caveat : std::uint8_t {
    saturated = 0,              // a pixel under the aperture is at or above saturation
    not_linear = 1,             // … or above the level up to which the sensor is linear
    edge = 2,                   // the aperture or its annulus is cut by the frame's edge
    bad_pixels = 3,             // undefined pixels under the aperture were filled from their surroundings
    blended = 4,                // another source reaches into the aperture
    sky_gradient = 5,           // a plane was fitted to the local sky
    crowded_sky = 6,            // more than half of the annulus was clipped away
    host_unmodelled = 7,        // light under the aperture is not flat and nothing models it
    cloud = 8,                  // the frame lost light against the night's best
    uneven_transparency = 9,    // comparison stars scatter more than their noise: thin or moving cloud
    trailed = 10,               // stars are elongated
    few_comparison_stars = 11,  // fewer than three
    no_check_star = 12,         // nothing independent confirms the zero point
    check_star_off = 13,        // the check star misses its catalogue magnitude by more than 3 sigma
    colour_unknown = 14,        // no colour term applied: the transient's colour, or the term, is not known
    colour_extrapolated = 15,   // the transient's colour lies outside the sequence's
    spectrum_not_stellar = 16,  // a colour term from stars was applied to a transient
    time_uncertain = 17,        // the middle of the whole interval stands for the middle of the light
    gain_assumed = 18,          // the gain is a guess
    read_noise_assumed = 19,    // the read noise is a guess
    low_altitude = 20,          // airmass above 3
    pointing_off = 21,          // the stars sit far from where the plate solution puts them
    no_airmass = 22,            // no site: no airmass, no scintillation, no barycentric time from its place
    saturation_assumed = 23,    // the saturation level is a guess from the pixel type
    single_frame = 24,          // a night of one frame: its scatter cannot be checked
    scattered_frames = 25,      // the night's frames scatter more than their errors
    sequence_mixed_band = 26,   // calibrated on another band's sequence (CV on V, TG on V …)
    cosmic_ray = 27,            // one hit the transient and was masked
    template_other_band = 28,   // the host was taken away by a template of another band
    host_modelled = 29,         // the host under the transient is a model's guess, its error common
    on_nucleus = 30,            // the transient sits on the host's nucleus: only a template tells them apart
    undersampled = 31,          // stars so sharp that where they fall on the pixels changes their light
    not_calibrated = 32,        // the campaign names masters, and none of a kind fits this frame
    stack_inferred = 33,        // how exposures were stacked was told by the pixels, not by the header
    pattern_doubtful = 34,      // what the pixels or stars say contradicts the mosaic's pattern
    processed = 35,             // it shows signs of processing after which pixels do not count light
    flip_step = 36,             // stars change brightness where the field turns round on the sensor
    measured_on_stack = 37,     // on one deep frame made of the night's, where single ones show too little
};

// The word written in `flags`, e.g. "host-unmodelled".
[[nodiscard]] std::string_view word(Caveat caveat);
// One plain sentence for a person.
[[nodiscard]] std::string_view sentence(Caveat caveat);

class Caveats {
  public:
    constexpr Caveats() = default;
    constexpr Caveats(std::initializer_list<Caveat> list) {
        for (const Caveat c : list)
            add(c);
    }
    static constexpr Caveats from_bits(std::uint64_t bits) {
        Caveats c;
        c.bits_ = bits;
        return c;
    }
    constexpr void add(Caveat c) { bits_ |= std::uint64_t{1} << static_cast<unsigned>(c); }
    constexpr void remove(Caveat c) { bits_ &= ~(std::uint64_t{1} << static_cast<unsigned>(c)); }
    constexpr void add(Caveats other) { bits_ |= other.bits_; }
    [[nodiscard]] constexpr bool has(Caveat c) const {
        return ((bits_ >> static_cast<unsigned>(c)) & 1U) != 0;
    }
    [[nodiscard]] constexpr bool empty() const { return bits_ == 0; }
    [[nodiscard]] constexpr std::uint64_t bits() const { return bits_; }
    // In the order of the enumeration.
    [[nodiscard]] std::vector<Caveat> list() const;
    // Words joined by ';', empty when there are none.
    [[nodiscard]] std::string words() const;
    bool operator==(const Caveats&) const = default;

  private:
    std::uint64_t bits_ = 0;
};

// Reads "cloud;trailed". Problem: a word that is none of ours.
[[nodiscard]] Result<Caveats> parse_caveats(std::string_view words);

}  // namespace quantities
}  // namespace emberline
