// SPDX-License-Identifier: MIT
// standard/choose_sequence — which stars of a catalogue become comparison stars, which one the check star,
// and why the others do not. Needs: stars on the campaign's bands.  Feeds: comparison.csv. Choice: every star
// has a variance: its catalogue error, what its neighbours add, photons, and a floor for what no catalogue
// says. The next star is always the one that leaves the least variance of the transient's magnitude, averaged
// over the transient's colour, when the zero point, a tilt of the zero point across the field and the colour
// term are all fitted to the stars taken so far: an I-optimal design (Atkinson, Donev & Tobias 2007, chapter
// 10), found one star after the other. Stars near the transient in place, magnitude and colour come first;
// then those that lie opposite and those of other colours, since they pin the tilt and the term.
#pragma once

#include <cstddef>
#include <optional>
#include <string>
#include <string_view>
#include <utility>
#include <vector>

#include "quantities/band.hpp"
#include "quantities/problem.hpp"
#include "quantities/sky_position.hpp"
#include "standard/photometric_catalogue.hpp"
#include "standard/sequence.hpp"
#include "standard/star_neighbours.hpp"

namespace emberline::standard {

// Where stars may lie: a circle about the transient, or an upright box (east to west and north to south).
struct FieldShape {
    double radius_arcmin = 10.0;
    std::optional<double> half_width_arcmin, half_height_arcmin;  // both: the box instead
    double edge_margin_arcmin = 0.5;                              // inside of either
};

// A star of the sequence that is there so far.
struct FormerStar {
    std::string label;
    SkyPosition position;
    Role role = Role::comparison;  // ignore: by the observer, who will have had a reason
};

struct ChoiceSettings {
    std::vector<Band> bands;  // columns of the sequence; magnitudes and labels are in V, else in the first
                              // that any star has
    SkyPosition transient;
    double transient_mag = 13.5;             // about, in that band
    std::optional<double> transient_colour;  // in colour_of_choice(); absent: the median of the stars
    std::optional<SkyPosition> nucleus;
    double host_radius_arcsec = 30.0;  // nearer to the nucleus (else to the transient): on the host
    FieldShape field;
    double brightest_mag = 11.0, faintest_mag = 16.0;
    double isolation_arcsec = 15.0;       // see star_neighbours.hpp
    double most_added_mmag = 10.0;        // light of neighbours above: not taken
    double most_err_mag = 0.1;            // catalogue error above: not taken
    double most_colour_difference = 0.6;  // from the transient's, above: not taken
    std::size_t wanted = 12;              // comparison stars; the check star comes on top
    std::vector<FormerStar> former;       // the same star keeps its label, and the check star its role
};

enum class NotTaken {
    no_magnitude,
    outside_field,
    on_transient,
    on_host,
    too_bright,
    too_faint,
    ignored,
    variable,
    several,
    extended,
    doubtful,
    large_error,
    other_colour,
    neighbour,
    not_needed
};
[[nodiscard]] std::string_view sentence(NotTaken reason);
[[nodiscard]] std::string_view word(NotTaken reason);  // "too_bright"

struct ChosenStar {
    std::size_t index = 0;  // of the candidates
    std::string label;
    Role role = Role::comparison;
    double distance_arcmin = 0.0;      // from the transient
    std::optional<double> colour_mag;  // in `colour`
    double added_mmag = 0.0;           // by its neighbours
};

struct LeftOutStar {
    std::size_t index = 0;
    NotTaken reason = NotTaken::not_needed;
    std::string why;  // with its numbers
};

struct SequenceChoice {
    Sequence sequence;               // the brightest first; the check star among them
    std::vector<ChosenStar> chosen;  // in the sequence's order
    std::vector<LeftOutStar> left_out;
    Band magnitude_band;                // of labels and limits
    std::optional<ColourIndex> colour;  // absent: the stars have none
    std::vector<Band> without_stars;    // bands asked for that no chosen star has
    double zero_point_err_mag = 0.0;    // what the stars chosen leave of it; see above
    std::vector<std::string> remarks;   // few stars, a narrow range of colours, all on one side …
    [[nodiscard]] std::vector<std::pair<NotTaken, std::size_t>> counts() const;  // in the order of NotTaken
};

// V where any star has it, else the first of `bands` that any has; empty where none has.
[[nodiscard]] Band magnitude_band_of(const std::vector<Band>& bands, const std::vector<StandardStar>& stars);
// The usual one of the magnitude band where most of its stars have both, else V-Ic, V-Rc, g-r, g-i or r-i:
// the bands of the colour need not be columns of the sequence.
[[nodiscard]] std::optional<ColourIndex> colour_of_choice(const Band& magnitude_band,
                                                          const std::vector<StandardStar>& stars);

// The order of the candidates does not matter. Each star that is not taken has the first reason that holds,
// in the order of NotTaken. `neighbours` may hold the candidates themselves. Problem (input): no star is
// left; says what became of them. Problem (request): a transient's magnitude that is no number.
[[nodiscard]] Result<SequenceChoice> choose_sequence(const std::vector<StandardStar>& candidates,
                                                     const std::vector<Neighbour>& neighbours,
                                                     const ChoiceSettings& settings);

}  // namespace emberline::standard
