// SPDX-License-Identifier: MIT
// frame/wcs_cards — of a header, the cards that tell its plate solution, in the words WCSLIB expects.
// Private to this room. Many programs write what readers then guess: a double as 1.5D-3, numbers as strings,
// TAN for what is TPV. WCSLIB takes each silently for another number; here it is mended or refused.
// Sources: FITS standard 4.0, section 8; Greisen & Calabretta (2002), A&A 395, 1061; Calabretta & Greisen
// (2002), A&A 395, 1077; the SIP convention, Shupe et al. (2005), ASPC 347, 491.
#pragma once

#include <string>
#include <string_view>

#include "quantities/problem.hpp"

namespace emberline::frame {

// `cards`: a whole header. The result speaks of two axes, whatever else the header had. Problem, with the
// keyword: what is missing, is no number, is not in ICRS, or contradicts itself.
[[nodiscard]] Result<std::string> wcs_cards(std::string_view cards);

}  // namespace emberline::frame
