// SPDX-License-Identifier: MIT
#include "picture/sheet_drawing.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <array>
#include <cmath>
#include <numbers>

#include "picture/paper.hpp"

namespace emberline::picture {
namespace {

std::vector<DrawPoint> corners_of(DrawPoint centre, Shape shape, double size) {
    using std::numbers::pi;
    // Shapes of one size cover about the same paper; angles from straight up.
    int corners = 4;
    double radius = size, turn = 0.0;
    switch (shape) {
        case Shape::square:
            radius = 1.2 * size;
            turn = pi / 4.0;
            break;
        case Shape::diamond:
            radius = 1.3 * size;
            break;
        case Shape::triangle:
            corners = 3;
            radius = 1.35 * size;
            break;
        case Shape::inverted_triangle:
            corners = 3;
            radius = 1.35 * size;
            turn = pi;
            break;
        case Shape::pentagon:
            corners = 5;
            radius = 1.15 * size;
            break;
        case Shape::circle:
            corners = 24;
            break;
    }
    std::vector<DrawPoint> points;
    for (int i = 0; i < corners; ++i) {
        const double angle = turn + 2.0 * pi * i / corners;
        points.push_back({centre.x + radius * std::sin(angle), centre.y - radius * std::cos(angle)});
    }
    return points;
}

// Widths of letters in parts of the size, by groups of about the same.
double letter_width(char32_t c) {
    constexpr std::u32string_view thin = U"ijl|!'.,:;I’·′″ ", narrow = U"frt()[]{}/\\-\"`‐°",
                                  wide = U"mwMW%@—→";
    if (thin.find(c) != std::u32string_view::npos) return 0.33;
    if (narrow.find(c) != std::u32string_view::npos) return 0.43;
    if (wide.find(c) != std::u32string_view::npos) return 0.97;
    if (c >= U'A' && c <= U'Z') return 0.69;
    if (c >= 0x2e80) return 1.0;
    if (c == U'±' || c == U'−' || c == U'+' || c == U'=' || c == U'×') return 0.84;
    return 0.62;
}

// The letters of it; a byte that is no UTF-8 counts as one.
std::u32string letters_in(std::string_view utf8) {
    std::u32string out;
    for (const char c : utf8) {
        const auto byte = static_cast<unsigned char>(c);
        if ((byte & 0xC0U) == 0x80U && !out.empty()) {
            out.back() = (out.back() << 6U) | (byte & 0x3FU);
        } else {
            out += static_cast<char32_t>(byte < 0x80U   ? byte
                                         : byte < 0xE0U ? byte & 0x1FU
                                         : byte < 0xF0U ? byte & 0x0FU
                                                        : byte & 0x07U);
        }
    }
    return out;
}

// As many bytes of it as fit, whole letters, at least one.
std::size_t bytes_that_fit(std::string_view utf8, double size, double width) {
    std::size_t end = 0;
    while (end < utf8.size()) {
        std::size_t next = end + 1;
        while (next < utf8.size() && (static_cast<unsigned char>(utf8[next]) & 0xC0U) == 0x80U)
            ++next;
        if (end > 0 && width_of(utf8.substr(0, next), size) > width) break;
        end = next;
    }
    return end;
}

struct Mover {
    DrawPoint corner;
    double scale;
    [[nodiscard]] DrawPoint at(DrawPoint p) const { return {corner.x + scale * p.x, corner.y + scale * p.y}; }
    void all(std::vector<DrawPoint>& points) const {
        for (DrawPoint& p : points)
            p = at(p);
    }
    void operator()(DrawLine& l) const {
        all(l.points);
        l.width *= scale;
    }
    void operator()(DrawArea& a) const { all(a.corners); }
    void operator()(DrawDisc& d) const {
        d.centre = at(d.centre);
        d.radius *= scale;
        d.line_width *= scale;
    }
    void operator()(DrawWords& w) const {
        w.at = at(w.at);
        w.size *= scale;
    }
    void operator()(DrawPicture& p) const {
        p.corner = at(p.corner);
        p.width *= scale;
        p.height *= scale;
    }
};

}  // namespace

std::string word(Tone tone) {
    constexpr std::array names = {"paper", "ink", "slate", "faint", "ember"};
    const auto at = static_cast<std::size_t>(tone);
    return at < names.size() ? names[at] : fmt::format("band{}", at - names.size());
}

std::string colour_of(Tone tone, const std::vector<BandLook>& bands) {
    constexpr std::array colours = {paper, ink, slate, faint_line, ember};
    const auto at = static_cast<std::size_t>(tone);
    if (at < colours.size()) return colours[at];
    return at - colours.size() < bands.size() ? bands[at - colours.size()].colour : slate;
}

void Drawing::line(std::vector<DrawPoint> points, Tone tone, double width, Dashes dashes) {
    add(DrawLine{std::move(points), tone, width, dashes});
}

void Drawing::rectangle(DrawPoint corner, double width, double height, Tone tone, double opacity) {
    add(DrawArea{{corner,
                  {corner.x + width, corner.y},
                  {corner.x + width, corner.y + height},
                  {corner.x, corner.y + height}},
                 tone,
                 opacity});
}

void Drawing::outline(DrawPoint corner, double width, double height, Tone tone, double line_width) {
    line({corner,
          {corner.x + width, corner.y},
          {corner.x + width, corner.y + height},
          {corner.x, corner.y + height},
          corner},
         tone, line_width);
}

void Drawing::circle(DrawPoint centre, double radius, Tone tone, double line_width, Dashes dashes) {
    add(DrawDisc{centre, radius, tone, line_width, dashes});
}

void Drawing::symbol(DrawPoint centre, Shape shape, double size, Tone tone, bool open) {
    auto corners = corners_of(centre, shape, size);
    if (!open) return add(DrawArea{std::move(corners), tone, 1.0});
    corners.push_back(corners.front());
    corners.push_back(corners[1]);  // so that the last corner is joined like the others
    line(std::move(corners), tone, 0.3 * size);
}

void Drawing::words(DrawPoint at, std::string_view words, double size, Align align, Tone tone, bool bold) {
    add(DrawWords{
        .at = at, .words = std::string(words), .size = size, .align = align, .tone = tone, .bold = bold});
}

void Drawing::add(const Drawing& other, DrawPoint corner, double scale) {
    for (DrawItem item : other.items()) {
        std::visit(Mover{corner, scale}, item);
        items_.push_back(std::move(item));
    }
}

double width_of(std::string_view utf8, double size, bool bold) {
    double sum = 0.0;
    for (const char32_t c : letters_in(utf8))
        sum += letter_width(c);
    return sum * size * (bold ? 1.1 : 1.0);
}

std::vector<std::string> lines_of(std::string_view utf8, double size, double width) {
    std::vector<std::string> lines;
    std::string line;
    while (!utf8.empty()) {
        const std::size_t end = std::min(utf8.find(' '), utf8.size());
        std::string_view next = utf8.substr(0, end);
        utf8.remove_prefix(std::min(end + 1, utf8.size()));
        if (next.empty()) continue;
        if (!line.empty() && width_of(line, size) + width_of(" ", size) + width_of(next, size) > width) {
            lines.push_back(std::move(line));
            line.clear();
        }
        while (line.empty() && width_of(next, size) > width) {
            const std::size_t fits = bytes_that_fit(next, size, width);
            if (fits == next.size()) break;
            lines.emplace_back(next.substr(0, fits));
            next.remove_prefix(fits);
        }
        if (!line.empty()) line += ' ';
        line += next;
    }
    if (!line.empty()) lines.push_back(std::move(line));
    return lines;
}

}  // namespace emberline::picture
