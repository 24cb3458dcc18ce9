// SPDX-License-Identifier: MIT
#include "picture/time_marks.hpp"

#include <algorithm>
#include <cmath>

#include "picture/paper.hpp"
#include "picture/printed_text.hpp"

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
                                   const PanelRanges& ranges, const PaperBox& panel) {
    if (!std::isfinite(mark.bjd_tdb) || !ranges.jd.holds(mark.bjd_tdb)) return std::nullopt;
    auto height = curve_at(band, mark.bjd_tdb);
    if (!height) return std::nullopt;
    const double near_d = reach / panel.width() * ranges.jd.span();
    const double at_most = 0.12 * ranges.mag.span();  // a far outlier does not move the tick
    for (const Mark& m : band.marks) {
        if (std::abs(m.jd - mark.bjd_tdb) < near_d && *height - m.mag < at_most && m.mag < *height)
            height = m.mag;
    }
    if (!ranges.mag.holds(*height)) return std::nullopt;
    const double err = std::isfinite(mark.err_d) && mark.err_d > 0.0 ? mark.err_d : 0.0;
    return TickOnCurve{b, mark.bjd_tdb, err, *height};
}

struct Box {
    double left, right, top, bottom;
    [[nodiscard]] double middle() const { return 0.5 * (left + right); }
    [[nodiscard]] bool meets(const Box& other) const {
        return left < other.right && other.left < right && top < other.bottom && other.top < bottom;
    }
};

// The panel as it will be printed.
struct Sheet {
    Range jd, mag;
    PaperBox panel;
    [[nodiscard]] double x_of(double at) const {
        return panel.left + (at - jd.low) / jd.span() * panel.width();
    }
    [[nodiscard]] double jd_of(double x) const {
        return jd.low + (x - panel.left) / panel.width() * jd.span();
    }
    [[nodiscard]] double y_of(double at) const {
        return panel.top + (at - mag.low) / mag.span() * panel.height();
    }
    [[nodiscard]] double foot_of(const TickOnCurve& tick) const { return y_of(tick.mag) - tick_gap; }
    [[nodiscard]] Box tick_box(const TickOnCurve& tick) const {
        const double err = std::min(tick.err_d / jd.span(), longest_bar_share) * panel.width();
        const double half = std::max(err, 3.0);
        return {x_of(tick.jd) - half, x_of(tick.jd) + half, foot_of(tick) - tick_length, foot_of(tick)};
    }
    [[nodiscard]] bool hits_curves(const Box& box, const std::vector<BandMarks>& bands) const {
        constexpr double half_symbol = 4.0, step = 6.0;
        for (const BandMarks& band : bands) {
            for (double x = box.left; x <= box.right; x += step) {
                const auto at = curve_at(band, jd_of(x));
                if (at && y_of(*at) > box.top && y_of(*at) < box.bottom) return true;
            }
            for (const Mark& m : band.marks) {
                const double x = x_of(m.jd), y = y_of(m.mag);
                if (box.meets({x - half_symbol, x + half_symbol, y - half_symbol, y + half_symbol}))
                    return true;
            }
        }
        return false;
    }
    // Over the tick or under the curve, where the word prints over nothing; nothing where it would anywhere.
    [[nodiscard]] std::optional<Box> free_box(const WordOnPaper& word, const std::vector<BandMarks>& bands,
                                              const std::vector<Box>& taken) const {
        const double length = letter_width * static_cast<double>(letters(word.words));
        const double x = x_of(word.uppermost.jd), over = foot_of(word.uppermost) - tick_length - 2.0;
        const double under = foot_of(word.uppermost) + tick_gap + 6.0 + word_height;
        for (const double bottom : {over, under}) {
            for (const double left : {x - 0.5 * length, x - 3.0, x - length + 3.0}) {
                const Box box{left, left + length, bottom - word_height, bottom};
                const bool inside = box.left > panel.left && box.right < panel.right && box.top > panel.top &&
                                    box.bottom < panel.bottom;
                if (inside && !hits_curves(box, bands) &&
                    std::none_of(taken.begin(), taken.end(),
                                 [&](const Box& other) { return box.meets(other); }))
                    return box;
            }
        }
        return std::nullopt;
    }
};

}  // namespace

bool any_time_mark(const CurvePicture& picture, const std::vector<BandMarks>& bands,
                   const PanelRanges& ranges) {
    const PaperBox any{0.0, paper_width, 0.0, paper_width};
    for (std::size_t b = 0; b < bands.size(); ++b) {
        for (const MarkedTime& mark : picture.bands[b].marks) {
            if (tick_of(mark, b, bands[b], ranges, any)) return true;
        }
    }
    return false;
}

MarksOnPaper place_time_marks(const CurvePicture& picture, const std::vector<BandMarks>& bands,
                              const PanelRanges& ranges, const PaperBox& panel) {
    MarksOnPaper placed{.jd = ranges.jd, .mag = ranges.mag};
    struct Group {
        std::string words;
        double last_jd;
        TickOnCurve uppermost;
    };
    std::vector<std::pair<std::string, TickOnCurve>> all;
    for (std::size_t b = 0; b < bands.size(); ++b) {
        for (const MarkedTime& mark : picture.bands[b].marks) {
            if (const auto tick = tick_of(mark, b, bands[b], ranges, panel))
                all.emplace_back(mark.words, *tick);
        }
    }
    std::stable_sort(all.begin(), all.end(),
                     [](const auto& a, const auto& b) { return a.second.jd < b.second.jd; });
    std::vector<Group> groups;
    for (const auto& [words, tick] : all) {
        placed.ticks.push_back(tick);
        const auto same = std::find_if(groups.rbegin(), groups.rend(),
                                       [&said = words](const Group& g) { return g.words == said; });
        if (same != groups.rend() && tick.jd - same->last_jd < one_word_share * ranges.jd.span()) {
            same->last_jd = tick.jd;
            if (tick.mag < same->uppermost.mag) same->uppermost = tick;
        } else {
            groups.push_back({words, tick.jd, tick});
        }
    }
    std::vector<double> centres, lengths;
    std::vector<std::size_t> in_strip;
    std::vector<WordOnPaper> near_ticks;
    double taken = 0.0;
    for (const Group& group : groups) {
        const std::string words = shortened(group.words, 24);
        const double length = letter_width * static_cast<double>(letters(words)) + 12.0;
        const bool covered = std::any_of(bands.begin(), bands.end(), [&](const BandMarks& band) {
            const auto other = curve_at(band, group.uppermost.jd);
            return &band != &bands[group.uppermost.band] && other && *other < group.uppermost.mag;
        });
        if (covered && !words.empty()) {
            near_ticks.push_back({words, 0.0, 0.0, group.uppermost, true});
            continue;
        }
        if (words.empty() || taken + length > panel.width()) continue;
        taken += length;
        in_strip.push_back(placed.words.size());
        placed.words.push_back({words, 0.0, panel.top + 0.5 * word_height, group.uppermost});
        centres.push_back(panel.left +
                          (group.uppermost.jd - ranges.jd.low) / ranges.jd.span() * panel.width());
        lengths.push_back(length);
    }
    const auto where = moved_apart(centres, lengths, panel.left, panel.right);
    for (std::size_t i = 0; i < in_strip.size(); ++i)
        placed.words[in_strip[i]].x = where[i];
    if (!in_strip.empty())
        placed.mag.low -= ranges.mag.span() * strip_height / (panel.height() - strip_height);
    const Sheet sheet{placed.jd, placed.mag, panel};
    std::vector<Box> taken_boxes;
    for (const TickOnCurve& tick : placed.ticks)
        taken_boxes.push_back(sheet.tick_box(tick));
    for (WordOnPaper& word : near_ticks) {
        if (const auto box = sheet.free_box(word, bands, taken_boxes)) {
            word.x = box->middle();
            word.y = 0.5 * (box->top + box->bottom);
            taken_boxes.push_back(*box);
            placed.words.push_back(word);
        }
    }
    return placed;
}

void draw_time_marks(CurvePage& page, const MarksOnPaper& marks, const std::vector<BandLook>& looks,
                     const PaperBox& panel) {
    const Sheet sheet{marks.jd, marks.mag, panel};
    for (const TickOnCurve& tick : marks.ticks) {
        const double x = sheet.x_of(tick.jd), y = sheet.foot_of(tick);
        const std::string& colour = looks[tick.band].colour;
        page.line(x, y, x, y - tick_length, 1.6, colour);
        const double err = tick.err_d / marks.jd.span() * panel.width();
        const double longest = longest_bar_share * panel.width();
        const double half = std::min(err, longest);
        const double from = std::max(x - half, panel.left), to = std::min(x + half, panel.right);
        if (err > 1.5)
            page.line(from, y - 0.5 * tick_length, to, y - 0.5 * tick_length, 1.2, colour,
                      err > longest ? "dt (2,3)" : "dt 1");
    }
    for (const WordOnPaper& word : marks.words) {
        const double x = sheet.x_of(word.uppermost.jd);
        const double tip = sheet.foot_of(word.uppermost) - tick_length - 2.0;
        page.label(word.x, word.y, word.words, words_style("center", small_font, ink));
        const double below = panel.top + word_height, bend = below + 8.0;
        if (word.near_tick || tip <= bend) continue;
        page.line(word.x, below, x, bend, 0.7, slate);
        page.line(x, bend, x, tip, 0.7, slate, "dt (2,3)");
    }
}

}  // namespace emberline::picture
