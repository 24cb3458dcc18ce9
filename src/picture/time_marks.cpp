// SPDX-License-Identifier: MIT
#include "picture/time_marks.hpp"

#include <algorithm>
#include <cmath>

#include "picture/paper.hpp"

namespace emberline::picture {
namespace {

constexpr double strip_height = 34.0, word_height = 17.0;
constexpr double tick_gap = 8.0, tick_length = 12.0;
constexpr double letter_width = 7.4;  // of small_font
// Marks of one word that lie this close together share it (share of the panel's width).
constexpr double one_word_share = 0.06;
constexpr double longest_bar_share = 0.08;  // of the width; a longer bar is cut off and dotted
constexpr double reach = 7.0;  // points nearer than this (units of the paper) hold the tick off the curve

std::optional<TickOnCurve> tick_of(const MarkedTime& mark, std::size_t b, const BandMarks& band,
                                   const PanelRanges& ranges, const Frame& frame) {
    if (!std::isfinite(mark.bjd_tdb) || !ranges.jd.holds(mark.bjd_tdb)) return std::nullopt;
    auto height = curve_at(band, mark.bjd_tdb);
    if (!height) return std::nullopt;
    const double near_d = reach / frame.width() * ranges.jd.span();
    const double at_most = 0.12 * ranges.mag.span();  // a far outlier does not move the tick
    for (const Mark& m : band.marks) {
        if (std::abs(m.jd - mark.bjd_tdb) < near_d && *height - m.mag < at_most && m.mag < *height)
            height = m.mag;
    }
    if (!ranges.mag.holds(*height)) return std::nullopt;
    const double err = std::isfinite(mark.err_d) && mark.err_d > 0.0 ? mark.err_d : 0.0;
    return TickOnCurve{b, mark.bjd_tdb, err, *height};
}

}  // namespace

MarksOnPaper place_time_marks(const CurvePicture& picture, const std::vector<BandMarks>& bands,
                              const PanelRanges& ranges, const Frame& frame) {
    MarksOnPaper placed{.jd = ranges.jd, .mag = ranges.mag};
    struct Group {
        std::string words;
        double last_jd;
        TickOnCurve uppermost;
    };
    std::vector<std::pair<std::string, TickOnCurve>> all;
    for (std::size_t b = 0; b < bands.size(); ++b) {
        for (const MarkedTime& mark : picture.bands[b].marks) {
            if (const auto tick = tick_of(mark, b, bands[b], ranges, frame))
                all.emplace_back(mark.words, *tick);
        }
    }
    std::stable_sort(all.begin(), all.end(),
                     [](const auto& a, const auto& b) { return a.second.jd < b.second.jd; });
    std::vector<Group> groups;
    for (const auto& [words, tick] : all) {
        placed.ticks.push_back(tick);
        const auto same =
            std::find_if(groups.rbegin(), groups.rend(), [&](const Group& g) { return g.words == words; });
        if (same != groups.rend() && tick.jd - same->last_jd < one_word_share * ranges.jd.span()) {
            same->last_jd = tick.jd;
            if (tick.mag < same->uppermost.mag) same->uppermost = tick;
        } else {
            groups.push_back({words, tick.jd, tick});
        }
    }
    std::vector<double> centres, lengths;
    std::vector<std::size_t> in_strip;
    double taken = 0.0;
    for (const Group& group : groups) {
        const std::string words = shortened(group.words, 24);
        const double length = letter_width * static_cast<double>(letters(words)) + 12.0;
        const bool covered = std::any_of(bands.begin(), bands.end(), [&](const BandMarks& band) {
            const auto other = curve_at(band, group.uppermost.jd);
            return &band != &bands[group.uppermost.band] && other && *other < group.uppermost.mag;
        });
        if (covered && !words.empty()) {
            placed.words.push_back({words, 0.0, group.uppermost, true});
            continue;
        }
        if (words.empty() || taken + length > frame.width()) continue;
        taken += length;
        in_strip.push_back(placed.words.size());
        placed.words.push_back({words, 0.0, group.uppermost});
        centres.push_back(frame.left +
                          (group.uppermost.jd - ranges.jd.low) / ranges.jd.span() * frame.width());
        lengths.push_back(length);
    }
    const auto where = moved_apart(centres, lengths, frame.left, frame.right);
    for (std::size_t i = 0; i < in_strip.size(); ++i)
        placed.words[in_strip[i]].x = where[i];
    if (!placed.ticks.empty())
        placed.mag.low -= ranges.mag.span() * strip_height / (frame.height() - strip_height);
    return placed;
}

void draw_time_marks(CurvePage& page, const MarksOnPaper& marks, const std::vector<BandLook>& looks,
                     const Frame& frame) {
    const auto x_of = [&](double jd) {
        return frame.left + (jd - marks.jd.low) / marks.jd.span() * frame.width();
    };
    const auto y_of = [&](double mag) {
        return frame.top + (mag - marks.mag.low) / marks.mag.span() * frame.height() - tick_gap;
    };
    for (const TickOnCurve& tick : marks.ticks) {
        const double x = x_of(tick.jd), y = y_of(tick.mag);
        const std::string& colour = looks[tick.band].colour;
        page.line(x, y, x, y - tick_length, 1.6, colour);
        const double err = tick.err_d / marks.jd.span() * frame.width();
        const double longest = longest_bar_share * frame.width();
        const double half = std::min(err, longest);
        const double from = std::max(x - half, frame.left), to = std::min(x + half, frame.right);
        if (err > 1.5)
            page.line(from, y - 0.5 * tick_length, to, y - 0.5 * tick_length, 1.2, colour,
                      err > longest ? "dt (2,3)" : "dt 1");
    }
    for (const WordOnPaper& word : marks.words) {
        const double tip = y_of(word.uppermost.mag) - tick_length - 2.0, x = x_of(word.uppermost.jd);
        const double below = frame.top + word_height, bend = below + 8.0;
        if (word.beside) {
            const bool room = x + letter_width * static_cast<double>(letters(word.words)) < frame.right;
            page.label(room ? x - 2.0 : x + 2.0, tip - 7.0, word.words,
                       words_style(room ? "left" : "right", small_font, ink));
            continue;
        }
        page.label(word.x, frame.top + 0.5 * word_height, word.words, words_style("center", small_font, ink));
        if (tip <= bend) continue;
        page.line(word.x, below, x, bend, 0.7, slate);
        page.line(x, bend, x, tip, 0.7, slate, "dt (2,3)");
    }
}

}  // namespace emberline::picture
