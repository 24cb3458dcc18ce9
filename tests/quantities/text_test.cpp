// SPDX-License-Identifier: MIT
#include "quantities/text.hpp"

#include <catch2/catch.hpp>

using namespace emberline;

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
