// SPDX-License-Identifier: MIT
#include "standard/colour_equations.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <optional>
#include <stdexcept>

#include "embedded/colour_equations_table.hpp"
#include "quantities/delimited_table.hpp"
#include "quantities/text.hpp"

namespace emberline::standard {
namespace {

// The table is ours and compiled in: a fault in it is our own mistake and stops the program at once.
std::vector<ColourEquation> load_equations() {
    const auto table = parse_table(embedded::colour_equations_table, "data/colour_equations.csv");
    if (!table) throw std::logic_error(one_line(table.error()));
    std::vector<ColourEquation> equations;
    for (const TableRow& row : table->rows) {
        const auto text = [&](std::string_view column) { return row.fields.at(*table->column(column)); };
        const auto number = [&](std::string_view column) { return parse_number(text(column)).value(); };
        ColourEquation e{.name = text("name"),
                         .system = text("system"),
                         .result = parse_band(text("result")).value(),
                         .base = text("base"),
                         .blue = text("blue"),
                         .red = text("red"),
                         .coefficients = {},
                         .least_colour_mag = number("least"),
                         .most_colour_mag = number("most"),
                         .limit_blue = text("limit_blue"),
                         .limit_red = text("limit_red"),
                         .limit_most_mag = 0.0,
                         .scatter_mag = number("scatter"),
                         .preference = static_cast<int>(number("preference")),
                         .source = text("source"),
                         .from_memory = text("from_memory") == "1"};
        if (!e.limit_blue.empty()) e.limit_most_mag = number("limit_most");
        if (!text("limit_slope").empty()) e.limit_slope = number("limit_slope");
        const std::string coefficients = text("coefficients");
        for (const std::string_view c : split(coefficients, ' '))
            e.coefficients.push_back(parse_number(c).value());
        equations.push_back(std::move(e));
    }
    return equations;
}

std::optional<ValueWithError> find(const NativeMagnitudes& star, const std::string& name) {
    const auto found = star.find(name);
    return found == star.end() ? std::nullopt : std::optional(found->second);
}

// " - 0.5784 (0.445)^1" without the hat where it says nothing.
std::string term(double coefficient, std::size_t power, const std::string& colour) {
    std::string text = fmt::format(" {} {:.7g}", coefficient < 0.0 ? '-' : '+', std::abs(coefficient));
    if (power > 0) text += " " + colour;
    if (power > 1) text += fmt::format("^{}", power);
    return text;
}

std::string terms(const ColourEquation& e, const std::string& colour) {
    std::string text;
    for (std::size_t k = 0; k < e.coefficients.size(); ++k)
        text += term(e.coefficients[k], k, colour);
    return text;
}

Problem missing(const ColourEquation& e, const std::string& name) {
    return {.what = fmt::format("{} is missing, which the relation '{}' needs.", name, e.name),
            .where = {},
            .mend = "Ask the service for that magnitude too."};
}

Problem out_of_range(const ColourEquation& e, const std::string& condition, double colour) {
    return {.what = fmt::format("The colour {:.3f} is outside the range of the relation '{}': {}.", colour,
                                e.name, condition),
            .where = {},
            .mend = "Such a star is not converted; take another."};
}

// Every relation can be worked on it. Johnson's U lies above B, as the relations for U - B < 0 need.
NativeMagnitudes example_star() {
    NativeMagnitudes star;
    for (const auto& [name, mag] : std::initializer_list<std::pair<const char*, double>>{{"G", 13.000},
                                                                                         {"BP", 13.350},
                                                                                         {"RP", 12.530},
                                                                                         {"u", 16.480},
                                                                                         {"g", 15.234},
                                                                                         {"r", 14.789},
                                                                                         {"i", 14.621},
                                                                                         {"z", 14.550},
                                                                                         {"gP1", 15.234},
                                                                                         {"rP1", 14.789},
                                                                                         {"iP1", 14.621},
                                                                                         {"U", 15.100},
                                                                                         {"B", 15.300},
                                                                                         {"V", 14.900},
                                                                                         {"Rc", 14.600},
                                                                                         {"Ic", 14.300}})
        star[name] = {mag, 0.0};
    return star;
}

}  // namespace

double ColourEquation::shift_mag(double colour_mag) const {
    double sum = 0.0;
    for (auto c = coefficients.rbegin(); c != coefficients.rend(); ++c)
        sum = sum * colour_mag + *c;
    return sum;
}

double ColourEquation::slope(double colour_mag) const {
    double sum = 0.0;
    for (std::size_t k = coefficients.size() - 1; k > 0; --k)
        sum = sum * colour_mag + static_cast<double>(k) * coefficients[k];
    return sum;
}

std::string ColourEquation::formula() const {
    std::string second;
    if (limit_slope != 0.0) second = term(limit_slope, 1, fmt::format("({} - {})", limit_blue, limit_red));
    return fmt::format("{} = {}{}{}, c = {} - {}", result.name(), base, terms(*this, "c"), second, blue, red);
}

const std::vector<ColourEquation>& colour_equations() {
    static const std::vector<ColourEquation> equations = load_equations();
    return equations;
}

Result<ConvertedMagnitude> convert(const ColourEquation& e, const NativeMagnitudes& star) {
    const auto base = find(star, e.base), blue = find(star, e.blue), red = find(star, e.red);
    if (!base) return fail(missing(e, e.base));
    if (!blue) return fail(missing(e, e.blue));
    if (!red) return fail(missing(e, e.red));
    const double colour = blue->value - red->value;
    // Also false where a magnitude is not a number.
    if (!(colour >= e.least_colour_mag && colour <= e.most_colour_mag)) {
        return fail(out_of_range(
            e, fmt::format("{:g} <= {} - {} <= {:g}", e.least_colour_mag, e.blue, e.red, e.most_colour_mag),
            colour));
    }
    double second_shift = 0.0;
    if (!e.limit_blue.empty()) {
        const auto limit_blue = find(star, e.limit_blue), limit_red = find(star, e.limit_red);
        if (!limit_blue) return fail(missing(e, e.limit_blue));
        if (!limit_red) return fail(missing(e, e.limit_red));
        const double other = limit_blue->value - limit_red->value;
        if (!(other < e.limit_most_mag)) {
            return fail(out_of_range(
                e, fmt::format("{} - {} < {:g}", e.limit_blue, e.limit_red, e.limit_most_mag), other));
        }
        second_shift = e.limit_slope * other;
    }
    // One magnitude may stand in two places: its derivatives add before they are squared.
    std::map<std::string, double> derivative;
    derivative[e.base] += 1.0;
    derivative[e.blue] += e.slope(colour);
    derivative[e.red] -= e.slope(colour);
    if (e.limit_slope != 0.0) {
        derivative[e.limit_blue] += e.limit_slope;
        derivative[e.limit_red] -= e.limit_slope;
    }
    double variance = e.scatter_mag * e.scatter_mag;
    for (const auto& [name, d] : derivative)
        variance += std::pow(d * star.at(name).err, 2);
    return ConvertedMagnitude{
        .magnitude = {base->value + e.shift_mag(colour) + second_shift, std::sqrt(variance)},
        .colour_mag = colour,
        .equation = &e};
}

Result<ConvertedMagnitude> convert(const Band& band, const NativeMagnitudes& star) {
    std::vector<const ColourEquation*> candidates;
    for (const ColourEquation& e : colour_equations()) {
        if (e.result == band) candidates.push_back(&e);
    }
    std::stable_sort(candidates.begin(), candidates.end(),
                     [](const auto* a, const auto* b) { return a->preference < b->preference; });
    std::optional<Problem> nearest, lacking;
    for (const ColourEquation* e : candidates) {
        auto converted = convert(*e, star);
        if (converted) return converted;
        const bool has_colour = star.contains(e->base) && star.contains(e->blue) && star.contains(e->red);
        if (has_colour && !nearest) nearest = converted.error();
        if (star.contains(e->base) && !lacking) lacking = converted.error();
    }
    if (nearest) return fail(std::move(*nearest));
    if (lacking) return fail(std::move(*lacking));
    std::string names;
    for (const auto& [name, value] : star)
        names += fmt::format("{}{}", names.empty() ? "" : ", ", name);
    return fail({.what = fmt::format("No published relation leads to {} from {}.", band.name(),
                                     names.empty() ? "no magnitude at all" : names),
                 .where = {},
                 .mend = "Take a catalogue that has the band, or other magnitudes of this one."});
}

std::vector<WorkedEquation> worked_equations() {
    std::vector<WorkedEquation> worked;
    const NativeMagnitudes star = example_star();
    for (const ColourEquation& e : colour_equations()) {
        NativeMagnitudes own;
        for (const std::string& name : {e.base, e.blue, e.red, e.limit_blue, e.limit_red}) {
            if (!name.empty()) own[name] = star.at(name);
        }
        const auto converted = convert(e, own);
        std::string second;
        if (e.limit_slope != 0.0) {
            second = term(e.limit_slope, 1,
                          fmt::format("({:.3f})", own.at(e.limit_blue).value - own.at(e.limit_red).value));
        }
        if (!converted) throw std::logic_error(one_line(converted.error()));
        worked.push_back({.equation = &e,
                          .star = own,
                          .result_mag = converted->magnitude.value,
                          .arithmetic = fmt::format("{:.3f}{}{} = {:.4f}", own.at(e.base).value,
                                                    terms(e, fmt::format("({:.3f})", converted->colour_mag)),
                                                    second, converted->magnitude.value)});
    }
    return worked;
}

std::string colour_equation_table() {
    std::string text;
    for (const WorkedEquation& w : worked_equations()) {
        const ColourEquation& e = *w.equation;
        text += fmt::format("{}  ({})\n  {}\n", e.name, e.system, e.formula());
        text += fmt::format("  range   {:g} <= {} - {} <= {:g}", e.least_colour_mag, e.blue, e.red,
                            e.most_colour_mag);
        if (!e.limit_blue.empty())
            text += fmt::format(", {} - {} < {:g}", e.limit_blue, e.limit_red, e.limit_most_mag);
        text += fmt::format("\n  scatter {:g} mag\n  source  {}{}\n", e.scatter_mag, e.source,
                            e.from_memory ? " (coefficients or scatter from memory)" : "");
        std::string given;
        for (const auto& [name, mag] : w.star)
            given += fmt::format("{}{} = {:.3f}", given.empty() ? "" : ", ", name, mag.value);
        text += fmt::format("  worked  {}: {}\n", given, w.arithmetic);
    }
    return text;
}

}  // namespace emberline::standard
