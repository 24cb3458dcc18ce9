// SPDX-License-Identifier: MIT
// frame/replace_plate — one header with its plate solution taken out and another put in. Private to this
// room. Sources: FITS standard 4.0, sections 8 and 4.4.2.7 (checksums); Shupe et al. (2005), ASPC 347, 491
// (SIP).
#pragma once

#include <string>
#include <string_view>
#include <vector>

#include "frame/header.hpp"

namespace emberline::frame {

// `header`: whole blocks, END and all. Out goes every card of the primary description, of any projection or
// distortion, and of each alternate description that is of the sky too; an alternate that is not (the chip's
// own coordinates) stays. `cards` stand where the first of them stood, `history` at the end. A CHECKSUM that
// held goes on holding, one that did not goes on not holding; DATASUM, which is of the pixels, stays.
[[nodiscard]] std::string with_another_plate(std::string_view header, const std::vector<Card>& cards,
                                             const std::vector<std::string>& history);

}  // namespace emberline::frame
