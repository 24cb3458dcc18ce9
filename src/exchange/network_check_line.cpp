// SPDX-License-Identifier: MIT
// One line of data against the rules of its fifteen fields.
#include <fmt/format.h>

#include <algorithm>

#include "exchange/network_findings.hpp"
#include "exchange/network_format.hpp"
#include "quantities/text.hpp"
#include "sky/time_scales.hpp"

namespace emberline::exchange {
namespace {

// "12/31/2007 12:59:59 a.m": month, day, year, and a clock of twelve hours or of twenty-four.
std::optional<double> julian_date_of_spreadsheet(std::string_view text) {
    std::vector<std::string_view> words;
    for (const std::string_view word : split(text, ' ')) {
        if (!word.empty()) words.push_back(word);
    }
    if (words.size() < 2 || words.size() > 3) return std::nullopt;
    const auto day = split(words[0], '/');
    const auto clock = split(words[1], ':');
    if (day.size() != 3 || day[2].size() != 4 || clock.size() < 2 || clock.size() > 3) return std::nullopt;
    std::vector<long long> n;
    for (const std::string_view part : {day[0], day[1], day[2], clock[0], clock[1]}) {
        const auto value = parse_integer(part);
        if (!value || *value < 0 || *value > 9999) return std::nullopt;
        n.push_back(*value);
    }
    if (words.size() == 3) {
        std::string half = lower_case(words[2]);
        std::erase(half, '.');
        if ((half != "am" && half != "pm") || n[3] < 1 || n[3] > 12) return std::nullopt;
        n[3] = n[3] % 12 + (half == "pm" ? 12 : 0);
    }
    const std::string_view second = clock.size() == 3 ? clock[2] : "00";
    const auto instant = sky::parse_instant(
        fmt::format("{:04}-{:02}-{:02}T{:02}:{:02}:{:0>2}", n[2], n[0], n[1], n[3], n[4], second));
    return instant ? std::optional(instant->jd()) : std::nullopt;
}

// Of the fields of one line.
class ObservationReader {
  public:
    ObservationReader(std::vector<std::string_view> fields, std::size_t line, const LineContext& context,
                      Findings& findings)
        : fields_(std::move(fields)), line_(line), context_(context), findings_(findings) {}

    std::optional<NetworkObservation> read() {
        NetworkObservation o;
        check_presence_and_length();
        o.star = text(NetworkField::star);
        const auto date = read_date();
        const auto magnitude = read_magnitude(o.fainter_than);
        read_error(o);
        read_filter(o);
        read_type(o);
        read_stars(o);
        read_circumstances(o);
        read_notes(o);
        if (o.star.empty() || !date || !magnitude) return std::nullopt;
        o.date = *date;
        o.magnitude_mag = *magnitude;
        return o;
    }

  private:
    [[nodiscard]] std::string_view raw(NetworkField field) const {
        return fields_[static_cast<std::size_t>(field)];
    }
    // Empty where the value is missing.
    [[nodiscard]] std::string_view text(NetworkField field) const {
        return is_missing(raw(field)) ? std::string_view{} : raw(field);
    }
    void error(NetworkField field, std::string what) {
        findings_.error(line_, rule_of(field).name, std::move(what));
    }
    void warning(NetworkField field, std::string what) {
        findings_.warning(line_, rule_of(field).name, std::move(what));
    }

    void check_presence_and_length() {
        for (std::size_t i = 0; i < network_field_count; ++i) {
            const auto field = static_cast<NetworkField>(i);
            const FieldRule& rule = rule_of(field);
            if (rule.required && text(field).empty()) error(field, "The format requires a value here.");
            if (!rule.required && raw(field).empty()) {
                error(field, "The field is empty. Write na where a value is missing.");
            }
            check_length(field, rule);
            if (std::any_of(raw(field).begin(), raw(field).end(),
                            [](char c) { return static_cast<unsigned char>(c) > 126; })) {
                warning(field, fmt::format("{} holds characters beyond ASCII.", in_quotes(raw(field))));
            }
        }
    }

    void check_length(NetworkField field, const FieldRule& rule) {
        const std::size_t length = raw(field).size();
        // The specification's own example of a spreadsheet date has 23 characters.
        if (field == NetworkField::date && context_.date_format == "EXCEL") return;
        // An obsolete code such as Green-vis. is longer than today's five; it gets its own warning.
        if (field == NetworkField::filter && find_filter_code(raw(field)) != nullptr) return;
        if (rule.max_length && length > *rule.max_length) {
            error(field, fmt::format("{} has {} characters where the format allows {}.",
                                     in_quotes(raw(field)), length, *rule.max_length));
        }
        if (!rule.max_length && length > most_note_characters) {
            warning(field, fmt::format("The field has {} characters; the network may cut it.", length));
        }
    }

    std::optional<double> read_date() {
        const std::string_view date = text(NetworkField::date);
        if (date.empty()) return std::nullopt;
        if (context_.date_format == "EXCEL") {
            const auto jd = julian_date_of_spreadsheet(date);
            if (!jd) {
                error(NetworkField::date,
                      fmt::format("{} is no date such as 12/31/2007 11:59:59 PM.", in_quotes(date)));
            }
            return jd;
        }
        const auto jd = parse_decimal(date);
        if (!jd) {
            error(NetworkField::date, fmt::format("{} is not a number of days.", in_quotes(date)));
            return std::nullopt;
        }
        if (!is_julian_date(jd->value)) {
            error(NetworkField::date,
                  fmt::format("{} is no Julian date; a modified one lacks 2400000.5.", in_quotes(date)));
            return std::nullopt;
        }
        return jd->value;
    }

    // A magnitude needs its decimal point.
    std::optional<double> number(NetworkField field, std::string_view value, bool magnitude) {
        if (value.empty()) return std::nullopt;
        const auto decimal = parse_decimal(value);
        if (!decimal) {
            error(field, fmt::format("{} is not a number.", in_quotes(value)));
            return std::nullopt;
        }
        if (magnitude && !decimal->has_point) {
            error(field, fmt::format("{} lacks the decimal point: write {}.0.", in_quotes(value), value));
        }
        return decimal->value;
    }

    std::optional<double> read_magnitude(bool& fainter_than) {
        std::string_view value = text(NetworkField::magnitude);
        fainter_than = value.starts_with('<');
        if (fainter_than) value.remove_prefix(1);
        if (fainter_than && value.empty()) error(NetworkField::magnitude, "No magnitude follows the '<'.");
        return number(NetworkField::magnitude, value, true);
    }

    void read_error(NetworkObservation& o) {
        o.err_mag = number(NetworkField::err, text(NetworkField::err), false);
        if (o.err_mag && *o.err_mag < 0.0) error(NetworkField::err, "The error is negative.");
        if (o.err_mag && o.fainter_than) {
            warning(NetworkField::err, "A fainter-than observation has no error: write na.");
        }
    }

    void read_filter(NetworkObservation& o) {
        o.filter = text(NetworkField::filter);
        if (o.filter.empty()) return;
        const FilterCode* code = find_filter_code(o.filter);
        if (code == nullptr) {
            error(NetworkField::filter,
                  fmt::format("{} is no filter code of the network.", in_quotes(o.filter)));
            return;
        }
        o.filter = code->code;
        if (code->historical) {
            warning(NetworkField::filter,
                    fmt::format("'{}' is obsolete; new reports must not use it.", code->code));
        }
        if (code->code == "O" && text(NetworkField::notes).empty()) {
            warning(NetworkField::notes, "Filter O means another one: describe it here.");
        }
    }

    void read_type(NetworkObservation& o) {
        const std::string_view transformed = text(NetworkField::transformed);
        o.transformed = same_word(transformed, "YES");
        if (!transformed.empty() && !o.transformed && !same_word(transformed, "NO")) {
            error(NetworkField::transformed,
                  fmt::format("{} is neither YES nor NO.", in_quotes(transformed)));
        }
        o.magnitude_type = upper_case(text(NetworkField::magnitude_type));
        if (o.magnitude_type == "ABS") {
            warning(NetworkField::magnitude_type, "ABS is an old word for STD.");
        } else if (o.magnitude_type == "DIF") {
            if (text(NetworkField::comparison_name).empty()) {
                error(NetworkField::comparison_name,
                      "A difference of magnitudes (DIF) needs its comparison star.");
            }
        } else if (!o.magnitude_type.empty() && o.magnitude_type != "STD") {
            error(NetworkField::magnitude_type,
                  fmt::format("{} is neither STD nor DIF.", in_quotes(o.magnitude_type)));
        }
    }

    void read_stars(NetworkObservation& o) {
        o.comparison_name = text(NetworkField::comparison_name);
        o.comparison_mag = number(NetworkField::comparison_mag, text(NetworkField::comparison_mag), true);
        o.check_name = text(NetworkField::check_name);
        o.check_mag = number(NetworkField::check_mag, text(NetworkField::check_mag), true);
        if (o.comparison_mag && same_word(o.comparison_name, "ENSEMBLE")) {
            error(NetworkField::comparison_mag, "With CNAME = ENSEMBLE the field must be na.");
        }
        if (o.comparison_mag && o.comparison_name.empty()) {
            warning(NetworkField::comparison_name, "CMAG has a value, but no star is named.");
        }
        if (o.check_mag && o.check_name.empty()) {
            warning(NetworkField::check_name, "KMAG has a value, but no star is named.");
        }
    }

    void read_circumstances(NetworkObservation& o) {
        o.airmass = number(NetworkField::airmass, text(NetworkField::airmass), false);
        if (o.airmass && *o.airmass <= 0.0) error(NetworkField::airmass, "An airmass is positive.");
        const std::string_view group = text(NetworkField::group);
        if (!group.empty()) {
            const auto value = parse_integer(group);
            if (!value) {
                error(NetworkField::group, fmt::format("{} is not a whole number.", in_quotes(group)));
            } else if (*value < 0) {
                error(NetworkField::group, "The group's number is negative.");
            } else if (group.size() <= rule_of(NetworkField::group).max_length.value()) {
                o.group = static_cast<int>(*value);
            }
        }
        o.chart = text(NetworkField::chart);
    }

    void read_notes(NetworkObservation& o) {
        for (std::string_view part : split(text(NetworkField::notes), '|')) {
            part = trimmed(part);
            if (part.empty()) continue;
            const auto equals = part.find('=');
            const std::string_view key = trimmed(part.substr(0, equals));
            if (equals == std::string_view::npos || !is_note_key(key)) {
                if (!o.note_text.empty()) o.note_text += ' ';
                o.note_text += part;
                continue;
            }
            const std::string_view value = trimmed(part.substr(equals + 1));
            if (is_documented_note_key(key) && !is_missing(value) && !parse_decimal(value)) {
                warning(NetworkField::notes,
                        fmt::format("{} should be a number and is {}.", key, in_quotes(value)));
            }
            o.notes.emplace_back(key, value);
        }
        if (const auto miss = check_star_identity_miss(o.notes)) {
            error(NetworkField::notes,
                  fmt::format("KMAGSTD is {:.4f}, but CREFMAG - CMAGINS + KMAGINS is {:.4f}.",
                              miss->stated_mag, miss->derived_mag));
        }
    }

    std::vector<std::string_view> fields_;
    std::size_t line_;
    const LineContext& context_;
    Findings& findings_;
};

}  // namespace

std::optional<NetworkObservation> read_network_line(std::string_view text, std::size_t line,
                                                    const LineContext& context, Findings& findings) {
    const auto delimiters = static_cast<std::size_t>(std::count(text.begin(), text.end(), context.delimiter));
    if (delimiters + 1 != network_field_count) {
        findings.error(line, "",
                       fmt::format("The line has {} fields where the format has {}; does a field hold the "
                                   "delimiter, or does #DELIM name another?",
                                   delimiters + 1, network_field_count));
        return std::nullopt;
    }
    std::vector<std::string_view> fields = split(text, context.delimiter);
    std::transform(fields.begin(), fields.end(), fields.begin(), trimmed);
    return ObservationReader(std::move(fields), line, context, findings).read();
}

}  // namespace emberline::exchange
