// SPDX-License-Identifier: MIT
#include "exchange/network_report.hpp"

#include <fmt/format.h>

#include <cmath>
#include <ostream>
#include <sstream>

#include "exchange/network_format.hpp"
#include "exchange/observer_code.hpp"
#include "quantities/text.hpp"

namespace emberline::exchange {
namespace {

Problem in_field(NetworkField field, std::string what, std::string mend) {
    return {.what = std::move(what),
            .where = fmt::format("field {}", rule_of(field).name),
            .mend = std::move(mend)};
}

bool is_printable_ascii(std::string_view text) {
    for (const char c : text) {
        if (c < 32 || c > 126) return false;
    }
    return true;
}

// A number without a sign before zero: "-0.000" would be one.
std::string fixed(double value, int decimals) {
    std::string text = fmt::format("{:.{}f}", value, decimals);
    if (text.starts_with('-') && text.find_first_not_of("-0.") == std::string::npos) text.erase(0, 1);
    return text;
}

// The fields of one line, each checked as it is added; the first fault stops it.
class LineMaker {
  public:
    explicit LineMaker(char delimiter) : delimiter_(delimiter) {}

    void text(NetworkField field, const std::string& value) {
        if (value.empty()) return missing(field);
        if (is_missing(value)) {
            return refuse(field, fmt::format("'{}' stands for a missing value and cannot be one.", value),
                          "Leave the value empty if it is not known, or name it differently.");
        }
        add(field, value);
    }

    void number(NetworkField field, const std::optional<double>& value, std::string_view sign = "") {
        if (!value) return missing(field);
        if (!std::isfinite(*value)) {
            return refuse(field, "The value is not a number.", "Leave the observation out.");
        }
        add(field, std::string(sign) + fixed(*value, 3));
    }

    void add(NetworkField field, const std::string& value) {
        const FieldRule& rule = rule_of(field);
        if (!is_printable_ascii(value)) {
            return refuse(field, fmt::format("'{}' holds a character that is not printable ASCII.", value),
                          "Use letters without accents, digits and punctuation.");
        }
        if (trimmed(value) != value) {
            return refuse(field, fmt::format("'{}' begins or ends with a blank.", value), "Remove it.");
        }
        if (value.find(delimiter_) != std::string::npos) {
            return refuse(field, fmt::format("'{}' holds the character that separates the fields.", value),
                          "Choose another delimiter or change the text.");
        }
        const std::size_t most = rule.max_length.value_or(most_note_characters);
        if (value.size() > most) {
            return refuse(field,
                          fmt::format("'{}' has {} characters where the format allows {}.",
                                      value.substr(0, most), value.size(), most),
                          "Shorten it: the network would cut it or refuse the file.");
        }
        if (!line_.empty()) line_ += delimiter_;
        line_ += value;
    }

    void refuse(NetworkField field, std::string what, std::string mend) {
        if (!problem_) problem_ = in_field(field, std::move(what), std::move(mend));
    }

    [[nodiscard]] Result<std::string> finish() && {
        if (problem_) return fail(std::move(*problem_));
        return std::move(line_);
    }

  private:
    void missing(NetworkField field) {
        if (rule_of(field).required) {
            return refuse(field, "The value is missing, and the format requires it.",
                          "Give it, or leave the observation out.");
        }
        add(field, "na");
    }

    char delimiter_;
    std::string line_;
    std::optional<Problem> problem_;
};

void add_date(LineMaker& line, double date) {
    if (!is_julian_date(date)) {
        return line.refuse(NetworkField::date, fmt::format("{} is not a Julian date.", date),
                           "Give days as in 2460345.12345: a modified Julian date lacks 2400000.5.");
    }
    line.add(NetworkField::date, fixed(date, 5));
}

void add_magnitude(LineMaker& line, const NetworkObservation& o) {
    line.number(NetworkField::magnitude, o.magnitude_mag, o.fainter_than ? "<" : "");
    if (o.fainter_than && o.err_mag) {
        line.refuse(NetworkField::err, "A limit has no error.", "Leave the error of the limit empty.");
    }
    if (o.err_mag && *o.err_mag < 0.0) {
        line.refuse(NetworkField::err, "The error is negative.", "Give one standard deviation, or none.");
    }
    line.number(NetworkField::err, o.err_mag);
}

void add_filter(LineMaker& line, const std::string& code) {
    const FilterCode* known = find_filter_code(code);
    if (!code.empty() && known == nullptr) {
        line.refuse(NetworkField::filter, fmt::format("'{}' is no filter code of the network.", code),
                    "Use a code such as V, R, SG, TG or CV.");
    }
    if (known != nullptr && known->historical) {
        line.refuse(NetworkField::filter, fmt::format("'{}' is an obsolete filter code.", code),
                    "Use a code that is still in use.");
    }
    line.text(NetworkField::filter, code);
}

void add_type(LineMaker& line, const NetworkObservation& o) {
    line.add(NetworkField::transformed, o.transformed ? "YES" : "NO");
    if (o.magnitude_type != "STD" && o.magnitude_type != "DIF" && o.magnitude_type != "ABS") {
        line.refuse(NetworkField::magnitude_type,
                    fmt::format("'{}' is not a type of magnitude.", o.magnitude_type),
                    "Write STD for a standard magnitude, DIF for a difference.");
    }
    if (o.magnitude_type == "DIF" && o.comparison_name.empty()) {
        line.refuse(NetworkField::comparison_name,
                    "A difference of magnitudes (DIF) needs the name of its comparison star.",
                    "Name the star.");
    }
    line.text(NetworkField::magnitude_type, o.magnitude_type);
}

void add_stars(LineMaker& line, const NetworkObservation& o) {
    if (same_word(o.comparison_name, "ENSEMBLE") && o.comparison_mag) {
        line.refuse(NetworkField::comparison_mag, "An ensemble has no magnitude of its own here.",
                    "Leave it empty, so that na is written; the notes may hold the mean.");
    }
    if (o.comparison_mag && o.comparison_name.empty()) {
        line.refuse(NetworkField::comparison_name,
                    "There is a magnitude of a comparison star without a name.",
                    "Name the star, or leave its magnitude out.");
    }
    if (o.check_mag && o.check_name.empty()) {
        line.refuse(NetworkField::check_name, "There is a magnitude of a check star without a name.",
                    "Name the star, or leave its magnitude out.");
    }
    line.text(NetworkField::comparison_name, o.comparison_name);
    line.number(NetworkField::comparison_mag, o.comparison_mag);
    line.text(NetworkField::check_name, o.check_name);
    line.number(NetworkField::check_mag, o.check_mag);
}

void add_circumstances(LineMaker& line, const NetworkObservation& o) {
    if (o.airmass && *o.airmass <= 0.0) {
        line.refuse(NetworkField::airmass, fmt::format("An airmass of {} is impossible.", *o.airmass),
                    "Leave it empty if it is not known.");
    }
    line.number(NetworkField::airmass, o.airmass);
    if (o.group && *o.group < 0) {
        line.refuse(NetworkField::group, "The group's number is negative.", "Count groups from 1.");
    }
    line.text(NetworkField::group, o.group ? fmt::format("{}", *o.group) : "");
    line.text(NetworkField::chart, o.chart);
}

void add_notes(LineMaker& line, const NetworkObservation& o) {
    const auto refuse = [&](std::string what, std::string mend) {
        line.refuse(NetworkField::notes, std::move(what), std::move(mend));
    };
    if (o.note_text.find('|') != std::string::npos) {
        refuse("The text holds '|', which stands between the KEY=value pairs.", "Use another character.");
    }
    if (const auto equals = o.note_text.find('=');
        equals != std::string::npos && is_note_key(trimmed(o.note_text.substr(0, equals)))) {
        refuse("The text would be read as a KEY=value pair.", "Write it without '=', or as a pair.");
    }
    std::string notes = o.note_text;
    for (const auto& [key, value] : o.notes) {
        if (!is_note_key(key)) {
            refuse(fmt::format("'{}' is no key.", key), "A key is one word of letters, digits and '_'.");
        }
        if (value.find('|') != std::string::npos || value.empty() || trimmed(value) != value) {
            refuse(fmt::format("'{}' cannot be the value of {}.", value, key),
                   "A value is a text without '|' and without blanks around it.");
        }
        if (!notes.empty()) notes += '|';
        notes += fmt::format("{}={}", key, value);
    }
    if (const auto miss = check_star_identity_miss(o.notes)) {
        refuse(fmt::format("KMAGSTD is {:.4f}, and CREFMAG - CMAGINS + KMAGINS is {:.4f}.", miss->stated_mag,
                           miss->derived_mag),
               "Make the four agree, or leave KMAGSTD out.");
    }
    line.text(NetworkField::notes, notes);
}

Result<void> check_parameter(std::string_view name, const std::string& value) {
    const ParameterRule& rule = *find_parameter(name);
    const auto refuse = [&](std::string what, std::string mend) {
        return fail(
            {.what = std::move(what), .where = fmt::format("parameter #{}", name), .mend = std::move(mend)});
    };
    if (value.empty()) {
        return refuse(
            "The value is missing, and the format requires it.",
            name == "OBSCODE" ? "Give the code that the network issued to the observer." : "Give it.");
    }
    if (!is_printable_ascii(value) || trimmed(value) != value) {
        return refuse(fmt::format("'{}' is not printable ASCII without blanks around it.", value),
                      "Use letters without accents, digits and punctuation.");
    }
    if (rule.max_length && value.size() > *rule.max_length) {
        return refuse(fmt::format("The value has {} characters where the format allows {}.", value.size(),
                                  *rule.max_length),
                      "Shorten it.");
    }
    if (!allows(rule, value)) {
        return refuse(fmt::format("'{}' is not allowed.", value),
                      fmt::format("Allowed: {}.", fmt::join(rule.allowed, ", ")));
    }
    return {};
}

Result<void> check_code_and_date(const std::string& code, const std::string& date_format) {
    if (auto good = check_parameter("OBSCODE", code); !good) return good;
    if (code.find(' ') != std::string::npos) {
        return fail({.what = fmt::format("'{}' is not an observer's code: it holds a blank.", code),
                     .where = "parameter #OBSCODE",
                     .mend = "Give the code that the network issued, not the name."});
    }
    if (!is_observer_code(code)) {
        return fail(
            {.what = fmt::format("'{}' is not an observer's code: codes are letters and figures.", code),
             .where = "parameter #OBSCODE",
             .mend = "Give the code that the network issued, under [observer] in campaign.toml."});
    }
    if (auto good = check_parameter("DATE", date_format); !good) return good;
    if (same_word(date_format, "EXCEL")) {
        return fail({.what = "Spreadsheet dates are not written: they lose seconds.",
                     .where = "parameter #DATE",
                     .mend = "Use JD, which the network prefers, or HJD."});
    }
    return {};
}

Result<std::string> header_text(const NetworkHeader& header, char delimiter) {
    for (const auto& [name, value] :
         {std::pair("SOFTWARE", header.software), std::pair("OBSTYPE", header.obstype)}) {
        if (auto good = check_parameter(name, value); !good) return fail(good.error());
    }
    if (auto good = check_code_and_date(header.observer_code, header.date_format); !good) {
        return fail(good.error());
    }
    std::string text = fmt::format(
        "#TYPE=Extended\n#OBSCODE={}\n#SOFTWARE={}\n#DELIM={}\n#DATE={}\n#OBSTYPE={}\n#",
        header.observer_code, header.software, header.delimiter, header.date_format, header.obstype);
    for (std::size_t i = 0; i < network_field_count; ++i) {
        if (i > 0) text += delimiter;
        text += rule_of(static_cast<NetworkField>(i)).title;
    }
    return text + '\n';
}

}  // namespace

Result<std::string> write_network_line(const NetworkObservation& o, std::string_view delimiter) {
    const auto separator = delimiter_character(delimiter);
    if (!separator) return fail(separator.error());
    LineMaker line(*separator);
    if (o.star.starts_with('#')) {
        line.refuse(NetworkField::star, "A name that begins with '#' would make the line a comment.",
                    "Give the name under which the network lists the star.");
    }
    line.text(NetworkField::star, o.star);
    add_date(line, o.date);
    add_magnitude(line, o);
    add_filter(line, o.filter);
    add_type(line, o);
    add_stars(line, o);
    add_circumstances(line, o);
    add_notes(line, o);
    return std::move(line).finish();
}

Result<void> check_network_file_name(std::string_view path) {
    const std::string name = lower_case(path);
    if (name.ends_with(".txt") || name.ends_with(".csv") || name.ends_with(".tsv")) return {};
    return fail({.what = "The network does not take a file of this name.",
                 .where = std::string(path),
                 .mend = "Let the name end in .txt, .csv or .tsv."});
}

NetworkReportWriter::NetworkReportWriter(std::ostream& out, NetworkHeader header)
    : out_(&out),
      header_(std::move(header)),
      code_(header_.observer_code),
      date_format_(header_.date_format) {}

Result<NetworkReportWriter> NetworkReportWriter::begin(std::ostream& out, NetworkHeader header) {
    const auto delimiter = delimiter_character(header.delimiter);
    if (!delimiter) return fail(delimiter.error());
    const auto text = header_text(header, *delimiter);
    if (!text) return fail(text.error());
    out << *text;
    return NetworkReportWriter(out, std::move(header));
}

Result<void> NetworkReportWriter::write(const NetworkObservation& o) {
    const std::string place = fmt::format("observation {} ({})", written_ + 1, o.star);
    const std::string& own_code = o.observer_code.empty() ? header_.observer_code : o.observer_code;
    const std::string& own_format = o.date_format.empty() ? header_.date_format : o.date_format;
    if (auto good = check_code_and_date(own_code, own_format); !good) return fail(at(place, good.error()));
    if (written_ == 0 && (own_code != code_ || own_format != date_format_)) {
        return fail({.what = "The first observation has another observer or date format than the header.",
                     .where = place,
                     .mend = "Put them into the header."});
    }
    const auto line = write_network_line(o, header_.delimiter);
    if (!line) return fail(at(place, line.error()));
    if (own_code != code_) *out_ << fmt::format("#OBSCODE={}\n", code_ = own_code);
    if (own_format != date_format_) *out_ << fmt::format("#DATE={}\n", date_format_ = own_format);
    *out_ << *line << '\n';
    ++written_;
    return {};
}

Result<std::string> write_network_report(const NetworkReport& report) {
    std::ostringstream out;
    auto writer = NetworkReportWriter::begin(out, report.header);
    if (!writer) return fail(writer.error());
    for (const NetworkObservation& o : report.observations) {
        if (auto good = writer->write(o); !good) return fail(good.error());
    }
    return std::move(out).str();
}

}  // namespace emberline::exchange
