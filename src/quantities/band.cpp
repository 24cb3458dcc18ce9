// SPDX-License-Identifier: MIT
#include "quantities/band.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <stdexcept>

#include "embedded/bands_table.hpp"
#include "quantities/delimited_table.hpp"
#include "quantities/text.hpp"

namespace emberline {
inline namespace quantities {
namespace {

// The table is ours and compiled in: a fault in it is our own mistake and stops the program at once.
std::vector<BandFacts> load_bands() {
    const auto table = parse_table(embedded::bands_table, "data/bands.csv");
    if (!table) throw std::logic_error(one_line(table.error()));
    std::vector<BandFacts> bands;
    for (const TableRow& row : table->rows) {
        const auto text = [&](std::string_view column) { return row.fields.at(*table->column(column)); };
        const auto number = [&](std::string_view column) { return parse_number(text(column)).value(); };
        BandFacts band{.name = text("name"),
                       .network_code = text("network_code"),
                       .calibrated_on = text("calibrated_on"),
                       .system = text("system"),
                       .wavelength_nm = number("wavelength_nm"),
                       .width_nm = number("width_nm"),
                       .extinction_mag_per_airmass = number("extinction"),
                       .extinction_err = number("extinction_err"),
                       .colour_blue = text("blue"),
                       .colour_red = text("red"),
                       .aliases = {}};
        const std::string aliases = text("aliases");
        for (const std::string_view alias : split(aliases, ';')) {
            if (!alias.empty()) band.aliases.emplace_back(alias);
        }
        bands.push_back(std::move(band));
    }
    return bands;
}

}  // namespace

const std::vector<BandFacts>& all_bands() {
    static const std::vector<BandFacts> bands = load_bands();
    return bands;
}

Result<Band> parse_band(std::string_view text) {
    text = trimmed(text);
    for (const BandFacts& band : all_bands()) {
        if (band.name == text) return Band(band.name);
    }
    for (const BandFacts& band : all_bands()) {
        if (band.network_code == text ||
            std::find(band.aliases.begin(), band.aliases.end(), text) != band.aliases.end()) {
            return Band(band.name);
        }
    }
    std::string known;
    for (const BandFacts& band : all_bands())
        known += (known.empty() ? "" : " ") + band.name;
    return fail({.what = fmt::format("'{}' is not a band.", text),
                 .mend = fmt::format("Known bands: {}. Map a filter's own name to one of them with "
                                     "[instrument] bands = {{ \"{}\" = \"V\" }}.",
                                     known, text)});
}

const BandFacts& facts(const Band& band) {
    for (const BandFacts& candidate : all_bands()) {
        if (candidate.name == band.name()) return candidate;
    }
    throw std::logic_error("facts() of an empty band");
}

Band sequence_band(const Band& band) {
    return parse_band(facts(band).calibrated_on).value();
}

Result<ColourIndex> parse_colour_index(std::string_view text) {
    const auto parts = split(text, '-');
    if (parts.size() == 2) {
        const auto blue = parse_band(parts[0]);
        const auto red = parse_band(parts[1]);
        if (blue && red && *blue != *red) return ColourIndex{*blue, *red};
    }
    return fail({.what = fmt::format("'{}' is not a colour index.", text),
                 .mend = "Write two bands joined by a minus sign, such as B-V or g-r."});
}

std::optional<ColourIndex> usual_colour(const Band& band) {
    const BandFacts& known = facts(band);
    const auto blue = parse_band(known.colour_blue);
    const auto red = parse_band(known.colour_red);
    if (!blue || !red) return std::nullopt;
    return ColourIndex{*blue, *red};
}

}  // namespace quantities
}  // namespace emberline
