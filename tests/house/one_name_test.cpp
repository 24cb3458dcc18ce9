// SPDX-License-Identifier: MIT
#include <algorithm>
#include <catch2/catch.hpp>
#include <map>
#include <regex>
#include <string>

#include "house/house_rules.hpp"

using namespace emberline::test;

// What went wrong: two headers of one room each defined a StarLight, and no file included both. The compiler
// said nothing, and the linker was free to take the functions of one for the other's: the one-definition
// rule, ISO C++20 [basic.def.odr].
TEST_CASE("no two headers of a room define a type of one name", "[house]") {
    // Types of the namespace begin a line; those within another type are indented, and declarations end in ;.
    const std::regex defined("(?:struct|class|enum class) ([A-Za-z]+)(?: final)?(?: : [^;{]*)? \\{.*");
    std::map<std::string, std::string> homes;  // "night StarLight" -> its header
    for (const SourceFile& source : read_sources(EMBERLINE_SOURCE_DIR, "src")) {
        if (!source.path.ends_with(".hpp")) continue;
        const std::string room = source.path.substr(0, source.path.rfind('/'));
        for (std::size_t begin = 0; begin < source.text.size();) {
            const std::size_t end = std::min(source.text.find('\n', begin), source.text.size());
            std::smatch found;
            const std::string line = source.text.substr(begin, end - begin);
            if (std::regex_match(line, found, defined)) {
                const auto [home, is_new] = homes.try_emplace(room + ' ' + found[1].str(), source.path);
                INFO(home->first << " of " << home->second << " and " << source.path);
                CHECK(is_new);
            }
            begin = end + 1;
        }
    }
    CHECK(homes.size() > 300);
}
