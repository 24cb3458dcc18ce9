// SPDX-License-Identifier: MIT
#include <fmt/format.h>

#include <algorithm>
#include <nlohmann/json.hpp>
#include <ostream>
#include <sstream>

#include "exchange/server_fields.hpp"
#include "exchange/server_formats.hpp"
#include "quantities/text.hpp"

namespace emberline::exchange {
namespace {

constexpr std::string_view points_key = "photometry", group_key = "photometry_group";

// Of text that is_plain_text has passed.
std::string json_text(std::string_view text) {
    return nlohmann::json(text).dump();
}

// {"ra": {"value": …}, …}: keys with a point open an object of their own.
void write_fields(std::ostream& out, const std::vector<ServerField>& fields, ServerKeys keys) {
    std::string_view open;
    for (const ServerField& field : fields) {
        const auto point = field.key.find('.');
        const std::string_view object = point == std::string_view::npos ? "" : field.key.substr(0, point);
        const std::string key =
            spelled(object.empty() ? field.key : field.key.substr(object.size() + 1), keys);
        const bool goes_on = !object.empty() && object == open;
        if (!open.empty() && !goes_on) out << "},\n";
        if (goes_on) out << ", ";
        if (!object.empty() && !goes_on) out << "  " << json_text(object) << ": {";
        out << (object.empty() ? "  " : "") << json_text(key) << ": " << json_text(field.value);
        if (object.empty()) out << ",\n";
        open = object;
    }
    if (!open.empty()) out << "},\n";
}

// Reads event by event: neither the depth nor the length of a hostile file costs memory.
class JsonReader : public nlohmann::json_sax<nlohmann::json> {
  public:
    JsonReader(ServerReader& reader, Findings& findings) : reader_(reader), findings_(findings) {}

    bool null() override { return leaf(""); }
    bool boolean(bool value) override {
        if (in_report()) error("A truth value stands where text or a number should.");
        return leaf(value ? "true" : "false");
    }
    bool number_integer(number_integer_t value) override { return leaf(fmt::format("{}", value)); }
    bool number_unsigned(number_unsigned_t value) override { return leaf(fmt::format("{}", value)); }
    bool number_float(number_float_t, const string_t& written) override { return leaf(written); }
    bool string(string_t& value) override { return leaf(value); }
    bool binary(binary_t&) override { return false; }

    bool start_object(std::size_t) override {
        path_.push_back(key_);
        if (path_.size() > deepest) return too_deep();
        if (path_.size() == 3) begin_report();
        if (const auto place = point_place(); place && path_.size() == *place + 1) begin_point();
        return true;
    }
    bool end_object() override {
        if (const auto place = point_place(); place && path_.size() == *place + 1) reader_.end_point();
        if (!path_.empty()) path_.pop_back();
        return true;
    }
    bool key(string_t& value) override {
        key_ = value;
        return true;
    }
    bool start_array(std::size_t) override {
        if (in_report() || path_.size() < 2) error("A list stands where an object or a value should.");
        path_.emplace_back("[]");
        return path_.size() <= deepest || too_deep();
    }
    bool end_array() override {
        if (!path_.empty()) path_.pop_back();
        return true;
    }
    bool parse_error(std::size_t position, const std::string&, const nlohmann::detail::exception&) override {
        broken_at_ = position;
        return false;
    }

    [[nodiscard]] std::optional<std::size_t> broken_at() const { return broken_at_; }
    [[nodiscard]] std::size_t reports() const { return reports_; }

  private:
    // "", at_report, 0, ra: the outermost object has no key.
    static constexpr std::size_t deepest = 12;

    // Of the first report; what stands in another is passed over.
    [[nodiscard]] bool in_report() const {
        return path_.size() >= 3 && path_[1] == "at_report" && reports_ == 1;
    }
    // How many names lead to the points; nothing outside of them.
    [[nodiscard]] std::optional<std::size_t> point_place() const {
        if (!in_report() || path_.size() < 4 || path_[3] != points_key) return std::nullopt;
        if (path_.size() > 4 && path_[4] == group_key) return 5;
        // Both nestings are seen: with the group between, and without it.
        return path_.size() > 4 ? std::optional<std::size_t>(4) : std::nullopt;
    }
    void error(std::string what) {
        std::string place;
        for (std::size_t i = 1; i < path_.size(); ++i)
            place += path_[i] + ".";
        findings_.error(0, place + key_, std::move(what));
    }
    bool too_deep() {
        findings_.error(0, "", fmt::format("Objects lie in each other more than {} deep.", deepest));
        return false;
    }
    void begin_report() {
        if (path_[1] != "at_report") return;
        if (++reports_ == 1) {
            first_report_ = key_;
        } else if (key_ == first_report_) {
            findings_.error(0, "at_report." + key_, "The report stands there twice; the first one counts.");
        } else if (reports_ == 2) {
            findings_.warning(0, "at_report." + key_, "Only the first report of the file was read.");
        }
    }
    void begin_point() {
        if (key_ != std::to_string(next_point_)) {
            findings_.error(
                0, fmt::format("{}.{}", points_key, key_),
                fmt::format("The points are numbered from 0 on; this should be {}.", next_point_));
        }
        reader_.begin_point(fmt::format("{}.{}.", points_key, key_), 0);
        ++next_point_;
    }
    bool leaf(std::string_view value) {
        if (!in_report()) {
            if (reports_ <= 1) error("A value stands outside of at_report.0.");
            return true;
        }
        if (const auto place = point_place()) {
            // A list of this depth stands where a point should, and has opened none.
            if (path_.size() == *place + 1 && path_.back() != "[]") {
                reader_.set_point(key_, value);
            } else {
                error("A value stands where a numbered point should.");
            }
            return true;
        }
        if (path_.back() == "[]") return true;
        std::string key;
        for (std::size_t i = 3; i < path_.size(); ++i)
            key += path_[i] + ".";
        reader_.set(key + key_, value, 0);
        return true;
    }

    ServerReader& reader_;
    Findings& findings_;
    std::vector<std::string> path_;
    std::string key_, first_report_;
    std::size_t reports_ = 0, next_point_ = 0;
    std::optional<std::size_t> broken_at_;
};

}  // namespace

Result<void> write_server_json(const ServerReport& report, ServerKeys keys, std::ostream& out) {
    if (auto good = proofread(report); !good) return good;
    out << "{\"at_report\": {\"0\": {\n";
    write_fields(out, fields_of(report), keys);
    out << "  " << json_text(points_key) << ": {" << json_text(group_key) << ": {\n";
    for (std::size_t i = 0; i < report.photometry.size(); ++i) {
        const auto fields = fields_of(report.photometry[i]);
        if (auto good = proofread_point(fields, i); !good) return good;
        out << fmt::format("    \"{}\": {{", i);
        for (std::size_t f = 0; f < fields.size(); ++f) {
            out << (f > 0 ? ", " : "") << json_text(spelled(fields[f].key, keys)) << ": "
                << json_text(fields[f].value);
        }
        out << (i + 1 < report.photometry.size() ? "},\n" : "}\n");
    }
    out << "  }}\n}}}\n";
    return {};
}

Result<std::string> write_server_json(const ServerReport& report, ServerKeys keys) {
    std::ostringstream out;
    if (auto good = write_server_json(report, keys, out); !good) return fail(good.error());
    return std::move(out).str();
}

void read_server_json(std::string_view text, ServerReader& reader, Findings& findings) {
    JsonReader events(reader, findings);
    if (!nlohmann::json::sax_parse(text.begin(), text.end(), &events) && events.broken_at()) {
        const auto upto = text.substr(0, *events.broken_at());
        const auto line = static_cast<std::size_t>(std::count(upto.begin(), upto.end(), '\n')) + 1;
        findings.error(line, "",
                       *events.broken_at() >= text.size() ? "The file ends before its objects do: it was cut."
                                                          : "The file is no JSON from this line on.");
    }
    if (events.reports() == 0) findings.error(0, "at_report", "There is no report in the file.");
}

}  // namespace emberline::exchange
