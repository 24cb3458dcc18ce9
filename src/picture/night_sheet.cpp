// SPDX-License-Identifier: MIT
// Paper: pages of A4 filled from the top, a unit a point.
#include "picture/night_sheet.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "picture/gnuplot_process.hpp"
#include "picture/sheet_parts.hpp"

namespace emberline::picture {
namespace {

constexpr double page_width = 595.28, page_height = 841.89;  // A4
constexpr double margin = 42.0, right_edge = page_width - margin, column = page_width - 2.0 * margin;
constexpr double lowest = page_height - 54.0;
constexpr double small = 7.6, usual = 8.6;

class Pages {
  public:
    explicit Pages(const NightSheet& sheet) : sheet_(sheet), looks_(sheet) { turn_over(); }

    std::vector<Drawing> write() {
        heading();
        numbers();
        if (const auto drawing = draw_sheet_curve(sheet_, looks_)) {
            figure("The light curve", *drawing, 0.8 * column, decline_words(sheet_));
        }
        figure("The finder", draw_finder(sheet_.finder), 0.8 * column, sheet_.finder_words);
        if (!sheet_.bands.empty() || !sheet_.remarks.empty()) title("What to know about it", 40.0);
        paragraph(errors_explained(sheet_), small, Tone::slate);
        for (const std::string& remark : sheet_.remarks)
            paragraph(remark, usual, Tone::ink);
        flags();
        stars();
        if (const auto drawing = draw_air(sheet_, looks_)) {
            figure("The air", *drawing, 0.8 * column,
                   "Light: what the air let through, of the night's best. FWHM: width of the stars. Sky: its "
                   "surface brightness, brighter up.");
        }
        lines("Where it is", sheet_.place);
        lines("Settings", sheet_.settings);
        lines("Where it comes from", sheet_.provenance);
        if (!sheet_.frames.empty()) {
            y_ += 6.0;
            table(frames_table(sheet_), fmt::format("Frames: {}", sheet_.frames.size()));
        }
        for (std::size_t p = 0; p < pages_.size(); ++p) {
            pages_[p].words({margin, page_height - 28.0},
                            fmt::format("{}, the night of {}", sheet_.title, sheet_.night), small,
                            Align::start, Tone::slate);
            pages_[p].words({right_edge, page_height - 28.0}, fmt::format("{} of {}", p + 1, pages_.size()),
                            small, Align::end, Tone::slate);
        }
        return std::move(pages_);
    }

    [[nodiscard]] const std::vector<BandLook>& looks() const { return looks_.looks; }

  private:
    Drawing& page() { return pages_.back(); }

    void turn_over() {
        pages_.emplace_back(page_width, page_height);
        y_ = margin + 6.0;
    }
    // Room for so much, on the next page where this one is full.
    void need(double height) {
        if (y_ + height > lowest) turn_over();
    }

    void heading() {
        const DrawPoint mark{margin + 12.0, y_ + 6.0};
        for (const auto& [dx, dy] : {std::pair{1.0, 0.0}, {-1.0, 0.0}, {0.0, 1.0}, {0.0, -1.0}})
            page().line({{mark.x + 4.5 * dx, mark.y + 4.5 * dy}, {mark.x + 12.0 * dx, mark.y + 12.0 * dy}},
                        Tone::ember, 2.8);
        const auto title = lines_of(sheet_.title, 19.0, column - 40.0);
        for (std::size_t i = 0; i < std::min<std::size_t>(title.size(), 2); ++i) {
            page().words({margin + 36.0, y_ + 8.0}, title[i], 19.0, Align::start, Tone::ink, true);
            y_ += 22.0;
        }
        page().words({margin + 36.0, y_ + 2.0},
                     fmt::format("The night of {}{}{}", sheet_.night, sheet_.observer.empty() ? "" : " · ",
                                 sheet_.observer),
                     10.0, Align::start, Tone::slate);
        y_ += 26.0;
    }

    // Bands side by side, three in a row.
    void numbers() {
        if (sheet_.bands.empty()) {
            page().words({margin, y_ + 18.0}, "no magnitude", 24.0, Align::start, Tone::ink, true);
            y_ += 36.0;
        }
        constexpr std::size_t most = 3;
        constexpr double gap = 16.0;
        for (std::size_t first = 0; first < sheet_.bands.size(); first += most) {
            const std::size_t n = std::min(most, sheet_.bands.size() - first);
            const double wide = (column - gap * static_cast<double>(n - 1)) / static_cast<double>(n);
            double size = n == 1 ? 28.0 : 21.0, tallest = 0.0;
            for (std::size_t k = first; k < first + n; ++k) {
                const std::string number = magnitude_words(sheet_.bands[k].measured) + " mag";
                size = std::min(size, 0.93 * wide / width_of(number, 1.0, true));
                tallest = std::max(tallest, facts(sheet_.bands[k], {margin, 0.0}, wide, n, false));
            }
            const double head = 40.0 + size;
            need(head + tallest);
            for (std::size_t k = 0; k < n; ++k) {
                const SheetBand& band = sheet_.bands[first + k];
                const double x = margin + static_cast<double>(k) * (wide + gap);
                number(band, x, size);
                (void)facts(band, {x, y_ + head}, wide, n, true);
            }
            y_ += head + tallest + 6.0;
        }
    }

    void number(const SheetBand& band, double x, double size) {
        const std::string& name = band.measured.band.name();
        page().symbol({x + 5.0, y_ + 2.0}, looks_.shape(name), 4.2, looks_.tone(name),
                      band.measured.is_limit);
        page().words({x + 15.0, y_ + 5.5}, band_words(sheet_, band), 10.5, Align::start, Tone::ink, true);
        const double line = y_ + 14.0 + size;
        page().words({x, line}, magnitude_words(band.measured) + " mag", size, Align::start, Tone::ink, true);
        page().words({x, line + 13.0}, errors_words(band), usual, Align::start, Tone::slate);
    }

    // What is said of a number, in two columns where the band has the sheet for itself. Returns the height.
    double facts(const SheetBand& band, DrawPoint at, double wide, std::size_t n, bool draw) {
        constexpr double step = 11.0;
        const std::vector<SheetLine> all = facts_of(sheet_, band);
        const std::size_t columns = n == 1 ? 2 : 1, a_column = (all.size() + columns - 1) / columns;
        const double part = wide / static_cast<double>(columns), names = n > 2 ? 64.0 : 88.0;
        double tallest = 0.0;
        for (std::size_t first = 0; first < all.size(); first += a_column) {
            const double x = at.x + part * static_cast<double>(first / a_column);
            double y = at.y;
            for (std::size_t k = first; k < std::min(first + a_column, all.size()); ++k) {
                const auto left = lines_of(all[k].name, small, names - 6.0),
                           right = lines_of(all[k].value, small, part - names - 8.0);
                for (std::size_t i = 0; i < std::max(left.size(), right.size()); ++i, y += step) {
                    if (!draw) continue;
                    if (i < left.size()) page().words({x, y}, left[i], small, Align::start, Tone::slate);
                    if (i < right.size())
                        page().words({x + names, y}, right[i], small, Align::start, Tone::ink);
                }
            }
            tallest = std::max(tallest, y - at.y);
        }
        return tallest;
    }

    void paragraph(const std::string& text, double size, Tone tone) {
        for (const std::string& line : lines_of(text, size, column)) {
            need(size * 1.4);
            page().words({margin, y_ + size}, line, size, Align::start, tone);
            y_ += 1.4 * size;
        }
        if (!text.empty()) y_ += 4.0;
    }

    void title(const char* words, double with) {
        need(with + 32.0);
        y_ += 10.0;
        page().line({{margin, y_}, {right_edge, y_}}, Tone::faint, 0.7);
        page().words({margin, y_ + 15.0}, words, 11.5, Align::start, Tone::ink, true);
        y_ += 22.0;
    }

    void flags() {
        const auto all = flags_of(sheet_);
        if (all.empty()) return;
        std::vector<SheetLine> rows;
        for (const FlagWords& flag : all)
            rows.push_back(
                {sheet_.bands.size() == 1 ? flag.word : fmt::format("{} ({})", flag.word, flag.bands),
                 flag.sentence});
        rows_of(rows);
    }

    void figure(const char* words, const Drawing& drawing, double wide, const std::string& caption) {
        constexpr double least = 0.78;  // of the wanted size, before a new page is begun for it
        const double around =
            32.0 + 11.0 * static_cast<double>(lines_of(caption, small, column).size()) + 6.0;
        const double wanted = wide / drawing.width(), room = (lowest - y_ - around - 1.0) / drawing.height();
        const double scale = room >= least * wanted ? std::min(room, wanted) : wanted;
        title(words, drawing.height() * scale + around - 32.0);
        page().add(drawing, {margin, y_}, scale);
        y_ += drawing.height() * scale + 2.0;
        paragraph(caption, small, Tone::slate);
    }

    void rows_of(const std::vector<SheetLine>& all) {
        constexpr double names = 148.0;
        for (const SheetLine& line : all) {
            const auto left = lines_of(line.name, small, names - 8.0),
                       right = lines_of(line.value, small, column - names);
            for (std::size_t i = 0; i < std::max(left.size(), right.size()); ++i) {
                need(11.0);
                if (i < left.size())
                    page().words({margin, y_ + small}, left[i], small, Align::start, Tone::slate);
                if (i < right.size())
                    page().words({margin + names, y_ + small}, right[i], small, Align::start, Tone::ink);
                y_ += 11.0;
            }
        }
        y_ += 3.0;
    }

    void lines(const char* words, const std::vector<SheetLine>& all) {
        if (all.empty()) return;
        title(words, 30.0);
        rows_of(all);
    }

    void stars() {
        if (sheet_.bands.empty()) return;
        title("The comparison stars", 140.0);
        const bool alone = sheet_.bands.size() == 1;
        const double wide = alone ? 0.8 * column : 0.5 * column - 6.0,
                     drawn = alone ? sheet_width : 0.5 * sheet_width;
        double x = margin, tallest = 0.0;
        for (const SheetBand& band : sheet_.bands) {
            const auto drawing = draw_residuals(band, drawn);
            if (!drawing) continue;
            const double scale = wide / drawn;
            if (x + wide > right_edge + 1.0) {
                x = margin;
                y_ += tallest;
            }
            if (x == margin) need(drawing->height() * scale + 12.0);
            if (!alone)
                page().words({x + 6.0, y_ + 8.0}, band_words(sheet_, band), usual, Align::start, Tone::ink,
                             true);
            page().add(*drawing, {x, y_ + (alone ? 0.0 : 10.0)}, scale);
            tallest = drawing->height() * scale + (alone ? 4.0 : 14.0);
            x += wide + 12.0;
        }
        y_ += tallest;
        for (const SheetBand& band : sheet_.bands) {
            table(stars_table(band),
                  fmt::format("{}: measured less catalogue, magnitudes", band_words(sheet_, band)));
            if (&band == &sheet_.bands.back() || band.stars_remark != (&band + 1)->stars_remark)
                paragraph(band.stars_remark, small, Tone::slate);
        }
    }

    void row(const SheetTable& t, const std::vector<std::string>& cells, Tone tone, bool bold) {
        constexpr double gap = 7.0;
        std::vector<std::vector<std::string>> broken;
        std::size_t tallest = 1;
        for (std::size_t c = 0; c < cells.size(); ++c) {
            broken.push_back(lines_of(cells[c], small, t.shares[c] * column - gap));
            tallest = std::max(tallest, broken.back().size());
        }
        need(10.0 * static_cast<double>(tallest) + 3.0);
        double x = margin;
        for (std::size_t c = 0; c < cells.size(); ++c) {
            const double wide = t.shares[c] * column;
            for (std::size_t i = 0; i < broken[c].size(); ++i) {
                const double y = y_ + small + 10.0 * static_cast<double>(i);
                page().words({t.numeric[c] ? x + wide - gap : x, y}, broken[c][i], small,
                             t.numeric[c] ? Align::end : Align::start, tone, bold);
            }
            x += wide;
        }
        y_ += 10.0 * static_cast<double>(tallest) + 3.0;
        page().line({{margin, y_ - 1.5}, {right_edge, y_ - 1.5}}, Tone::faint, 0.5);
    }

    void table(const SheetTable& t, const std::string& caption) {
        need(48.0);
        page().words({margin, y_ + usual}, caption, usual, Align::start, Tone::ink, true);
        y_ += 14.0;
        row(t, t.heads, Tone::slate, true);
        for (const auto& cells : t.rows)
            row(t, cells, Tone::ink, false);
        y_ += 5.0;
    }

    const NightSheet& sheet_;
    SheetLooks looks_;
    std::vector<Drawing> pages_;
    double y_ = 0.0;
};

}  // namespace

Result<void> draw_night_sheet(const NightSheet& sheet, const std::string& path) {
    Pages pages(sheet);
    return run_gnuplot(paper_script(pages.write(), pages.looks()), path);
}

}  // namespace emberline::picture
