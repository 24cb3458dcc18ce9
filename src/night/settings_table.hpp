// SPDX-License-Identifier: MIT
// night/settings_table — one table of campaign.toml, read strictly. Private to this room.
#pragma once

#include <toml++/toml.h>
#include <algorithm>
#include <map>
#include <optional>
#include <set>
#include <string>
#include <string_view>
#include <utility>
#include <vector>

#include "quantities/problem.hpp"

namespace emberline::night {

// Which sections know a key: for one that stands in the wrong section.
using SettingHomes = std::map<std::string, std::set<std::string>, std::less<>>;

// Reads values and remembers the first problem and every key asked for; finish() then refuses the keys that
// nobody asked for, naming the nearest word: a misspelt key must not be passed over in silence.
class SettingsTable {
  public:
    // `table` may be null: every value is then absent.
    // `homes` of every setting, where they are known; `noted` is filled with what is asked for.
    SettingsTable(const toml::table* table, std::string file, std::string name,
                  const SettingHomes* homes = nullptr, SettingHomes* noted = nullptr);

    std::optional<std::string> text(std::string_view key);
    std::optional<double> number(std::string_view key, double least, double most);
    // A number without decimals. `of`: what it counts, "exposures".
    std::optional<int> whole_number(std::string_view key, int least, int most, std::string_view of);
    // Whatever it is; the key is not asked for by this.
    [[nodiscard]] std::optional<double> any_number(std::string_view key) const;
    std::optional<bool> flag(std::string_view key);
    // A string, or a number as its decimal text: positions may be written either way.
    std::optional<std::string> text_or_number(std::string_view key);
    // A TOML date or a string.
    std::optional<std::string> date(std::string_view key);
    // A text, or a list of them; empty where there is none.
    std::vector<std::string> texts(std::string_view key);
    // Key and text value of each entry of a sub-table.
    std::vector<std::pair<std::string, std::string>> text_entries(std::string_view key);
    // Key and numbers (one, or a list) of each entry of a sub-table.
    std::vector<std::pair<std::string, std::vector<double>>> number_entries(std::string_view key);
    SettingsTable table(std::string_view key);
    [[nodiscard]] bool has(std::string_view key) const { return table_ != nullptr && table_->contains(key); }
    void accept(std::string_view key);
    [[nodiscard]] std::vector<std::string> keys() const;
    [[nodiscard]] bool is_table(std::string_view key) const;
    [[nodiscard]] bool is_text(std::string_view key) const;

    // "campaign.toml, line 7, transient.ra"
    [[nodiscard]] std::string place(std::string_view key) const;
    void refuse(std::string_view key, std::string what, std::string mend);
    void refuse(std::string_view key, const Problem& problem);
    // A key that is not known comes before all else: it is what is missing elsewhere, misspelt.
    [[nodiscard]] Result<void> finish();

  private:
    [[nodiscard]] const toml::node* node(std::string_view key);
    // Refused where a backslash made a control character of it.
    std::optional<std::string> printable(std::string_view key, const std::string& written);
    [[nodiscard]] std::string advice_on(const std::string& unknown_key) const;

    const toml::table* table_;
    std::string file_, name_;
    const SettingHomes* homes_;
    SettingHomes* noted_;
    std::set<std::string, std::less<>> asked_;
    std::optional<Problem> first_problem_;
};

}  // namespace emberline::night
