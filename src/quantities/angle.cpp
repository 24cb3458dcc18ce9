// SPDX-License-Identifier: MIT
#include "quantities/angle.hpp"

#include <fmt/format.h>

#include <cmath>
#include <optional>
#include <vector>

#include "quantities/text.hpp"

namespace emberline {
inline namespace quantities {
namespace {

// Splits "a:b:c", "a b c" or "aXbYc" (X and Y unit letters) into its parts; nothing for a plain number.
std::optional<std::vector<double>> sexagesimal_parts(std::string_view text, std::string_view units) {
    std::string plain;
    for (std::size_t i = 0; i < text.size(); ++i) {
        const char c = text[i];
        const bool last = i + 1 == text.size();
        const bool unit = units.find(static_cast<char>(c | 0x20)) != std::string_view::npos && c >= 'A';
        if (unit && last) continue;
        plain += (c == ':' || c == ' ' || c == '\t' || unit) ? ':' : c;
    }
    std::vector<double> parts;
    const auto fields = split(plain, ':');
    if (fields.size() < 2 || fields.size() > 3) return std::nullopt;
    for (const std::string_view field : fields) {
        const bool sign_inside = !parts.empty() && !field.empty() && (field[0] == '-' || field[0] == '+');
        const auto value = parse_number(field);
        if (!value || sign_inside) return std::nullopt;
        parts.push_back(*value);
    }
    for (std::size_t i = 0; i + 1 < parts.size(); ++i) {
        if (parts[i] != std::trunc(parts[i])) return std::nullopt;
    }
    for (std::size_t i = 1; i < parts.size(); ++i) {
        if (parts[i] < 0.0 || parts[i] >= 60.0) return std::nullopt;
    }
    return parts;
}

// Why it cannot be read, where that can be told.
std::string advice_on(std::string_view text) {
    if (text.find("\u2212") != std::string_view::npos || text.find("\u2013") != std::string_view::npos)
        return "The minus sign is a printer's: type the keyboard's -. ";
    if (text.find(',') != std::string_view::npos) return "Decimals take a point, not a comma. ";
    if (text.find("\u00b0") != std::string_view::npos) return "Put colons in place of the signs. ";
    return {};
}

double joined(const std::vector<double>& parts, bool negative) {
    double value = std::abs(parts[0]) + parts[1] / 60.0;
    if (parts.size() > 2) value += parts[2] / 3600.0;
    return negative ? -value : value;
}

// What is no number, or no angle by its size, is printed as it is.
std::string sexagesimal(double value, int decimals) {
    if (!(std::abs(value) < 1e9)) return fmt::format("{}", value);
    const double scale = std::pow(10.0, decimals);
    const double units = std::round(std::abs(value) * 3600.0 * scale);
    const double whole_seconds = std::floor(units / scale);
    const double seconds = (units - whole_seconds * scale) / scale + std::fmod(whole_seconds, 60.0);
    const auto minutes = static_cast<long long>(std::floor(whole_seconds / 60.0));
    return fmt::format("{:02d}:{:02d}:{:0{}.{}f}", minutes / 60, minutes % 60, seconds,
                       decimals > 0 ? decimals + 3 : 2, decimals);
}

}  // namespace

Angle Angle::wrapped_positive() const {
    double degrees_ = std::fmod(degrees(), 360.0);
    if (degrees_ < 0.0) degrees_ += 360.0;
    if (degrees_ >= 360.0) degrees_ = 0.0;
    return degrees_ == degrees() ? *this : Angle::degrees(degrees_);
}

Result<Angle> parse_right_ascension(std::string_view text) {
    text = trimmed(text);
    if (const auto number = parse_number(text)) {
        if (*number >= 0.0 && *number < 360.0) return Angle::degrees(*number);
        return fail({.what = fmt::format("The right ascension {} is outside 0 to 360 degrees.", text),
                     .mend = "A plain number is read as degrees; write hours as \"13:25:21.12\"."});
    }
    const auto parts = sexagesimal_parts(text, "hms");
    if (parts && text.front() != '-' && (*parts)[0] >= 24.0 && (*parts)[0] < 360.0) {
        return fail(
            {.what = fmt::format("'{}' is not a right ascension: hours end at 24.", text),
             .mend = fmt::format("Degrees are written as a plain number, {:.6f}; or are right ascension "
                                 "and declination exchanged?",
                                 joined(*parts, false))});
    }
    if (!parts || text.front() == '-' || (*parts)[0] >= 24.0) {
        return fail({.what = fmt::format("'{}' is not a right ascension.", text),
                     .mend = advice_on(text) +
                             "Write \"13:25:21.12\" (hours) or a number of degrees from 0 to 360."});
    }
    return Angle::hours(joined(*parts, false));
}

Result<Angle> parse_degrees(std::string_view text, std::string_view name, double limit_deg) {
    text = trimmed(text);
    double degrees = 0.0;
    if (const auto number = parse_number(text)) {
        degrees = *number;
    } else if (const auto parts = sexagesimal_parts(text, "dms")) {
        degrees = joined(*parts, text.front() == '-');
    } else {
        return fail({.what = fmt::format("'{}' is not a {}.", text, name),
                     .mend = advice_on(text) + "Write \"+37:16:12.0\" or a number of degrees."});
    }
    if (std::abs(degrees) > limit_deg) {
        return fail({.what = fmt::format("The {} {} is outside ±{} degrees.", name, text, limit_deg),
                     .mend = "Check the value and its unit (degrees)."});
    }
    return Angle::degrees(degrees);
}

Result<Angle> parse_declination(std::string_view text) {
    return parse_degrees(text, "declination", 90.0);
}

std::string sexagesimal_hours(Angle angle, int decimals) {
    const std::string text = sexagesimal(angle.wrapped_positive().hours(), decimals);
    return text.starts_with("24:") ? "00:" + text.substr(3) : text;
}

std::string sexagesimal_degrees(Angle angle, int decimals) {
    return (angle.radians() < 0.0 ? "-" : "+") + sexagesimal(angle.degrees(), decimals);
}

}  // namespace quantities
}  // namespace emberline
