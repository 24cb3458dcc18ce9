// SPDX-License-Identifier: MIT
// The validator: the file as a whole and its parameters. A line of data: network_check_line.cpp.
#include <fmt/format.h>

#include <algorithm>
#include <istream>
#include <set>
#include <streambuf>

#include "exchange/network_findings.hpp"
#include "exchange/network_format.hpp"
#include "exchange/network_report.hpp"
#include "quantities/line_reader.hpp"
#include "quantities/text.hpp"

namespace emberline::exchange {
namespace {

constexpr std::size_t longest_line_bytes = std::size_t{1} << 20U;  // notes are several thousand

// A text in memory as a stream, without a copy of it.
class TextBuffer : public std::streambuf {
  public:
    explicit TextBuffer(std::string_view text) {
        char* const start = const_cast<char*>(text.data());  // only read from
        setg(start, start, start + text.size());
    }
};

// The character that cuts the line into the right number of fields; a comma where none does.
char likely_delimiter(std::string_view line) {
    for (const char c : {',', ';', '!', '\t', '|'}) {
        if (std::count(line.begin(), line.end(), c) + 1 == static_cast<long>(network_field_count)) return c;
    }
    return ',';
}

class Checker {
  public:
    explicit Checker(NetworkVisitor visit) : visit_(std::move(visit)) {}

    void check(std::istream& in) {
        LineReader reader(in, longest_line_bytes);
        bool ended = true;
        while (const auto text = reader.next()) {
            line_ = reader.number();
            ended = reader.had_end();
            if (line_ == 1 && reader.had_mark()) {
                findings_.warning(
                    1, "", "A byte-order mark stands before the first '#'. Save the file without one.");
            }
            if (reader.cut()) {
                findings_.error(line_, "", "The line is longer than any of this format.");
                unread_.push_back(line_);
            } else {
                read(*text);
            }
        }
        if (data_begun_ && !ended)
            findings_.warning(line_, "", "The file ends within this line: it may have been cut.");
        if (!data_begun_) {
            check_header();
            findings_.warning(line_, "", "There is no observation in the file.");
        }
    }

    [[nodiscard]] const NetworkHeader& header() const { return header_; }
    [[nodiscard]] const std::vector<std::size_t>& unread() const { return unread_; }
    [[nodiscard]] std::vector<Finding> findings() && { return std::move(findings_).take(); }

  private:
    void read(std::string_view text) {
        if (!is_plain_text(text)) {
            findings_.error(line_, "", "The line holds bytes that are not text.");
            unread_.push_back(line_);
            return;
        }
        const std::string_view content = trimmed(text);
        if (content.empty()) {
            findings_.error(line_, "", "The line is empty. Put a '#' on it, or remove it.");
        } else if (content.front() != '#') {
            read_data(text);
        } else {
            if (text.front() != '#') findings_.error(line_, "", "The '#' must stand in the first column.");
            read_comment(content.substr(1));
        }
    }

    // A parameter, or a true comment.
    void read_comment(std::string_view text) {
        const auto equals = text.find('=');
        if (equals == std::string_view::npos) return;
        const std::string_view name = trimmed(text.substr(0, equals));
        const std::string_view value = trimmed(text.substr(equals + 1));
        const ParameterRule* rule = find_parameter(name);
        if (rule == nullptr) {
            if (is_note_key(name)) {
                findings_.warning(line_, fmt::format("#{}", name),
                                  "This is no parameter of the format; the line is read as a comment.");
            }
            return;
        }
        const std::string field = "#" + rule->name;
        const bool again = given_.contains(rule->name);
        if (again && !rule->repeatable) findings_.error(line_, field, "The parameter is given twice.");
        if (again && rule->repeatable && !data_begun_) {
            findings_.warning(line_, field,
                              "The parameter is given twice before any data; the last one holds.");
        }
        if (!again && data_begun_) {
            findings_.error(line_, field, "The parameter must stand above the first line of data.");
        }
        given_.insert(rule->name);
        if (check_value(*rule, value)) use(rule->name, value);
    }

    bool check_value(const ParameterRule& rule, std::string_view value) {
        const std::string field = "#" + rule.name;
        if (rule.name == "DELIM") return true;  // has its own rule
        if (value.empty()) {
            findings_.error(line_, field, "The parameter has no value.");
            return false;
        }
        if (rule.max_length && value.size() > *rule.max_length) {
            findings_.error(line_, field,
                            fmt::format("The value has {} characters where the format allows {}.",
                                        value.size(), *rule.max_length));
        }
        if (!allows(rule, value)) {
            findings_.error(line_, field,
                            fmt::format("{} is not allowed. Allowed: {}.", in_quotes(value),
                                        fmt::join(rule.allowed, ", ")));
            return false;
        }
        if (rule.name == "OBSCODE" && value.find_first_of(" \t") != std::string_view::npos) {
            findings_.error(line_, field,
                            fmt::format("{} is not an observer's code: it holds a blank.", in_quotes(value)));
        }
        return true;
    }

    void use(const std::string& name, std::string_view value) {
        if (name == "SOFTWARE") header_.software = value;
        if (name == "OBSTYPE") header_.obstype = upper_case(value);
        if (name == "DELIM") use_delimiter(value);
        if (name == "OBSCODE") {
            observer_code_ = value;
            if (!data_begun_) header_.observer_code = value;
        }
        if (name == "DATE") {
            context_.date_format = upper_case(value);
            if (!data_begun_) header_.date_format = context_.date_format;
        }
    }

    void use_delimiter(std::string_view value) {
        const auto delimiter = delimiter_character(value);
        if (delimiter) {
            context_.delimiter = *delimiter;
        } else {
            findings_.error(line_, "#DELIM", delimiter.error().what + " " + delimiter.error().mend);
            // Read on with what was meant: its other lines deserve their check.
            if (value.size() != 1) return;
            context_.delimiter = value.front();
        }
        delimiter_known_ = true;
        header_.delimiter = context_.delimiter == '\t' ? "tab" : std::string(1, context_.delimiter);
    }

    void check_header() {
        for (const ParameterRule& rule : parameter_rules()) {
            if (given_.contains(rule.name)) continue;
            findings_.error(line_, "#" + rule.name,
                            fmt::format("The parameter is missing. Add #{}=… at the top.", rule.name));
        }
    }

    void read_data(std::string_view text) {
        if (!data_begun_) {
            check_header();
            data_begun_ = true;
            if (!delimiter_known_) {
                context_.delimiter = likely_delimiter(text);
                header_.delimiter = context_.delimiter == '\t' ? "tab" : std::string(1, context_.delimiter);
            }
        }
        auto observation = read_network_line(text, line_, context_, findings_);
        if (!observation) {
            unread_.push_back(line_);
            return;
        }
        if (observer_code_ != header_.observer_code) observation->observer_code = observer_code_;
        if (context_.date_format != header_.date_format) {
            observation->date_format = context_.date_format;
        }
        visit_(*observation, line_);
    }

    NetworkVisitor visit_;
    Findings findings_;
    NetworkHeader header_;
    LineContext context_;
    std::vector<std::size_t> unread_;
    std::string observer_code_;
    std::set<std::string> given_;
    std::size_t line_ = 0;
    bool data_begun_ = false;
    bool delimiter_known_ = false;
};

}  // namespace

bool CheckedReport::valid() const {
    return !any_error(findings);
}

CheckedReport check_network_report(std::string_view text) {
    CheckedReport checked;
    TextBuffer buffer(text);
    std::istream in(&buffer);
    Checker checker([&](const NetworkObservation& observation, std::size_t line) {
        checked.report.observations.push_back(observation);
        checked.lines.push_back(line);
    });
    checker.check(in);
    checked.report.header = checker.header();
    checked.unread = checker.unread();
    checked.findings = std::move(checker).findings();
    return checked;
}

std::vector<Finding> read_network_report(std::istream& in, const NetworkVisitor& visit) {
    Checker checker(visit);
    checker.check(in);
    return std::move(checker).findings();
}

}  // namespace emberline::exchange
