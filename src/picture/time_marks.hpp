// SPDX-License-Identifier: MIT
// picture/time_marks — breaks, maxima and ends of plateaus: a short tick with its error bar above the curve
// of each band, and a word, once, in a strip above all points. Private to this room.
#pragma once

#include <string>
#include <vector>

#include "picture/curve_page.hpp"

namespace emberline::picture {

struct TickOnCurve {
    std::size_t band = 0;
    double jd = 0.0, err_d = 0.0;
    double mag = 0.0;  // just clear of the band's points, as drawn
};

struct WordOnPaper {
    std::string words;
    double x = 0.0, y = 0.0;  // centre, units of the paper
    TickOnCurve uppermost;    // where its leader ends
    bool near_tick = false;   // another curve lies above: the word stands near the tick instead
};

struct MarksOnPaper {
    std::vector<TickOnCurve> ticks;
    std::vector<WordOnPaper> words;
    Range jd, mag;  // mag: the panel's with a strip for the words, if there are any
};

struct PanelRanges {
    Range jd, mag;
};

// Whether any mark lies within those ranges, on a band's curve.
[[nodiscard]] bool any_time_mark(const CurvePicture& picture, const std::vector<BandMarks>& bands,
                                 const PanelRanges& ranges);
[[nodiscard]] MarksOnPaper place_time_marks(const CurvePicture& picture, const std::vector<BandMarks>& bands,
                                            const PanelRanges& ranges, const PaperBox& panel);
void draw_time_marks(CurvePage& page, const MarksOnPaper& marks, const std::vector<BandLook>& looks,
                     const PaperBox& panel);

}  // namespace emberline::picture
