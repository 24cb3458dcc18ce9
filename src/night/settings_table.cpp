// SPDX-License-Identifier: MIT
#include "night/settings_table.hpp"

#include <fmt/format.h>

#include <cmath>
#include <cstdint>
#include <sstream>

#include "quantities/nearest_word.hpp"
#include "quantities/text.hpp"

namespace emberline::night {
namespace {

// The nearest double of one that is_number(): the library's own conversion gives none for whole numbers of
// more than 53 bits.
double number_of(const toml::node& node) {
    if (const auto whole = node.value_exact<std::int64_t>()) return static_cast<double>(*whole);
    return *node.value_exact<double>();
}

}  // namespace

SettingsTable::SettingsTable(const toml::table* table, std::string file, std::string name,
                             const SettingHomes* homes, SettingHomes* noted)
    : table_(table), file_(std::move(file)), name_(std::move(name)), homes_(homes), noted_(noted) {}

void SettingsTable::accept(std::string_view key) {
    asked_.emplace(key);
    if (noted_ != nullptr && !name_.empty()) (*noted_)[std::string(key)].insert(name_);
}

const toml::node* SettingsTable::node(std::string_view key) {
    accept(key);
    return table_ == nullptr ? nullptr : table_->get(key);
}

std::string SettingsTable::place(std::string_view key) const {
    const toml::node* found = table_ == nullptr ? nullptr : table_->get(key);
    const std::string full = name_.empty() ? std::string(key) : fmt::format("{}.{}", name_, key);
    if (found == nullptr) return fmt::format("{}, {}", file_, full);
    const auto begin = found->source().begin;
    return fmt::format("{}, line {}, column {}, {}", file_, begin.line, begin.column, full);
}

void SettingsTable::refuse(std::string_view key, std::string what, std::string mend) {
    refuse(key, Problem{.what = std::move(what), .mend = std::move(mend)});
}

void SettingsTable::refuse(std::string_view key, const Problem& problem) {
    if (first_problem_) return;
    first_problem_ = at(place(key), problem);
    first_problem_->kind = ProblemKind::request;
}

std::optional<std::string> SettingsTable::text(std::string_view key) {
    const toml::node* found = node(key);
    if (found == nullptr) return std::nullopt;
    if (const auto value = found->value_exact<std::string>()) return printable(key, *value);
    refuse(key, "This must be text.", "Put it between quotation marks.");
    return std::nullopt;
}

std::optional<std::string> SettingsTable::printable(std::string_view key, const std::string& written) {
    // "\t" in a path of another system is a tab.
    if (!holds_control_character(written)) return written;
    refuse(key, "The text holds a line end, a tab or the like.",
           "A backslash begins such a character: write paths with / or between 'single' marks.");
    return std::nullopt;
}

std::optional<std::string> SettingsTable::text_or_number(std::string_view key) {
    const toml::node* found = node(key);
    if (found != nullptr && found->is_number()) return fmt::format("{}", number_of(*found));
    return text(key);
}

std::optional<double> SettingsTable::number(std::string_view key, double least, double most) {
    const toml::node* found = node(key);
    if (found == nullptr) return std::nullopt;
    if (!found->is_number()) {
        refuse(key, "This must be a number.", "Write it without quotation marks.");
        return std::nullopt;
    }
    const double value = number_of(*found);
    if (!std::isfinite(value) || value < least || value > most) {
        refuse(key, fmt::format("{} is out of range.", value),
               fmt::format("It must lie between {} and {}.", least, most));
        return std::nullopt;
    }
    return value;
}

std::optional<int> SettingsTable::whole_number(std::string_view key, int least, int most,
                                               std::string_view of) {
    const auto value = number(key, least, most);
    if (!value) return std::nullopt;
    if (*value != std::floor(*value)) {
        refuse(key, fmt::format("{:g} is no number of {}.", *value, of),
               fmt::format("Write a whole number, such as {} = {:.0f}.", key, std::ceil(*value)));
        return std::nullopt;
    }
    return static_cast<int>(*value);
}

std::optional<bool> SettingsTable::flag(std::string_view key) {
    const toml::node* found = node(key);
    if (found == nullptr) return std::nullopt;
    if (const auto value = found->value_exact<bool>()) return *value;
    refuse(key, "This must be true or false.", "Write true or false, without quotation marks.");
    return std::nullopt;
}

std::optional<std::string> SettingsTable::date(std::string_view key) {
    const toml::node* found = node(key);
    if (found == nullptr) return std::nullopt;
    if (const auto value = found->value_exact<toml::date>()) {
        std::ostringstream out;
        out << *value;
        return out.str();
    }
    if (const auto value = found->value_exact<toml::date_time>()) {
        std::ostringstream out;
        out << value->date;
        return out.str();
    }
    return text(key);
}

std::vector<std::string> SettingsTable::texts(std::string_view key) {
    const toml::node* found = node(key);
    if (found == nullptr) return {};
    const toml::array* list = found->as_array();
    if (list == nullptr) {
        const auto one = text(key);
        return one ? std::vector<std::string>{*one} : std::vector<std::string>{};
    }
    std::vector<std::string> out;
    for (const toml::node& entry : *list) {
        if (const auto one = entry.value_exact<std::string>()) {
            if (auto text = printable(key, *one)) out.push_back(std::move(*text));
        } else {
            refuse(key, "Every entry of the list must be text.", "Put each between quotation marks.");
        }
    }
    return out;
}

std::vector<std::pair<std::string, std::string>> SettingsTable::text_entries(std::string_view key) {
    std::vector<std::pair<std::string, std::string>> entries;
    const toml::node* found = node(key);
    if (found == nullptr) return entries;
    const toml::table* inner = found->as_table();
    if (inner == nullptr) {
        refuse(key, "This must be a table.", fmt::format("Write {} = {{ \"NAME\" = \"value\" }}.", key));
        return entries;
    }
    for (const auto& [name, value] : *inner) {
        if (const auto entry = value.value_exact<std::string>()) {
            if (auto text = printable(key, *entry))
                entries.emplace_back(std::string(name.str()), std::move(*text));
        } else {
            refuse(key, fmt::format("The value of '{}' must be text.", name.str()),
                   "Put it between quotation marks.");
        }
    }
    return entries;
}

std::vector<std::pair<std::string, std::vector<double>>> SettingsTable::number_entries(std::string_view key) {
    std::vector<std::pair<std::string, std::vector<double>>> entries;
    const toml::node* found = node(key);
    if (found == nullptr) return entries;
    const toml::table* inner = found->as_table();
    if (inner == nullptr) {
        refuse(key, "This must be a table.", fmt::format("Write {} = {{ \"NAME\" = 0.0 }}.", key));
        return entries;
    }
    for (const auto& [name, value] : *inner) {
        std::vector<double> numbers;
        if (value.is_number()) numbers.push_back(number_of(value));
        if (const toml::array* list = value.as_array()) {
            for (const toml::node& item : *list) {
                if (item.is_number()) numbers.push_back(number_of(item));
            }
            if (numbers.size() != list->size()) numbers.clear();
        }
        const bool good = !numbers.empty() && std::all_of(numbers.begin(), numbers.end(),
                                                          [](double v) { return std::isfinite(v); });
        if (!good) {
            refuse(key, fmt::format("The value of '{}' must be a number or a list of numbers.", name.str()),
                   "Write, for example, 0.6 or [0.03, 0.01].");
        } else {
            entries.emplace_back(std::string(name.str()), std::move(numbers));
        }
    }
    return entries;
}

SettingsTable SettingsTable::table(std::string_view key) {
    const toml::node* found = node(key);
    const std::string full = name_.empty() ? std::string(key) : fmt::format("{}.{}", name_, key);
    if (found == nullptr) return {nullptr, file_, full, homes_, noted_};
    if (found->as_table() == nullptr) refuse(key, "This must be a table.", fmt::format("Write [{}].", full));
    return {found->as_table(), file_, full, homes_, noted_};
}

std::vector<std::string> SettingsTable::keys() const {
    std::vector<std::string> names;
    if (table_ == nullptr) return names;
    for (const auto& entry : *table_)
        names.emplace_back(entry.first.str());
    return names;
}

bool SettingsTable::is_text(std::string_view key) const {
    const toml::node* found = table_ == nullptr ? nullptr : table_->get(key);
    return found != nullptr && found->is_string();
}

std::optional<double> SettingsTable::any_number(std::string_view key) const {
    const toml::node* found = table_ == nullptr ? nullptr : table_->get(key);
    if (found == nullptr || !found->is_number()) return std::nullopt;
    return number_of(*found);
}

bool SettingsTable::is_table(std::string_view key) const {
    const toml::node* found = table_ == nullptr ? nullptr : table_->get(key);
    return found != nullptr && found->is_table();
}

std::string SettingsTable::advice_on(const std::string& unknown_key) const {
    const std::string guess = nearest_word(unknown_key, {asked_.begin(), asked_.end()});
    if (!guess.empty()) return fmt::format("Did you mean '{}'?", guess);
    const auto home =
        homes_ != nullptr ? homes_->find(lower_case(unknown_key)) : SettingHomes::const_iterator();
    if (homes_ != nullptr && home != homes_->end())
        return fmt::format("It belongs under [{}]: move it there.", *home->second.begin());
    return "Remove it: `emberline new DIR` writes a file that shows the settings of each section.";
}

Result<void> SettingsTable::finish() {
    for (const std::string& key : keys()) {
        if (asked_.contains(key)) continue;
        first_problem_.reset();
        refuse(key, fmt::format("'{}' is not a setting here.", key), advice_on(key));
        break;
    }
    if (first_problem_) return fail(*first_problem_);
    return {};
}

}  // namespace emberline::night
