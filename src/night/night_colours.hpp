// SPDX-License-Identifier: MIT
// night/night_colours — the transient's colour on each night, from the bands that were observed together
// (three from every frame of a colour camera). Private to this room.
#pragma once

#include <map>
#include <optional>
#include <string>
#include <vector>

#include "night/measurement.hpp"
#include "night/solve_band.hpp"
#include "quantities/value_with_error.hpp"

namespace emberline::night {

// Each band's own light is a part of its colour: what a magnitude has in common with the colour that corrects
// it is kept.
struct NightColour {
    ValueWithError value;                     // error: of the night's light alone
    std::map<std::string, double> noise_mag;  // band -> d(colour) for one sigma of that band's light, signed
    std::vector<CommonComponent> common;      // d(colour) for one sigma of each
};

// The transient's colour in the band's index: one value, or one a night where bands tell it.
struct TransientColour {
    std::string index;             // "B-V"
    std::optional<double> always;  // from the settings
    std::map<std::string, NightColour> of_night;
    [[nodiscard]] std::optional<NightColour> on(const std::string& night) const;
};

// The common errors of a zero point by name, d(zero point)/d(globals) given; with a colour term applied, its
// error too.
[[nodiscard]] std::vector<CommonComponent> named_components(const BandSolution& solution,
                                                            std::vector<double> gradient,
                                                            const standard::ColourShift& colour);
// The correction that was not made: a term that may be as large as its prior, or a colour that may lie as far
// from the sequence's as stars and transients do. `colour`: where it is known.
[[nodiscard]] CommonComponent untold_colour_term(const BandSolution& solution,
                                                 std::optional<double> colour_mag);
// `factor` times `from` joins what is there; the same name is the same unknown.
void add_components(std::vector<CommonComponent>& to, const std::vector<CommonComponent>& from,
                    double factor);

class NightColours {
  public:
    NightColours(const std::vector<BandSolution>& solutions, const Campaign& campaign);
    [[nodiscard]] TransientColour of(const BandSolution& solution) const;

  private:
    // On the band's natural system, before any colour term; absent below the limit.
    struct Natural {
        double magnitude_mag = 0.0, err_mag = 0.0;
        std::vector<double> gradient;
    };
    struct Member {
        const BandSolution* solution;
        std::map<std::string, Natural> nights;
    };
    struct OnNight {
        const BandSolution* solution;
        const Natural* natural;
    };
    [[nodiscard]] std::map<Band, OnNight> observed(const std::string& instrument,
                                                   const std::string& night) const;
    [[nodiscard]] std::optional<NightColour> colour(const std::map<Band, OnNight>& bands,
                                                    const ColourIndex& index) const;

    const Campaign& campaign_;
    std::vector<Member> members_;
};

}  // namespace emberline::night
