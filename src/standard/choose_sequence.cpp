// SPDX-License-Identifier: MIT
#include "standard/choose_sequence.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <limits>
#include <map>
#include <numbers>
#include <set>
#include <tuple>

#include "numerics/robust.hpp"
#include "standard/chosen_labels.hpp"
#include "standard/zero_point_design.hpp"

namespace emberline::standard {
namespace {

// Across a pixel's blur and an epoch's error the same star.
constexpr double former_star_arcsec = 2.0;
// common practice, no source: a star's error that no catalogue states; photons of a star as bright as the
// transient; what a detector that is not quite linear makes of a magnitude of difference; what an unknown
// colour may differ.
constexpr double floor_mag = 0.01, photon_mag = 0.005, linearity = 0.003, unknown_colour_mag = 0.04;
// A check star costs as much as one unit of each of these differences.
constexpr double check_magnitude = 1.0, check_colour = 0.3, check_err_mag = 0.03, check_distance = 0.5;
constexpr std::size_t few_stars = 5, least_for_a_check_star = 3;
constexpr double narrow_colours_mag = 0.3, far_check_mag = 1.5;

struct Words {
    std::string_view word, sentence;
};

// In the order of NotTaken.
constexpr Words words[] = {
    {"no_magnitude", "No magnitude in the band of the labels."},
    {"outside_field", "Outside the field, or nearer to its edge than the margin."},
    {"on_transient", "So near the transient that each disturbs the other."},
    {"on_host", "On the host galaxy."},
    {"too_bright", "Brighter than the range of magnitudes."},
    {"too_faint", "Fainter than the range of magnitudes."},
    {"ignored", "Set to ignore in the sequence so far."},
    {"variable", "Marked as variable by the catalogue."},
    {"several", "Marked as more than one star by the catalogue."},
    {"extended", "Marked as a galaxy by the catalogue."},
    {"doubtful", "Marked as doubtful by the catalogue."},
    {"large_error", "The magnitude's error is above the limit."},
    {"other_colour", "Too far from the transient's colour."},
    {"neighbour", "Neighbours add too much light."},
    {"not_needed", "Good, but there are enough better ones."},
};

const Words& words_of(NotTaken reason) {
    return words[static_cast<std::size_t>(reason)];
}

struct Candidate {
    std::size_t index = 0;
    const StandardStar* star = nullptr;
    SkyOffset at;  // from the transient
    double distance_arcmin = 0.0;
    ValueWithError magnitude;
    std::optional<double> colour_mag;
    double added_mmag = 0.0;
    const FormerStar* former = nullptr;
};

std::string arcmin_text(double arcmin) {
    return arcmin < 2.0 ? fmt::format("{:.0f}″", 60.0 * arcmin) : fmt::format("{:.1f}′", arcmin);
}

// The criteria that one star alone decides, in the order of NotTaken.
class Judge {
  public:
    Judge(const ChoiceSettings& settings, Band magnitude_band, std::optional<ColourIndex> colour,
          const StarNeighbours& neighbours)
        : settings_(settings),
          band_(std::move(magnitude_band)),
          colour_(std::move(colour)),
          neighbours_(neighbours) {}

    // Everything but colour and neighbours.
    [[nodiscard]] std::optional<LeftOutStar> first_fault(const StandardStar& star, Candidate& c) const {
        const auto out = [&](NotTaken reason, std::string why) {
            return LeftOutStar{c.index, reason, std::move(why)};
        };
        const auto magnitude = star.magnitudes.find(band_);
        if (magnitude == star.magnitudes.end() || !std::isfinite(magnitude->second.value)) {
            return out(NotTaken::no_magnitude, fmt::format("no magnitude in {}", band_.name()));
        }
        c.magnitude = magnitude->second;
        const Angle distance = separation(settings_.transient, star.position);
        c.distance_arcmin = distance.arcseconds() / 60.0;
        c.at = offset(settings_.transient, star.position);
        if (!inside(c)) {
            return out(NotTaken::outside_field,
                       fmt::format("{} from the transient", arcmin_text(c.distance_arcmin)));
        }
        if (distance.arcseconds() < settings_.isolation_arcsec) {
            return out(NotTaken::on_transient,
                       fmt::format("{:.0f}″ from the transient", distance.arcseconds()));
        }
        const SkyPosition host = settings_.nucleus.value_or(settings_.transient);
        const double from_host = separation(host, star.position).arcseconds();
        if (from_host < settings_.host_radius_arcsec)
            return out(NotTaken::on_host, fmt::format("{:.0f}″ from the host's middle", from_host));
        const std::string shown = fmt::format("{} {:.2f}", band_.name(), c.magnitude.value);
        if (c.magnitude.value < settings_.brightest_mag) return out(NotTaken::too_bright, shown);
        if (c.magnitude.value > settings_.faintest_mag) return out(NotTaken::too_faint, shown);
        c.former = former(star.position);
        if (c.former != nullptr && c.former->role == Role::ignore) {
            return out(NotTaken::ignored, fmt::format("'{}' of the sequence so far", c.former->label));
        }
        if (star.marks.variable) return out(NotTaken::variable, star.marks.why);
        if (star.marks.several) return out(NotTaken::several, star.marks.why);
        if (star.marks.extended) return out(NotTaken::extended, star.marks.why);
        if (star.marks.doubtful) return out(NotTaken::doubtful, star.marks.why);
        // Not "above the limit": an error that is no number is above it too.
        if (!(c.magnitude.err <= settings_.most_err_mag)) {
            return out(NotTaken::large_error, fmt::format("{} ± {:.3f}", shown, c.magnitude.err));
        }
        c.colour_mag = colour_of(star);
        return std::nullopt;
    }

    [[nodiscard]] std::optional<LeftOutStar> fault_of_colour(const Candidate& c, double expected) const {
        if (!c.colour_mag || std::abs(*c.colour_mag - expected) <= settings_.most_colour_difference)
            return std::nullopt;
        return LeftOutStar{c.index, NotTaken::other_colour,
                           fmt::format("{} {:.2f}", colour_->name(), *c.colour_mag)};
    }

    [[nodiscard]] std::optional<LeftOutStar> fault_of_neighbours(Candidate& c) const {
        c.added_mmag =
            neighbours_.added_mmag({c.star->position, c.magnitude.value}, settings_.isolation_arcsec);
        if (c.added_mmag <= settings_.most_added_mmag) return std::nullopt;
        return LeftOutStar{c.index, NotTaken::neighbour,
                           fmt::format("{:.0f} mmag brighter by them", c.added_mmag)};
    }

  private:
    [[nodiscard]] bool inside(const Candidate& c) const {
        const FieldShape& field = settings_.field;
        const double margin = field.edge_margin_arcmin;
        if (!field.half_width_arcmin || !field.half_height_arcmin)
            return c.distance_arcmin <= field.radius_arcmin - margin;
        // Behind the tangent plane everything would seem near.
        return c.distance_arcmin < 60.0 * 80.0 &&
               std::abs(c.at.east.arcseconds()) <= 60.0 * (*field.half_width_arcmin - margin) &&
               std::abs(c.at.north.arcseconds()) <= 60.0 * (*field.half_height_arcmin - margin);
    }

    [[nodiscard]] const FormerStar* former(const SkyPosition& position) const {
        const FormerStar* nearest = nullptr;
        double least = former_star_arcsec;
        for (const FormerStar& one : settings_.former) {
            const double distance = separation(one.position, position).arcseconds();
            if (distance < least) {
                least = distance;
                nearest = &one;
            }
        }
        return nearest;
    }

    [[nodiscard]] std::optional<double> colour_of(const StandardStar& star) const {
        if (!colour_) return std::nullopt;
        const auto blue = star.magnitudes.find(colour_->blue), red = star.magnitudes.find(colour_->red);
        if (blue == star.magnitudes.end() || red == star.magnitudes.end()) return std::nullopt;
        return blue->second.value - red->second.value;
    }

    const ChoiceSettings& settings_;
    Band band_;
    std::optional<ColourIndex> colour_;
    const StarNeighbours& neighbours_;
};

double field_radius_arcmin(const FieldShape& field) {
    if (!field.half_width_arcmin || !field.half_height_arcmin) return field.radius_arcmin;
    return std::hypot(*field.half_width_arcmin, *field.half_height_arcmin);
}

ZeroPointDesign::Place place_of(const Candidate& c, const ChoiceSettings& settings, double expected_colour) {
    const double fainter = c.magnitude.value - settings.transient_mag;
    const auto squared = [](double v) { return v * v; };
    double variance = squared(floor_mag) + squared(c.magnitude.err) + squared(c.added_mmag / 1000.0) +
                      squared(photon_mag) * std::pow(10.0, 0.4 * fainter) + squared(linearity * fainter);
    if (!c.colour_mag) variance += squared(unknown_colour_mag);
    const double radius_arcsec = 60.0 * field_radius_arcmin(settings.field);
    return {c.at.east.arcseconds() / radius_arcsec, c.at.north.arcseconds() / radius_arcsec,
            c.colour_mag ? *c.colour_mag - expected_colour : 0.0, variance};
}

double cost_as_check_star(const Candidate& c, const ChoiceSettings& settings, double expected_colour) {
    const double colour = c.colour_mag ? (*c.colour_mag - expected_colour) / check_colour : 1.0;
    const double magnitude = (c.magnitude.value - settings.transient_mag) / check_magnitude;
    const double distance = c.distance_arcmin / (check_distance * field_radius_arcmin(settings.field));
    const double err = c.magnitude.err / check_err_mag;
    return magnitude * magnitude + colour * colour + distance * distance + err * err;
}

// So that ties do not depend on the order of rows.
bool by_place(const Candidate& a, const Candidate& b) {
    const auto key = [](const Candidate& c) {
        return std::tuple(c.star->position.ra.radians(), c.star->position.dec.radians(), c.magnitude.value);
    };
    return key(a) < key(b);
}

bool brighter(const Candidate& a, const Candidate& b) {
    return a.magnitude.value != b.magnitude.value ? a.magnitude.value < b.magnitude.value : by_place(a, b);
}

// Moves the check star out of `good`; nothing where too few would be left.
std::optional<Candidate> take_check_star(std::vector<Candidate>& good, const ChoiceSettings& settings,
                                         double expected_colour) {
    if (good.size() < least_for_a_check_star) return std::nullopt;
    auto best = std::find_if(good.begin(), good.end(), [](const Candidate& c) {
        return c.former != nullptr && c.former->role == Role::check;
    });
    if (best == good.end()) {
        best = std::min_element(good.begin(), good.end(), [&](const Candidate& a, const Candidate& b) {
            return cost_as_check_star(a, settings, expected_colour) <
                   cost_as_check_star(b, settings, expected_colour);
        });
    }
    const Candidate check = *best;
    good.erase(best);
    return check;
}

// Moves the stars that pin the zero point best out of `good`. Returns what is left of its variance.
double take_comparison_stars(std::vector<Candidate>& good, const ChoiceSettings& settings,
                             double expected_colour, std::vector<Candidate>& taken) {
    ZeroPointDesign design;
    while (taken.size() < settings.wanted && !good.empty()) {
        auto best = good.end();
        double least = std::numeric_limits<double>::infinity();
        for (auto c = good.begin(); c != good.end(); ++c) {
            const double variance = design.variance_with(place_of(*c, settings, expected_colour));
            if (variance < least) {
                least = variance;
                best = c;
            }
        }
        design.add(place_of(*best, settings, expected_colour));
        taken.push_back(*best);
        good.erase(best);
    }
    return design.variance();
}

std::string_view direction(double east, double north) {
    constexpr std::string_view names[] = {"east", "north-east", "north", "north-west",
                                          "west", "south-west", "south", "south-east"};
    const double eighths = std::atan2(north, east) / (std::numbers::pi / 4.0);
    return names[static_cast<std::size_t>((std::lround(eighths) + 8) % 8)];
}

// Where all of them lie on one side of a line through the transient.
std::optional<std::string_view> one_side(const std::vector<Candidate>& stars) {
    std::vector<double> angles;
    double east = 0.0, north = 0.0;
    for (const Candidate& c : stars) {
        angles.push_back(std::atan2(c.at.north.radians(), c.at.east.radians()));
        east += c.at.east.radians();
        north += c.at.north.radians();
    }
    std::sort(angles.begin(), angles.end());
    double gap = angles.front() + 2.0 * std::numbers::pi - angles.back();
    for (std::size_t i = 1; i < angles.size(); ++i)
        gap = std::max(gap, angles[i] - angles[i - 1]);
    if (gap < std::numbers::pi) return std::nullopt;
    return direction(east, north);
}

void remark_on(SequenceChoice& choice, const std::vector<Candidate>& comparison,
               const std::optional<Candidate>& check, const ChoiceSettings& settings) {
    auto& remarks = choice.remarks;
    if (comparison.size() < few_stars) {
        remarks.push_back(
            fmt::format("Only {} comparison star{}: one that varies or is blended can hardly be told. A "
                        "wider --radius or "
                        "range of --magnitudes gives more.",
                        comparison.size(), comparison.size() == 1 ? "" : "s"));
    }
    if (comparison.size() > 1) {
        if (const auto side = one_side(comparison)) {
            remarks.push_back(
                fmt::format("All comparison stars lie on the {} side of a line through the transient: a tilt "
                            "of the zero point across the "
                            "frame goes into its magnitude.",
                            *side));
        }
    }
    double bluest = HUGE_VAL, reddest = -HUGE_VAL;
    for (const Candidate& c : comparison) {
        if (!c.colour_mag) continue;
        bluest = std::min(bluest, *c.colour_mag);
        reddest = std::max(reddest, *c.colour_mag);
    }
    if (!(reddest >= bluest)) {
        remarks.push_back("No star's colour is known: no colour term can be found from these stars.");
    } else if (reddest - bluest < narrow_colours_mag) {
        remarks.push_back(fmt::format(
            "The colours span only {:.2f} mag in {}: a colour term cannot be found from these stars.",
            reddest - bluest, choice.colour->name()));
    }
    if (!check) {
        remarks.push_back("Too few stars to set one aside as check star.");
    } else if (const double away = check->magnitude.value - settings.transient_mag;
               std::abs(away) > far_check_mag) {
        remarks.push_back(fmt::format("The check star is {:.1f} mag {} than the transient is expected to be.",
                                      std::abs(away), away < 0.0 ? "brighter" : "fainter"));
    }
}

void write_down(SequenceChoice& choice, std::vector<Candidate> comparison,
                const std::optional<Candidate>& check, const ChoiceSettings& settings) {
    std::vector<std::pair<Candidate, Role>> all;
    for (Candidate& c : comparison)
        all.emplace_back(c, Role::comparison);
    if (check) all.emplace_back(*check, Role::check);
    std::sort(all.begin(), all.end(),
              [](const auto& a, const auto& b) { return brighter(a.first, b.first); });
    std::vector<LabelWish> wishes;
    for (const auto& [c, role] : all)
        wishes.push_back({c.magnitude.value, c.former != nullptr ? c.former->label : std::string()});
    const auto labels = chart_labels(wishes);
    std::set<Band> held;
    for (std::size_t i = 0; i < all.size(); ++i) {
        const auto& [c, role] = all[i];
        ComparisonStar star{.label = labels[i], .position = c.star->position, .role = role};
        for (const Band& band : settings.bands) {
            const auto magnitude = c.star->magnitudes.find(band);
            if (magnitude == c.star->magnitudes.end()) continue;
            star.magnitudes.insert(*magnitude);
            held.insert(band);
        }
        choice.sequence.stars.push_back(std::move(star));
        choice.chosen.push_back({c.index, labels[i], role, c.distance_arcmin, c.colour_mag, c.added_mmag});
    }
    for (const Band& band : settings.bands)
        (held.contains(band) ? choice.sequence.bands : choice.without_stars).push_back(band);
}

Problem no_star_left(const SequenceChoice& choice, std::size_t of) {
    std::string became;
    for (const auto& [reason, count] : choice.counts())
        became += fmt::format("{}{} of them: {}", became.empty() ? "" : " ", count, sentence(reason));
    return {
        .what = of == 0 ? "The catalogue has no star with a usable magnitude."
                        : fmt::format("None of the catalogue's {} stars can be a comparison star. {}", of,
                                      became),
        .where = "",
        .mend = "Widen --radius, --magnitudes or --isolation, or take a catalogue that covers the field."};
}

}  // namespace

std::string_view sentence(NotTaken reason) {
    return words_of(reason).sentence;
}

std::string_view word(NotTaken reason) {
    return words_of(reason).word;
}

Band magnitude_band_of(const std::vector<Band>& bands, const std::vector<StandardStar>& stars) {
    const auto any_has = [&](const Band& band) {
        return std::any_of(stars.begin(), stars.end(),
                           [&](const StandardStar& s) { return s.magnitudes.contains(band); });
    };
    for (const Band& band : bands) {
        if (band.name() == "V" && any_has(band)) return band;
    }
    const auto first = std::find_if(bands.begin(), bands.end(), any_has);
    return first == bands.end() ? Band() : *first;
}

std::optional<ColourIndex> colour_of_choice(const Band& magnitude_band,
                                            const std::vector<StandardStar>& stars) {
    std::vector<ColourIndex> indices;
    if (const auto usual = usual_colour(magnitude_band)) indices.push_back(*usual);
    for (const char* name : {"V-Ic", "V-Rc", "g-r", "g-i", "r-i"})
        indices.push_back(parse_colour_index(name).value());
    for (const ColourIndex& index : indices) {
        std::size_t with = 0, of = 0;
        for (const StandardStar& star : stars) {
            if (!star.magnitudes.contains(magnitude_band)) continue;
            ++of;
            with += star.magnitudes.contains(index.blue) && star.magnitudes.contains(index.red) ? 1 : 0;
        }
        if (2 * with > of) return index;
    }
    return std::nullopt;
}

std::vector<std::pair<NotTaken, std::size_t>> SequenceChoice::counts() const {
    std::map<NotTaken, std::size_t> of;
    for (const LeftOutStar& star : left_out)
        ++of[star.reason];
    return {of.begin(), of.end()};
}

Result<SequenceChoice> choose_sequence(const std::vector<StandardStar>& candidates,
                                       const std::vector<Neighbour>& neighbours,
                                       const ChoiceSettings& settings) {
    // Every variance would be no number too, and none the least.
    if (!std::isfinite(settings.transient_mag)) {
        return fail({.what = "The transient's expected magnitude is not a number.",
                     .where = "--expected",
                     .mend = "Give it in magnitudes, such as 14.5, or leave it out.",
                     .kind = ProblemKind::request});
    }
    SequenceChoice choice;
    choice.magnitude_band = magnitude_band_of(settings.bands, candidates);
    if (choice.magnitude_band.empty()) return fail(no_star_left(choice, 0));
    choice.colour = colour_of_choice(choice.magnitude_band, candidates);
    auto lights = neighbours;
    lights.push_back({settings.transient, settings.transient_mag});
    const StarNeighbours around(lights);
    const Judge judge(settings, choice.magnitude_band, choice.colour, around);

    std::vector<Candidate> good;
    const auto leave = [&](std::optional<LeftOutStar> fault) {
        if (fault) choice.left_out.push_back(std::move(*fault));
        return fault.has_value();
    };
    for (std::size_t i = 0; i < candidates.size(); ++i) {
        Candidate c{.index = i, .star = &candidates[i]};
        if (!leave(judge.first_fault(candidates[i], c))) good.push_back(c);
    }
    std::vector<double> colours;
    for (const Candidate& c : good) {
        if (c.colour_mag) colours.push_back(*c.colour_mag);
    }
    const double expected_colour =
        settings.transient_colour.value_or(colours.empty() ? 0.0 : numerics::median(colours));
    std::erase_if(good, [&](const Candidate& c) { return leave(judge.fault_of_colour(c, expected_colour)); });
    // Only for the few that are left: it looks at all neighbours.
    for (Candidate& c : good) {
        if (leave(judge.fault_of_neighbours(c))) c.star = nullptr;
    }
    std::erase_if(good, [](const Candidate& c) { return c.star == nullptr; });
    if (good.empty()) return fail(no_star_left(choice, candidates.size()));
    std::sort(good.begin(), good.end(), by_place);

    const auto check = take_check_star(good, settings, expected_colour);
    std::vector<Candidate> comparison;
    choice.zero_point_err_mag = std::sqrt(take_comparison_stars(good, settings, expected_colour, comparison));
    for (const Candidate& c : good)
        choice.left_out.push_back({c.index, NotTaken::not_needed, "enough better stars"});
    std::sort(choice.left_out.begin(), choice.left_out.end(),
              [](const LeftOutStar& a, const LeftOutStar& b) { return a.index < b.index; });
    remark_on(choice, comparison, check, settings);
    write_down(choice, std::move(comparison), check, settings);
    return choice;
}

}  // namespace emberline::standard
