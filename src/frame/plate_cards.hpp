// SPDX-License-Identifier: MIT
// frame/plate_cards — of a header, the cards of its plate solution, to go with pixels made from its frame.
#pragma once

#include <vector>

#include "frame/header.hpp"
#include "quantities/problem.hpp"

namespace emberline::frame {

// Problem: a distortion in WAT cards (CTYPE …TNX or …ZPX), whose numbers go on from card to card, blanks and
// all, and would be lost.
[[nodiscard]] Result<std::vector<Card>> plate_cards(const Header& header);

// The same solution for a picture whose pixel (i, j) lies at stored pixel (phase_x + 2 i, phase_y + 2 j): a
// colour of a mosaic, or with phases of one half the mean of 2 × 2 pixels. CRPIX′ = (CRPIX − phase + 1)/2,
// CD′ = 2 CD (or CDELT′ = 2 CDELT), SIP A′_pq = 2^(p + q − 1) A_pq, its inverse likewise; PV stays, since it
// works on the intermediate world coordinates. Problem: as above, and a distortion kept in tables or in DP
// cards.
[[nodiscard]] Result<std::vector<Card>> halved_plate_cards(const Header& header, double phase_x,
                                                           double phase_y);

}  // namespace emberline::frame
