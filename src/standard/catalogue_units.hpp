// SPDX-License-Identifier: MIT
// standard/catalogue_units — the units of catalogues as their writers spell them. Private to this room.
// Sources: IVOA "Units in the VO" 1.1 (2023); CDS "Standards for Astronomical Catalogues" 2.0 (2000), section
// 3.2; the spellings of further programs are common practice, no source.
#pragma once

#include <optional>
#include <string_view>

namespace emberline::standard {

enum class PositionUnit { unsaid, degrees, hours, radians, arcseconds, sexagesimal };

// Nothing: a unit that is none of these.
[[nodiscard]] std::optional<PositionUnit> position_unit(std::string_view unit);

// Milliarcseconds in one: "mas", "arcsec", "deg". Nothing: another unit, or none.
[[nodiscard]] std::optional<double> mas_in(std::string_view unit);
// Milliarcseconds a year in one: "mas/yr", "mas.yr-1", "mas yr**-1", "arcsec / yr", "arcsec/ha" (a century).
[[nodiscard]] std::optional<double> mas_per_year_in(std::string_view unit);

[[nodiscard]] bool is_days(std::string_view unit);

// "J2016.0", "B1950", "2015.5", as a Julian year. Nothing: no epoch.
[[nodiscard]] std::optional<double> parse_epoch(std::string_view text);

// From photographic plates of the nineteenth century to what lies ahead.
[[nodiscard]] bool is_catalogue_epoch(double jyear);

}  // namespace emberline::standard
