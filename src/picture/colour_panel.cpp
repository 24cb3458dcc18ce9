// SPDX-License-Identifier: MIT
#include "picture/colour_panel.hpp"

#include <algorithm>
#include <cmath>

#include "picture/axis_ticks.hpp"
#include "picture/paper.hpp"
#include "picture/printed_text.hpp"

namespace emberline::picture {
namespace {

using lightcurve::ColourCurve;
using lightcurve::ColourPoint;

constexpr double stray_colour_mag = 0.7, longest_bar_mag = 0.3;
constexpr double note_height = 20.0;  // of the strip above the points

bool drawable(const ColourPoint& p) {
    return std::isfinite(p.bjd_tdb) && std::isfinite(p.mag);
}

double bar_of(const ColourPoint& p) {
    return std::isfinite(p.random_err_mag) ? std::max(p.random_err_mag, 0.0) : 0.0;
}

Range range_of(const std::vector<ColourCurve>& colours, const PaperBox& panel, bool note) {
    std::optional<Range> all;
    const auto include = [&](double value) {
        if (!all) all = Range{value, value};
        all = Range{std::min(all->low, value), std::max(all->high, value)};
    };
    for (const ColourCurve& colour : colours) {
        std::vector<double> values;
        for (const ColourPoint& p : colour.points)
            values.push_back(p.mag);
        const auto usual = range_without_strays(std::move(values), stray_colour_mag);
        for (const ColourPoint& p : colour.points) {
            if (!drawable(p) || !usual->holds(p.mag)) continue;
            include(p.mag - std::min(bar_of(p), longest_bar_mag));
            include(p.mag + std::min(bar_of(p), longest_bar_mag));
        }
    }
    const double missing = std::max(0.2 - all->span(), 0.0) / 2.0;
    const double pad = 0.07 * std::max(all->span(), 0.2) + missing;
    Range range{all->low - pad, all->high + pad};
    if (note) range.high += range.span() * note_height / (panel.height() - note_height);
    return range;
}

// A colour looks like its bluer band.
std::vector<BandLook> looks_of_colours(const CurvePicture& picture, const std::vector<ColourCurve>& colours) {
    std::vector<std::string> names;
    for (const CurveOnPaper& paper : picture.bands)
        names.push_back(paper.curve.band.name());
    for (const ColourCurve& colour : colours) {
        if (std::find(names.begin(), names.end(), colour.index.blue.name()) == names.end())
            names.push_back(colour.index.blue.name());
    }
    const std::vector<BandLook> of_bands = looks_of(names);
    std::vector<BandLook> looks;
    for (const ColourCurve& colour : colours) {
        const auto at = std::find(names.begin(), names.end(), colour.index.blue.name());
        looks.push_back(of_bands[static_cast<std::size_t>(at - names.begin())]);
    }
    return looks;
}

// Whose point it is, as marks_of() counts; the first where the picture does not show that band.
std::size_t series_index(const CurvePicture& picture, const ColourCurve& colour, const ColourPoint& point,
                         const std::vector<std::string>& series) {
    for (const CurveOnPaper& paper : picture.bands) {
        const lightcurve::LightCurve& curve = paper.curve;
        if (curve.band != colour.index.blue || point.blue >= curve.points.size()) continue;
        const std::size_t own = curve.points[point.blue].series;
        if (own >= curve.series.size()) return 0;
        const auto at = std::find(series.begin(), series.end(), curve.series[own]);
        return at == series.end() ? 0 : static_cast<std::size_t>(at - series.begin());
    }
    return 0;
}

// "reddening taken off: B−V 0.03, V−Rc 0.02 mag"; empty where none was.
std::string reddening_note(const std::vector<ColourCurve>& colours) {
    std::string note;
    for (const ColourCurve& colour : colours) {
        if (!(std::abs(colour.reddening_mag) > 0.0)) continue;
        note += fmt::format("{} {} {:.3f}", note.empty() ? "reddening taken off:" : ",",
                            with_minus(colour.index.name()), colour.reddening_mag);
    }
    return note.empty() ? note : note + " mag";
}

}  // namespace

bool any_colour(const CurvePicture& picture) {
    return std::any_of(picture.colours.begin(), picture.colours.end(), [](const ColourCurve& colour) {
        return std::any_of(colour.points.begin(), colour.points.end(), drawable);
    });
}

void colour_panel(CurvePage& page, const CurvePicture& picture, const TimeAxis& axis, const PaperBox& panel,
                  bool numbers, std::size_t most) {
    std::vector<ColourCurve> colours;
    std::size_t n = 0;
    for (const ColourCurve& colour : picture.colours) {
        if (std::none_of(colour.points.begin(), colour.points.end(), drawable)) continue;
        colours.push_back(colour);
        n += colour.points.size();
    }
    const std::vector<BandLook> looks = looks_of_colours(picture, colours);
    const std::string note = reddening_note(colours);
    const Range range = range_of(colours, panel, !note.empty());
    const std::size_t every = n / std::max<std::size_t>(most, 1) + 1;

    std::vector<std::string> plots;
    std::vector<double> ends, heights;
    const std::vector<std::string> series = series_of(picture);
    for (std::size_t c = 0; c < colours.size(); ++c) {
        double last = 0.0;
        for (std::size_t whose = series.size(); whose-- > 0;) {
            std::string rows;
            for (std::size_t i = 0; i < colours[c].points.size(); i += every) {
                const ColourPoint& p = colours[c].points[i];
                if (!drawable(p) || series_index(picture, colours[c], p, series) != whose) continue;
                rows += fmt::format("{:.6f} {:.6f} {:.6f}\n", axis.day(p.bjd_tdb), p.mag, bar_of(p));
                last = p.mag;
            }
            if (rows.empty()) continue;
            const std::string block = fmt::format("$c{}s{}", c, whose);
            page.add("{} << EOD\n{}EOD\n", block, rows);
            const SymbolLook look = symbol_of(looks[c], whose);
            // Where they crowd, bars let each other through (the first two digits).
            const std::string bar_colour = n > 400 ? "#c0" + look.colour.substr(1) : look.colour;
            plots.push_back(fmt::format("{} using 1:($2-$3):(0):(2*$3) with vectors nohead lw 1 lc rgb '{}'",
                                        block, bar_colour));
            plots.push_back(page.points(block, "1:2", look, n <= 120 ? 0.8 : 0.55));
        }
        const double share = std::clamp((range.high - last) / range.span(), 0.0, 1.0);
        ends.push_back(panel.top + share * panel.height());
        heights.push_back(16.0);
    }
    if (plots.empty()) plots.emplace_back("1/0");
    page.open_panel(panel);
    time_axis(page, axis, numbers);
    page.add("set yrange [{:.6f}:{:.6f}]\n", range.low, range.high);
    const double step = round_step(range.span(), 4);
    page.add("set ytics {:.9g} format '%.{}f'\n", step, std::max(decimals_of_step(step), 1));
    page.upright_label(panel, "colour (mag)");
    const auto placed = moved_apart(ends, heights, panel.top, panel.bottom);
    for (std::size_t c = 0; c < colours.size(); ++c)
        page.label(panel.right + 8.0, placed[c], with_minus(colours[c].index.name()),
                   words_style("left", usual_font, darker(looks[c].colour)));
    if (!note.empty())
        page.label(panel.left + 8.0, panel.top + 0.5 * note_height, note,
                   words_style("left", small_font, slate));
    page.plot(plots);
}

}  // namespace emberline::picture
