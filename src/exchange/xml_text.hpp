// SPDX-License-Identifier: MIT
// exchange/xml_text — text as XML 1.0 has it between tags and in attributes. Private to this room.
#pragma once

#include <string>
#include <string_view>

namespace emberline::exchange {

// A tab in an attribute would come back as a blank. The text must be printable() already.
[[nodiscard]] inline std::string xml_escaped(std::string_view text) {
    std::string out;
    out.reserve(text.size());
    for (const char c : text) {
        switch (c) {
            case '&':
                out += "&amp;";
                break;
            case '<':
                out += "&lt;";
                break;
            case '>':
                out += "&gt;";
                break;
            case '"':
                out += "&quot;";
                break;
            case '\t':
                out += "&#9;";
                break;
            default:
                out += c;
        }
    }
    return out;
}

}  // namespace emberline::exchange
