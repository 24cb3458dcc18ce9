// SPDX-License-Identifier: MIT
// picture/sheet_parts — the drawings and words of a night's sheet, the same in HTML and on paper. Private to
// this room.
#pragma once

#include <optional>
#include <string>
#include <utility>
#include <vector>

#include "picture/night_sheet.hpp"

namespace emberline::picture {

inline constexpr double sheet_width = 900.0;  // of drawings over the whole width

// Band names of the sheet, each once: their tones and shapes everywhere on it.
struct SheetLooks {
    std::vector<std::string> bands;
    std::vector<BandLook> looks;
    explicit SheetLooks(const NightSheet& sheet);
    [[nodiscard]] std::size_t index(const std::string& band) const;
    [[nodiscard]] Tone tone(const std::string& band) const { return band_tone(index(band)); }
    [[nodiscard]] Shape shape(const std::string& band) const { return looks[index(band)].shape; }
};

// Nothing where there is nothing to draw.
[[nodiscard]] std::optional<Drawing> draw_sheet_curve(const NightSheet& sheet, const SheetLooks& looks);
[[nodiscard]] std::optional<Drawing> draw_residuals(const SheetBand& band, double width);
[[nodiscard]] std::optional<Drawing> draw_air(const NightSheet& sheet, const SheetLooks& looks);

// A panel's axes: a value's place, ticks with numbers, words.
struct PanelAxis {
    double low = 0.0, high = 1.0;  // values at the near and the far end; high < low runs the other way
    double from = 0.0, to = 1.0;   // their places
    [[nodiscard]] double at(double value) const { return from + (to - from) * (value - low) / (high - low); }
};
// Grid lines and numbers of an upright axis at its left, with its words.
void draw_upright_axis(Drawing& drawing, const PanelAxis& y, double left, double right,
                       const std::string& words, int ticks);
// Grid lines and, where asked, numbers below.
void draw_level_axis(Drawing& drawing, const PanelAxis& x, double top, double bottom, bool numbers,
                     double less, int ticks);
// Dates of UTC above a panel whose times lie `lag_d` later, with a title left of them.
void draw_dates(Drawing& drawing, const PanelAxis& x, double top, double lag_d, int most);
void draw_bar(Drawing& drawing, double x, double low, double high, Tone tone, double width, double cap);
void draw_limit_arrow(Drawing& drawing, DrawPoint at, Tone tone, double size);

// Words.
[[nodiscard]] std::string magnitude_words(const night::NightMeasurement& m);  // "14.337 ± 0.015"
[[nodiscard]] std::string errors_words(const SheetBand& band);                // "random 0.005, common 0.014"
// "V of main" where the sheet has several instruments.
[[nodiscard]] std::string band_words(const NightSheet& sheet, const SheetBand& band);
// What a person asks next about a band's number.
[[nodiscard]] std::vector<SheetLine> facts_of(const NightSheet& sheet, const SheetBand& band);
// What the two errors mean, for this sheet.
[[nodiscard]] std::string errors_explained(const NightSheet& sheet);
// Every flag of the sheet: where it stands, the word, the sentence.
struct FlagWords {
    std::string word, bands, sentence;
};
[[nodiscard]] std::vector<FlagWords> flags_of(const NightSheet& sheet);
[[nodiscard]] std::string decline_words(const NightSheet& sheet);

// Tables, as text.
struct SheetTable {
    std::vector<std::string> heads;
    std::vector<std::vector<std::string>> rows;
    std::vector<bool> numeric;   // columns set flush right
    std::vector<double> shares;  // of the width, on paper
};
[[nodiscard]] SheetTable stars_table(const SheetBand& band);
[[nodiscard]] SheetTable frames_table(const NightSheet& sheet);

}  // namespace emberline::picture
