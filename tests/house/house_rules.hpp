// SPDX-License-Identifier: MIT
// The rules of the house, for the test that reads its sources: which room may include which, and behind which
// room each outside library stays.
#pragma once

#include <cstddef>
#include <string>
#include <string_view>
#include <vector>

namespace emberline::test {

struct SourceFile {
    std::string path;  // from the top of the project: "src/night/campaign.cpp"
    std::string text;
};

struct Breach {
    std::string path;
    std::size_t line = 0;  // 0: the file as a whole
    std::string what;
};

// No source grows beyond this: one noun a file.
inline constexpr std::size_t most_lines = 500;

// Everything about a file of src/ that breaks a rule; of other folders only licence and length are judged.
[[nodiscard]] std::vector<Breach> breaches(const SourceFile& file);

// Whether `from` may include `to`. Rooms that the house does not know may include nothing.
[[nodiscard]] bool may_include(std::string_view from, std::string_view to);
[[nodiscard]] const std::vector<std::string_view>& rooms();

// Every C++ and CMake file of the folder and below.
[[nodiscard]] std::vector<SourceFile> read_sources(const std::string& top, const std::string& folder);

[[nodiscard]] std::string in_words(const std::vector<Breach>& breaches);

}  // namespace emberline::test
