// SPDX-License-Identifier: MIT
// picture/colour_panel — colours against time: one symbol an index, named at the right end of its points.
#pragma once

#include "picture/curve_page.hpp"

namespace emberline::picture {

[[nodiscard]] bool any_colour(const CurvePicture& picture);

// Points further than the sheet's range of time do not show. `numbers`: this panel is the lowest one, and
// carries the dates. `most`: about so many points in all.
void colour_panel(CurvePage& page, const CurvePicture& picture, const TimeAxis& axis, const PaperBox& panel,
                  bool numbers, std::size_t most);

}  // namespace emberline::picture
