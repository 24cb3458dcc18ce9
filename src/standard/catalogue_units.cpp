// SPDX-License-Identifier: MIT
#include "standard/catalogue_units.hpp"

#include <algorithm>
#include <string>
#include <utility>

#include "quantities/text.hpp"
#include "sky/proper_motion.hpp"

namespace emberline::standard {
namespace {

using Spellings = std::initializer_list<std::string_view>;

// Lower case, without what is only there to look at.
std::string bare(std::string_view unit) {
    std::string out;
    for (const char c : lower_case(trimmed(unit))) {
        if (std::string_view(" \t\"'[]()").find(c) == std::string_view::npos) out += c;
    }
    return out;
}

bool among(std::string_view word, Spellings spellings) {
    return std::find(spellings.begin(), spellings.end(), word) != spellings.end();
}

// What stands under the fraction line: "yr" of "mas/yr", "mas.yr-1", "masyr**-1".
std::optional<std::pair<std::string, std::string>> fraction(const std::string& unit) {
    if (const auto slash = unit.find('/'); slash != std::string::npos)
        return std::pair(unit.substr(0, slash), unit.substr(slash + 1));
    for (const std::string_view power : {"**-1", "^-1", "-1"}) {
        if (!unit.ends_with(power)) continue;
        const std::string rest = unit.substr(0, unit.size() - power.size());
        for (const std::string_view time : {"year", "yr", "cy", "ha", "a"}) {
            if (!rest.ends_with(time)) continue;
            std::string above = rest.substr(0, rest.size() - time.size());
            while (above.ends_with('.') || above.ends_with('*'))
                above.pop_back();
            return std::pair(above, std::string(time));
        }
    }
    return std::nullopt;
}

}  // namespace

std::optional<PositionUnit> position_unit(std::string_view unit) {
    const std::string word = bare(unit);
    if (among(word, {"", "-", "--", "---", "none", "null"})) return PositionUnit::unsaid;
    if (among(word, {"deg", "degs", "degree", "degrees", "\xC2\xB0"})) return PositionUnit::degrees;
    if (among(word, {"h", "hr", "hrs", "hour", "hours", "hourangle"})) return PositionUnit::hours;
    if (among(word, {"rad", "radian", "radians"})) return PositionUnit::radians;
    if (among(word, {"arcsec", "arcsecond", "arcseconds"})) return PositionUnit::arcseconds;
    if (word.find(':') != std::string::npos || among(word, {"hms", "dms", "sexagesimal"}))
        return PositionUnit::sexagesimal;
    return std::nullopt;
}

std::optional<double> mas_in(std::string_view unit) {
    const std::string word = bare(unit);
    if (among(word, {"mas", "milliarcsec", "milliarcsecond", "milliarcseconds"})) return 1.0;
    if (among(word, {"uas", "microarcsec",
                     "\xC2\xB5"
                     "as"}))
        return 1e-3;
    if (among(word, {"arcsec", "arcsecond", "arcseconds", "as"})) return 1e3;
    if (position_unit(unit) == PositionUnit::degrees) return 3.6e6;
    if (position_unit(unit) == PositionUnit::radians) return Angle::radians(1.0).arcseconds() * 1e3;
    return std::nullopt;
}

std::optional<double> mas_per_year_in(std::string_view unit) {
    const auto parts = fraction(bare(unit));
    if (!parts) return std::nullopt;
    const auto above = mas_in(parts->first);
    if (!above) return std::nullopt;
    if (among(parts->second, {"yr", "a", "year", "years", "y"})) return *above;
    if (among(parts->second, {"ha", "cy", "century"})) return *above / 100.0;
    return std::nullopt;
}

bool is_days(std::string_view unit) {
    return among(bare(unit), {"d", "day", "days", "mjd", "jd"});
}

std::optional<double> parse_epoch(std::string_view text) {
    text = trimmed(text);
    const char letter = text.empty() ? '\0' : text.front();
    const bool named = letter == 'J' || letter == 'j' || letter == 'B' || letter == 'b';
    if (named) text.remove_prefix(1);
    const auto year = parse_number(text);
    if (!year) return std::nullopt;
    return letter == 'B' || letter == 'b' ? sky::epoch_jyear_of_besselian(*year) : *year;
}

bool is_catalogue_epoch(double jyear) {
    return jyear >= 1800.0 && jyear <= 2100.0;
}

}  // namespace emberline::standard
