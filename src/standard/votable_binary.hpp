// SPDX-License-Identifier: MIT
// standard/votable_binary — the cells of a VOTable as bytes. Private to this room.
// Sources: IVOA VOTable 1.4 (2019), sections 2.1, 5.3 and 5.4; RFC 4648 (base64).
#pragma once

#include <cstddef>
#include <string>
#include <string_view>
#include <vector>

#include "quantities/problem.hpp"
#include "standard/raw_catalogue.hpp"

namespace emberline::standard {

// A FIELD's type, as its attributes have it.
struct CellType {
    std::string datatype;   // "double"
    std::string arraysize;  // "", "16", "*", "12*", "2x*"
    std::string null;       // the whole number that stands for none; may be empty

    [[nodiscard]] bool is_text() const { return datatype == "char" || datatype == "unicodeChar"; }
    // Of one value: what can be a position or a magnitude.
    [[nodiscard]] bool is_number() const;
    // One yes or no, read as the text 1 or 0.
    [[nodiscard]] bool is_truth() const;
};

[[nodiscard]] Result<std::string> decode_base64(std::string_view text);

// Appends row after row to the wanted columns. `masked`: BINARY2, each row led by a bit a column that says
// whether the cell is none. Problem: an unknown type, bytes that end within a row (named), too many rows.
[[nodiscard]] Result<void> take_binary_rows(std::string_view bytes, bool masked,
                                            const std::vector<CellType>& types,
                                            const std::vector<std::size_t>& wanted, RawCatalogue& out);

}  // namespace emberline::standard
