// SPDX-License-Identifier: MIT
// Every page is one plot whose axes are the drawing's units, so that lines, areas and pictures are laid on
// one another in their order; words, which gnuplot keeps apart, come on top.
#include <fmt/format.h>

#include "picture/gnuplot_process.hpp"
#include "picture/script_text.hpp"
#include "picture/sheet_drawing.hpp"

namespace emberline::picture {
namespace {

constexpr double points_per_cm = 72.0 / 2.54;

class PaperScript : private ScriptText {
  public:
    explicit PaperScript(const std::vector<BandLook>& bands) : bands_(bands) {}

    std::string write(const std::vector<Drawing>& pages) {
        const Drawing& first = pages.front();
        // The terminal sets letters of 4/3 of their size, and lines of half a point a unit.
        add("set terminal pdfcairo noenhanced color rounded size {:.4f}cm,{:.4f}cm font 'sans-serif,10' "
            "fontscale "
            "0.75 linewidth 2\nset encoding utf8\nunset key\nunset border\nunset tics\nunset colorbox\nset "
            "clip "
            "one\n",
            first.width() / points_per_cm, first.height() / points_per_cm);
        add("set lmargin at screen 0\nset rmargin at screen 1\nset bmargin at screen 0\nset tmargin at "
            "screen 1\n");
        add("set palette defined (0 '{}', 1 '{}')\nset cbrange [0:255]\nset style fill solid noborder\n",
            colour(Tone::ink), "#ffffff");
        for (const Drawing& page : pages)
            draw(page);
        return take();
    }

    void operator()(const DrawLine& l) {
        const std::string data = points(l.points);
        plots_.push_back(fmt::format("{} using 1:2 with lines lw {:.3f} {} lc rgb '{}'", data, l.width,
                                     dashes(l.dashes), colour(l.tone)));
    }
    void operator()(const DrawArea& a) {
        const std::string data = points(a.corners);
        plots_.push_back(
            fmt::format("{} using 1:2 with filledcurves closed fs transparent solid {:.3f} noborder "
                        "fc rgb '{}'",
                        data, a.opacity, colour(a.tone)));
    }
    void operator()(const DrawDisc& d) {
        const std::string data = points({d.centre});
        if (d.line_width > 0.0) {
            plots_.push_back(fmt::format(
                "{} using 1:2:({:.3f}) with circles fs empty border lc rgb '{}' lw {:.3f} {} fc rgb '{}'",
                data, d.radius, colour(d.tone), d.line_width, dashes(d.dashes), colour(d.tone)));
        } else {
            plots_.push_back(fmt::format("{} using 1:2:({:.3f}) with circles fs solid noborder fc rgb '{}'",
                                         data, d.radius, colour(d.tone)));
        }
    }
    void operator()(const DrawWords& w) {
        constexpr const char* sides[] = {"left", "center", "right"};
        // gnuplot sets the middle of a line at its place.
        const double middle = 0.36 * w.size;
        const DrawPoint at =
            w.upwards ? DrawPoint{w.at.x - middle, w.at.y} : DrawPoint{w.at.x, w.at.y - middle};
        if (w.on_paper) rim(w, at);
        add("set label {} at first {:.3f},{:.3f} {}{} font 'sans-serif{},{:.2f}' tc rgb '{}' front\n",
            gnuplot_text(w.words), at.x, at.y, sides[static_cast<int>(w.align)],
            w.upwards ? " rotate by 90" : "", w.bold ? ":Bold" : "", w.size, colour(w.tone));
    }
    void operator()(const DrawPicture& p) {
        const auto& grey = p.picture;
        const std::string name = fmt::format("$d{}", ++blocks_);
        add("{} << EOD\n", name);
        for (std::size_t y = 0; y < static_cast<std::size_t>(grey.height); ++y) {
            std::string row;
            for (std::size_t x = 0; x < static_cast<std::size_t>(grey.width); ++x)
                row += fmt::format("{} ", grey.grey[y * static_cast<std::size_t>(grey.width) + x]);
            add("{}\n", row);
        }
        add("EOD\n");
        const double dx = p.width / grey.width, dy = p.height / grey.height;
        plots_.push_back(fmt::format("{} matrix using ({:.4f}+{:.6f}*$1):({:.4f}+{:.6f}*$2):3 with image",
                                     name, p.corner.x + 0.5 * dx, dx, p.corner.y + 0.5 * dy, dy));
    }

  private:
    void draw(const Drawing& page) {
        plots_.clear();
        add("set xrange [0:{:.3f}]\nset yrange [{:.3f}:0]\n", page.width(), page.height());
        for (const DrawItem& item : page.items())
            std::visit(*this, item);
        add("plot ");
        if (plots_.empty()) add("1/0 notitle");  // words alone are a page too
        for (std::size_t i = 0; i < plots_.size(); ++i)
            add("{}{} notitle", i == 0 ? "" : ", \\\n     ", plots_[i]);
        add("\nunset label\n");
    }

    void rim(const DrawWords& w, DrawPoint at) {
        const double width = width_of(w.words, w.size, w.bold);
        const double left = w.align == Align::start ? at.x
                            : w.align == Align::end ? at.x - width
                                                    : at.x - 0.5 * width;
        DrawArea area;
        area.tone = Tone::paper;
        area.opacity = 0.75;
        const double half = 0.55 * w.size;
        area.corners = {{left - 1.0, at.y - half},
                        {left + width + 1.0, at.y - half},
                        {left + width + 1.0, at.y + half},
                        {left - 1.0, at.y + half}};
        (*this)(area);
    }

    std::string points(const std::vector<DrawPoint>& all) {
        const std::string name = fmt::format("$d{}", ++blocks_);
        add("{} << EOD\n", name);
        for (const DrawPoint& p : all)
            add("{:.3f} {:.3f}\n", p.x, p.y);
        add("EOD\n");
        return name;
    }
    [[nodiscard]] std::string colour(Tone tone) const { return colour_of(tone, bands_); }
    static const char* dashes(Dashes d) {
        constexpr const char* words[] = {"dt 1", "dt (6,4)", "dt (1.5,3)"};
        return words[static_cast<int>(d)];
    }

    const std::vector<BandLook>& bands_;
    std::vector<std::string> plots_;
    std::size_t blocks_ = 0;
};

}  // namespace

std::string paper_script(const std::vector<Drawing>& pages, const std::vector<BandLook>& bands) {
    return PaperScript(bands).write(pages);
}

}  // namespace emberline::picture
