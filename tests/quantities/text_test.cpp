// SPDX-License-Identifier: MIT
#include "quantities/text.hpp"

#include <catch2/catch.hpp>

using namespace emberline;
using namespace std::string_view_literals;

TEST_CASE("a number is the whole of a text, and finite", "[text]") {
    // common practice, no source
    CHECK(parse_number("1.5") == 1.5);
    CHECK(parse_number(" -3e2\t") == -300.0);
    CHECK(parse_number("+7") == 7.0);
    for (const char* none :
         {"", " ", "1.5x", "1,5", "nan", "inf", "-infinity", "0x10", "1e400", "+-1", "++1"}) {
        INFO(none);
        CHECK_FALSE(parse_number(none));
    }
    // 2⁶³ − 1 is the greatest of 64 bits.
    CHECK(parse_integer("9223372036854775807") == 9223372036854775807LL);
    for (const char* none : {"9223372036854775808", "1.0", "1e3", ""})
        CHECK_FALSE(parse_integer(none));
}

TEST_CASE("text is UTF-8 without control characters", "[text]") {
    // RFC 3629, sections 3 and 4: shortest forms alone, no surrogates, nothing above U+10FFFF.
    for (const char* good : {"", "a\tb", "\xC3\xA9", "\xE2\x82\xAC", "\xF4\x8F\xBF\xBF"})
        CHECK(is_plain_text(good));
    for (const char* bad : {"a\nb", "\x01", "\x7F", "\xC0\x80", "\xE0\x80\xAF", "\xED\xA0\x80",
                            "\xF4\x90\x80\x80", "\xE2\x82", "\x80", "\xFF"}) {
        INFO(bad);
        CHECK_FALSE(is_plain_text(bad));
    }
}

TEST_CASE("a text is cut at every separator, and looked through for words", "[text]") {
    CHECK(split("a;;b;"sv, ';') == std::vector<std::string_view>{"a", "", "b", ""});
    CHECK(split(""sv, ';') == std::vector<std::string_view>{""});
    CHECK(contains_any("stack of 20 frames", {"sum", "stack"}));
    CHECK_FALSE(contains_any("Stack", {"stack"}));
    CHECK_FALSE(contains_any("stack", {}));
}

TEST_CASE("the bytes of a text's first character are those of UTF-8, and none for what is no text",
          "[text]") {
    // RFC 3629, section 3: one to four bytes; section 4: no overlong forms, no surrogates, nothing past
    // U+10FFFF.
    const struct {
        const char* text;
        std::size_t bytes;
    } cases[] = {{"", 0},
                 {"a", 1},
                 {"\t", 1},
                 {"\n", 0},
                 {"\x7f", 0},
                 {"é-", 2},
                 {"″", 3},
                 {"\U0001F30C!", 4},
                 {"\xC3", 0},
                 {"\xE2\x80", 0},
                 {"\xBF", 0},
                 {"\xC0\x80", 0},
                 {"\xED\xA0\x80", 0},
                 {"\xF4\x90\x80\x80", 0},
                 {"a\xFF", 1}};
    for (const auto& one : cases) {
        INFO('"' << one.text << '"');
        CHECK(first_character_bytes(one.text) == one.bytes);
    }
}
