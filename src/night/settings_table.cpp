// SPDX-License-Identifier: MIT
#include "night/settings_table.hpp"

#include <fmt/format.h>

#include <cmath>
#include <sstream>

namespace emberline::night {
namespace {

// Edits (insert, delete, replace) from one word to the other: Levenshtein's distance.
std::size_t edits(std::string_view a, std::string_view b) {
    std::vector<std::size_t> row(b.size() + 1);
    for (std::size_t k = 0; k <= b.size(); ++k)
        row[k] = k;
    for (std::size_t i = 1; i <= a.size(); ++i) {
        std::size_t diagonal = row[0];
        row[0] = i;
        for (std::size_t k = 1; k <= b.size(); ++k) {
            const std::size_t replaced = diagonal + (a[i - 1] == b[k - 1] ? 0 : 1);
            diagonal = row[k];
            row[k] = std::min({replaced, row[k] + 1, row[k - 1] + 1});
        }
    }
    return row[b.size()];
}

std::string nearest(std::string_view word, const std::set<std::string, std::less<>>& candidates) {
    std::string best;
    std::size_t least = 4;
    for (const std::string& candidate : candidates) {
        const std::size_t distance = edits(word, candidate);
        if (distance < least && distance < word.size()) {
            least = distance;
            best = candidate;
        }
    }
    return best;
}

}  // namespace

SettingsTable::SettingsTable(const toml::table* table, std::string file, std::string name)
    : table_(table), file_(std::move(file)), name_(std::move(name)) {}

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
    if (const auto value = found->value_exact<std::string>()) return *value;
    refuse(key, "This must be text.", "Put it between quotation marks.");
    return std::nullopt;
}

std::optional<std::string> SettingsTable::text_or_number(std::string_view key) {
    const toml::node* found = node(key);
    if (found != nullptr && found->is_number()) return fmt::format("{}", *found->value<double>());
    return text(key);
}

std::optional<double> SettingsTable::number(std::string_view key, double least, double most) {
    const toml::node* found = node(key);
    if (found == nullptr) return std::nullopt;
    if (!found->is_number()) {
        refuse(key, "This must be a number.", "Write it without quotation marks.");
        return std::nullopt;
    }
    const double value = *found->value<double>();
    if (!std::isfinite(value) || value < least || value > most) {
        refuse(key, fmt::format("{} is out of range.", value),
               fmt::format("It must lie between {} and {}.", least, most));
        return std::nullopt;
    }
    return value;
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
            out.push_back(*one);
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
            entries.emplace_back(std::string(name.str()), *entry);
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
        if (value.is_number()) numbers.push_back(*value.value<double>());
        if (const toml::array* list = value.as_array()) {
            for (const toml::node& item : *list) {
                if (item.is_number()) numbers.push_back(*item.value<double>());
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
    if (found == nullptr) return {nullptr, file_, full};
    if (found->as_table() == nullptr) refuse(key, "This must be a table.", fmt::format("Write [{}].", full));
    return {found->as_table(), file_, full};
}

std::vector<std::string> SettingsTable::keys() const {
    std::vector<std::string> names;
    if (table_ == nullptr) return names;
    for (const auto& entry : *table_)
        names.emplace_back(entry.first.str());
    return names;
}

bool SettingsTable::is_table(std::string_view key) const {
    const toml::node* found = table_ == nullptr ? nullptr : table_->get(key);
    return found != nullptr && found->is_table();
}

Result<void> SettingsTable::finish() {
    for (const std::string& key : keys()) {
        if (asked_.contains(key)) continue;
        const std::string guess = nearest(key, asked_);
        refuse(key, fmt::format("'{}' is not a setting here.", key),
               guess.empty() ? "Remove it, or see the README for the settings of this section."
                             : fmt::format("Did you mean '{}'?", guess));
    }
    if (first_problem_) return fail(*first_problem_);
    return {};
}

}  // namespace emberline::night
