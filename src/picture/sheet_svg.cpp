// SPDX-License-Identifier: MIT
#include <fmt/format.h>

#include <algorithm>

#include "picture/script_text.hpp"
#include "picture/sheet_drawing.hpp"
#include "quantities/text.hpp"

namespace emberline::picture {
namespace {

class Svg : private ScriptText {
  public:
    std::string write(const Drawing& drawing, std::string_view shows) {
        add("<svg viewBox=\"0 0 {:.0f} {:.0f}\" role=\"img\" aria-label=\"{}\">\n", drawing.width(),
            drawing.height(), xml_text(shows));
        for (const DrawItem& item : drawing.items())
            std::visit(*this, item);
        add("</svg>\n");
        return take();
    }

    void operator()(const DrawLine& l) {
        add("<polyline class=\"l-{}\" stroke-width=\"{:.4g}\"{} points=\"{}\"/>\n", word(l.tone), l.width,
            dashes(l.dashes), list(l.points));
    }
    void operator()(const DrawArea& a) {
        add("<polygon class=\"a-{}\"", word(a.tone));
        if (a.opacity < 1.0) add(" fill-opacity=\"{:.3g}\"", a.opacity);
        add(" points=\"{}\"/>\n", list(a.corners));
    }
    void operator()(const DrawDisc& d) {
        add("<circle class=\"{}-{}\" cx=\"{:.2f}\" cy=\"{:.2f}\" r=\"{:.2f}\"",
            d.line_width > 0.0 ? 'l' : 'a', word(d.tone), d.centre.x, d.centre.y, d.radius);
        if (d.line_width > 0.0) add(" stroke-width=\"{:.4g}\"{}", d.line_width, dashes(d.dashes));
        add("/>\n");
    }
    void operator()(const DrawWords& w) {
        constexpr const char* anchors[] = {"start", "middle", "end"};
        add("<text class=\"a-{}{}\" x=\"{:.2f}\" y=\"{:.2f}\" font-size=\"{:.4g}\"", word(w.tone),
            w.on_paper ? " rim" : "", w.at.x, w.at.y, w.size);
        if (w.align != Align::start) add(" text-anchor=\"{}\"", anchors[static_cast<int>(w.align)]);
        if (w.bold) add(" font-weight=\"bold\"");
        if (w.upwards) add(" transform=\"rotate(-90 {:.2f} {:.2f})\"", w.at.x, w.at.y);
        add(">{}</text>\n", xml_text(w.words));
    }
    void operator()(const DrawPicture& p) {
        add("<image class=\"sky\" x=\"{:.2f}\" y=\"{:.2f}\" width=\"{:.2f}\" height=\"{:.2f}\" "
            "preserveAspectRatio=\"none\" href=\"{}\"/>\n",
            p.corner.x, p.corner.y, p.width, p.height, data_uri(p.picture));
    }

  private:
    static const char* dashes(Dashes d) {
        constexpr const char* words[] = {"", " stroke-dasharray=\"6 4\"", " stroke-dasharray=\"1.5 3\""};
        return words[static_cast<int>(d)];
    }
    static std::string list(const std::vector<DrawPoint>& points) {
        std::string out;
        for (const DrawPoint& p : points)
            out += fmt::format("{}{:.2f},{:.2f}", out.empty() ? "" : " ", p.x, p.y);
        return out;
    }
};

}  // namespace

std::string svg_of(const Drawing& drawing, std::string_view shows) {
    return Svg().write(drawing, shows);
}

std::string xml_text(std::string_view text) {
    std::string out;
    while (!text.empty()) {
        const std::size_t bytes = first_character_bytes(text);
        const std::string_view one = text.substr(0, std::max<std::size_t>(bytes, 1));
        if (bytes == 0) {
            out += static_cast<unsigned char>(one.front()) < 0x80U ? " " : "\uFFFD";
        } else if (one == "&") {
            out += "&amp;";
        } else if (one == "<") {
            out += "&lt;";
        } else if (one == ">") {
            out += "&gt;";
        } else if (one == "\"") {
            out += "&quot;";
        } else if (one == "'") {
            out += "&#39;";
        } else if (one == "\uFFFE" || one == "\uFFFF") {
            out += "\uFFFD";  // no characters of XML
        } else {
            out += one;
        }
        text.remove_prefix(one.size());
    }
    return out;
}

}  // namespace emberline::picture
