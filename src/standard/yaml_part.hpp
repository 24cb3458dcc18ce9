// SPDX-License-Identifier: MIT
// standard/yaml_part — the part of YAML that the headers of ECSV tables are written in: maps and lists, in
// lines or in brackets, and plain or quoted words. Tags and anchors are passed over. For this room and for
// exchange.
// Source: YAML 1.2.2, chapters 7 and 8.
#pragma once

#include <string>
#include <string_view>
#include <vector>

#include "quantities/problem.hpp"

namespace emberline::standard {

struct YamlEntry;

struct YamlNode {
    std::string word;            // where it is neither map nor list
    std::vector<YamlEntry> map;  // in the order of the file
    std::vector<YamlNode> list;

    [[nodiscard]] const YamlNode* find(std::string_view key) const;
    [[nodiscard]] std::string text(std::string_view key) const;  // of a word in a map; empty where absent
};

struct YamlEntry {
    std::string key;
    YamlNode value;
};

// Problem: brackets or quotation marks that do not close, nesting deeper than 40.
[[nodiscard]] Result<YamlNode> parse_yaml(const std::vector<std::string_view>& lines);

}  // namespace emberline::standard
