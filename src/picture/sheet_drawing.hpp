// SPDX-License-Identifier: MIT
// picture/sheet_drawing — a drawing before it is known what it comes on: lines, areas, words and pictures in
// the order they are laid on one another, in tones that have a name instead of a colour. The same drawing
// goes into a page of HTML, whose style sheet knows the tones by day and by night, and onto paper through
// gnuplot. Places are units from the upper left corner, y down.
#pragma once

#include <cstddef>
#include <cstdint>
#include <string>
#include <string_view>
#include <variant>
#include <vector>

#include "picture/band_look.hpp"
#include "picture/grey_picture.hpp"

namespace emberline::picture {

// The bands of a sheet come behind the others, see band_tone().
enum class Tone : int { paper, ink, slate, faint, ember, band };
[[nodiscard]] inline Tone band_tone(std::size_t band) {
    return static_cast<Tone>(static_cast<int>(Tone::band) + static_cast<int>(band));
}
// "ink", "band2": the word of the style sheet.
[[nodiscard]] std::string word(Tone tone);
// By day, on paper.
[[nodiscard]] std::string colour_of(Tone tone, const std::vector<BandLook>& bands);

struct DrawPoint {
    double x = 0.0, y = 0.0;
};

enum class Dashes { none, dashed, dotted };

struct DrawLine {
    std::vector<DrawPoint> points;
    Tone tone = Tone::ink;
    double width = 1.0;
    Dashes dashes = Dashes::none;
};
struct DrawArea {
    std::vector<DrawPoint> corners;
    Tone tone = Tone::ink;
    double opacity = 1.0;
};
struct DrawDisc {
    DrawPoint centre;
    double radius = 1.0;
    Tone tone = Tone::ink;
    double line_width = 0.0;  // 0: filled
    Dashes dashes = Dashes::none;
};
enum class Align { start, middle, end };
struct DrawWords {
    DrawPoint at;  // of the base line
    std::string words;
    double size = 13.0;
    Align align = Align::start;
    Tone tone = Tone::ink;
    bool bold = false;
    bool upwards = false;   // turned to read from below
    bool on_paper = false;  // with a rim of paper, to be read over a picture
};
struct DrawPicture {
    DrawPoint corner;  // upper left
    double width = 0.0, height = 0.0;
    GreyPicture picture;
};

using DrawItem = std::variant<DrawLine, DrawArea, DrawDisc, DrawWords, DrawPicture>;

class Drawing {
  public:
    Drawing(double width, double height) : width_(width), height_(height) {}

    void line(std::vector<DrawPoint> points, Tone tone, double width = 1.0, Dashes dashes = Dashes::none);
    void rectangle(DrawPoint corner, double width, double height, Tone tone, double opacity);
    void outline(DrawPoint corner, double width, double height, Tone tone, double line_width);
    void circle(DrawPoint centre, double radius, Tone tone, double line_width, Dashes dashes = Dashes::none);
    // A filled shape, or its outline where it is open.
    void symbol(DrawPoint centre, Shape shape, double size, Tone tone, bool open = false);
    void words(DrawPoint at, std::string_view words, double size, Align align, Tone tone, bool bold = false);
    void add(DrawItem item) { items_.push_back(std::move(item)); }
    // Another drawing, its corner there, so many times as large.
    void add(const Drawing& other, DrawPoint corner, double scale);

    [[nodiscard]] double width() const { return width_; }
    [[nodiscard]] double height() const { return height_; }
    [[nodiscard]] const std::vector<DrawItem>& items() const { return items_; }

  private:
    double width_, height_;
    std::vector<DrawItem> items_;
};

// About how wide these words run, as a common sans-serif face sets them (measured on one of the wider ones,
// so that others fit).
[[nodiscard]] double width_of(std::string_view utf8, double size, bool bold = false);
// Broken between words into lines no wider than that; a word too long for a line is cut.
[[nodiscard]] std::vector<std::string> lines_of(std::string_view utf8, double size, double width);

// For a page of HTML, well-formed XML: <svg role="img"> with what it shows in words. Tones are classes, "l-"
// for lines, "a-" for areas and words.
[[nodiscard]] std::string svg_of(const Drawing& drawing, std::string_view shows);
// A sheet of paper each, 1 unit a point (1/72 inch), as a script for run_gnuplot() that makes a PDF.
[[nodiscard]] std::string paper_script(const std::vector<Drawing>& pages, const std::vector<BandLook>& bands);

// Text as XML holds it, in elements and attributes alike: without control characters or bytes that are no
// UTF-8.
[[nodiscard]] std::string xml_text(std::string_view text);

}  // namespace emberline::picture
