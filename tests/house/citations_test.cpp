// SPDX-License-Identifier: MIT
#include <catch2/catch.hpp>
#include <fstream>
#include <iterator>
#include <regex>
#include <set>

#include "house/house_rules.hpp"

using namespace emberline::test;

namespace {

using Citation = std::pair<std::string, std::string>;  // the name next to the year, and the year

// "Moffat 1969", "Osborn et al. (2015)", "Merline & Howell 1995": the last name before the year.
std::set<Citation> citations_in(const std::string& text) {
    static const std::regex pattern(
        "([A-Z][a-z\x80-\xff][A-Za-z\x80-\xff-]*)(?: et al\\.)?,? \\(?((?:18|19|20)[0-9]{2})\\b(?!-)");
    static const std::set<std::string> no_names{"January",   "February", "March",    "April",
                                                "May",       "June",     "July",     "August",
                                                "September", "October",  "November", "December"};
    std::set<Citation> found;
    for (std::sregex_iterator it(text.begin(), text.end(), pattern), end; it != end; ++it) {
        if (!no_names.contains((*it)[1])) found.emplace((*it)[1], (*it)[2]);
    }
    return found;
}

struct Entry {
    std::string text;
    [[nodiscard]] bool has(const std::string& field, const std::string& value) const {
        const auto at = text.find("\n  " + field + " ");
        return at != std::string::npos &&
               text.substr(at + 1, text.find('\n', at + 1) - at).find(value) != std::string::npos;
    }
};

std::vector<Entry> entries_of(std::string text) {
    // Accents as LaTeX has them, back to letters.
    text = std::regex_replace(text, std::regex(R"(\{\\"o\})"), "ö");
    text = std::regex_replace(text, std::regex(R"(\{\\'e\})"), "é");
    std::vector<Entry> entries;
    for (auto at = text.find('@'); at != std::string::npos;) {
        const auto next = text.find("\n@", at);
        entries.push_back({text.substr(at, next == std::string::npos ? next : next - at)});
        at = next == std::string::npos ? next : next + 1;
    }
    return entries;
}

bool known(const std::vector<Entry>& entries, const Citation& citation) {
    for (const Entry& entry : entries) {
        if (entry.has("author", citation.first) && entry.has("year", citation.second)) return true;
    }
    return false;
}

}  // namespace

TEST_CASE("every paper that a source cites is in the list of references", "[house]") {
    std::ifstream in(EMBERLINE_SOURCE_DIR "/data/references.bib", std::ios::binary);
    REQUIRE(in);
    const auto entries = entries_of({std::istreambuf_iterator<char>(in), {}});
    std::size_t cited = 0;
    for (const SourceFile& source : read_sources(EMBERLINE_SOURCE_DIR, "src")) {
        for (const Citation& citation : citations_in(source.text)) {
            INFO(source.path << ": " << citation.first << ' ' << citation.second);
            CHECK(known(entries, citation));
            ++cited;
        }
    }
    CHECK(cited > 10);
    CHECK_FALSE(known(entries, {"Nobody", "1994"}));
    CHECK_FALSE(known(entries, {"Young", "1995"}));
}

TEST_CASE("citations are found in the ways that sources write them", "[house]") {
    const auto found = citations_in(
        "// by Moffat 1969, A&A; (Osborn et al. 2015) and Merline & Howell (1995);\n"
        "// Hörmann 1993: RFC 1951; since December 2016, on 2024-02-03, Filter 2024-02\n");
    CHECK(found == std::set<Citation>{
                       {"Moffat", "1969"}, {"Osborn", "2015"}, {"Howell", "1995"}, {"Hörmann", "1993"}});
}
