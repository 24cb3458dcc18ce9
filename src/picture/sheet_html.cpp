// SPDX-License-Identifier: MIT
#include <fmt/format.h>

#include <array>
#include <cmath>

#include "picture/script_text.hpp"
#include "picture/sheet_parts.hpp"

namespace emberline::picture {
namespace {

// Red alone by night: what is not red would cost the eyes their adaptation. Bands then differ by shape.
constexpr std::array night_bands = {"#ff3020", "#c81c10"};

constexpr const char* style = R"css(
*{box-sizing:border-box}
html{background:var(--paper);color:var(--ink);-webkit-text-size-adjust:100%}
body{margin:0 auto;max-width:62rem;padding:1.6rem 1.4rem 3rem;font:16px/1.5 system-ui,"Segoe UI","Noto Sans","DejaVu Sans",sans-serif}
h1,h2,h3,.number{font-family:Charter,"Bitstream Charter","Iowan Old Style",Georgia,"DejaVu Serif",serif;font-weight:600}
h1{font-size:2rem;line-height:1.15;margin:0}
h2{font-size:1.22rem;margin:2.3rem 0 .5rem;padding-top:.55rem;border-top:1px solid var(--faint)}
h3{font-size:1.05rem;margin:0}
p{margin:.4rem 0;max-width:48rem}
header{display:flex;gap:.9rem;align-items:center;flex-wrap:wrap}
header svg{width:2.5rem;height:2.5rem;flex:none}
header p{margin:.1rem 0 0;color:var(--slate)}
.numbers{display:grid;grid-template-columns:repeat(auto-fit,minmax(min(21rem,100%),1fr));gap:1.5rem 2.4rem;margin-top:1.5rem}
@media (min-width:52rem){.one dl{grid-template-columns:max-content 1fr max-content 1fr}}
.number{font-size:2.7rem;line-height:1.1;margin:.25rem 0 0;font-variant-numeric:tabular-nums lining-nums;letter-spacing:-.01em}
.number small{font-size:1.35rem;font-weight:400;letter-spacing:0}
.parts{margin:0 0 .6rem;color:var(--slate);font-variant-numeric:tabular-nums}
.bandname{display:flex;align-items:center;gap:.5rem}
.bandname svg{width:1.1rem;height:1.1rem;flex:none}
dl{display:grid;grid-template-columns:max-content 1fr;gap:.12rem 1rem;margin:.4rem 0;font-size:.92rem}
dt{color:var(--slate)}
dd{margin:0;overflow-wrap:anywhere;font-variant-numeric:tabular-nums}
figure{margin:.6rem 0}
figure svg{width:100%;height:auto;display:block}
figcaption,.small{font-size:.88rem;color:var(--slate);max-width:48rem}
.pair{display:grid;grid-template-columns:repeat(auto-fit,minmax(min(24rem,100%),1fr));gap:.5rem 1.5rem}
.scroll{overflow-x:auto}
table{border-collapse:collapse;width:100%;font-size:.88rem;font-variant-numeric:tabular-nums;margin:.5rem 0}
caption{text-align:left;font-weight:600;padding:.2rem 0}
th,td{text-align:left;padding:.2rem .8rem .2rem 0;vertical-align:baseline}
thead th{color:var(--slate);font-weight:600;border-bottom:1px solid var(--slate);white-space:nowrap}
tbody th{font-weight:600}
tbody td,tbody th{border-bottom:1px solid var(--faint)}
.n{text-align:right;white-space:nowrap}
.file{overflow-wrap:anywhere;min-width:9rem}
.mono{font-family:ui-monospace,"DejaVu Sans Mono",monospace;font-size:.84rem}
ul{margin:.4rem 0;padding-left:1.1rem;max-width:48rem}
svg text{font-family:system-ui,"Segoe UI","Noto Sans","DejaVu Sans",sans-serif}
svg .rim{paint-order:stroke;stroke:var(--paper);stroke-width:3px;stroke-linejoin:round}
)css";

constexpr const char* after_tones = R"css(
@media print{
body{max-width:none;padding:0;font-size:10pt}
h2{break-after:avoid;margin-top:1.4rem}
figure,.band,tr{break-inside:avoid}
.number{font-size:2.2rem}
.scroll{overflow:visible}
}
@page{size:A4;margin:15mm}
)css";

class Page : private ScriptText {
  public:
    explicit Page(const NightSheet& sheet) : sheet_(sheet), looks_(sheet) {}

    std::string write() {
        head();
        numbers();
        flags();
        curve();
        finder();
        stars();
        air();
        lines("Where it is", "place", sheet_.place);
        lines("Settings", "settings", sheet_.settings);
        provenance();
        add("</main>\n</body>\n</html>\n");
        return take();
    }

  private:
    void tones() {
        std::string by_day, by_night, classes;
        const auto tone = [&](Tone t, const std::string& night) {
            const std::string name = word(t);
            by_day += fmt::format("--{}:{};", name, colour_of(t, looks_.looks));
            by_night += fmt::format("--{}:{};", name, night);
            classes +=
                fmt::format("svg .l-{0}{{stroke:var(--{0});fill:none}}svg .a-{0}{{fill:var(--{0})}}\n", name);
        };
        tone(Tone::paper, "#000000");
        tone(Tone::ink, "#ff2a1a");
        tone(Tone::slate, "#dd1d10");
        tone(Tone::faint, "#450a05");
        tone(Tone::ember, "#ff4632");
        for (std::size_t b = 0; b < looks_.bands.size(); ++b)
            tone(band_tone(b), night_bands[b % night_bands.size()]);
        add("<style>\n:root{{color-scheme:light dark;{}}}\n@media screen and (prefers-color-scheme:dark){{\n"
            ":root{{{}}}\nsvg .sky{{filter:url(#night)}}\n}}{}{}{}</style>\n",
            by_day, by_night, style, classes, after_tones);
    }

    void head() {
        add("<!DOCTYPE html>\n<html lang=\"en\">\n<head>\n<meta charset=\"utf-8\" />\n"
            "<meta http-equiv=\"Content-Security-Policy\" content=\"default-src 'none'; style-src "
            "'unsafe-inline'; "
            "img-src data:\" />\n"
            "<meta name=\"viewport\" content=\"width=device-width, initial-scale=1\" />\n"
            "<meta name=\"color-scheme\" content=\"light dark\" />\n<title>{}, {}</title>\n",
            xml_text(sheet_.title), xml_text(sheet_.night));
        tones();
        add("</head>\n<body>\n"
            "<svg width=\"0\" height=\"0\" aria-hidden=\"true\" style=\"position:absolute\"><filter "
            "id=\"night\" "
            "color-interpolation-filters=\"sRGB\"><feColorMatrix type=\"matrix\" values=\"-1 0 0 0 1 0 0 0 0 "
            "0 0 0 0 0 "
            "0 0 0 0 1 0\"/></filter></svg>\n");
        Drawing mark(40.0, 40.0);
        for (const auto& [dx, dy] : {std::pair{1.0, 0.0}, {-1.0, 0.0}, {0.0, 1.0}, {0.0, -1.0}})
            mark.line({{20.0 + 7.0 * dx, 20.0 + 7.0 * dy}, {20.0 + 18.0 * dx, 20.0 + 18.0 * dy}}, Tone::ember,
                      4.5);
        add("<header>\n<span aria-hidden=\"true\">{}</span>\n<div><h1>{}</h1>\n<p>The night of "
            "{}{}{}</p></div>\n"
            "</header>\n<main>\n",
            svg_of(mark, ""), xml_text(sheet_.title), xml_text(sheet_.night),
            sheet_.observer.empty() ? "" : " · ", xml_text(sheet_.observer));
    }

    void list(const std::vector<SheetLine>& all) {
        add("<dl>\n");
        for (const SheetLine& line : all)
            add("<dt>{}</dt><dd>{}</dd>\n", xml_text(line.name), xml_text(line.value));
        add("</dl>\n");
    }

    void numbers() {
        add("<section class=\"numbers{}\" aria-label=\"The night's numbers\">\n",
            sheet_.bands.size() == 1 ? " one" : "");
        for (const SheetBand& band : sheet_.bands) {
            Drawing symbol(20.0, 20.0);
            const std::string& name = band.measured.band.name();
            symbol.symbol({10.0, 10.0}, looks_.shape(name), 7.0, looks_.tone(name), band.measured.is_limit);
            add("<div class=\"band\">\n<h3 class=\"bandname\"><span aria-hidden=\"true\">{}</span>{}</h3>\n",
                svg_of(symbol, ""), xml_text(band_words(sheet_, band)));
            number(band.measured);
            const std::string parts = errors_words(band);
            if (!parts.empty()) add("<p class=\"parts\">{}</p>\n", xml_text(parts));
            list(facts_of(sheet_, band));
            add("</div>\n");
        }
        if (sheet_.bands.empty()) add("<p class=\"number\">no magnitude</p>\n");
        add("</section>\n");
        const std::string explained = errors_explained(sheet_);
        if (!explained.empty()) add("<p class=\"small\">{}</p>\n", xml_text(explained));
        if (sheet_.remarks.empty()) return;
        add("<ul>\n");
        for (const std::string& remark : sheet_.remarks)
            add("<li>{}</li>\n", xml_text(remark));
        add("</ul>\n");
    }

    void number(const night::NightMeasurement& m) {
        if (m.is_limit && m.limit_mag) {
            add("<p class=\"number\"><small>fainter than</small> {:.2f} <small>mag</small></p>\n",
                *m.limit_mag);
            return;
        }
        const std::string words = magnitude_words(m);
        const std::size_t sign = words.find(" ±");
        if (sign == std::string::npos) {
            add("<p class=\"number\">{}</p>\n", words);
        } else {
            add("<p class=\"number\">{} <small>{} mag</small></p>\n", words.substr(0, sign),
                words.substr(sign + 1));
        }
    }

    void section(const char* title, const char* id) {
        add("<section aria-labelledby=\"{0}\">\n<h2 id=\"{0}\">{1}</h2>\n", id, title);
    }

    void flags() {
        const auto all = flags_of(sheet_);
        if (all.empty()) return;
        section("What to know about it", "flags");
        add("<dl>\n");
        for (const FlagWords& flag : all) {
            const bool everywhere = sheet_.bands.size() == 1;
            add("<dt>{}{}</dt><dd>{}</dd>\n", xml_text(flag.word),
                everywhere ? std::string() : fmt::format(" ({})", xml_text(flag.bands)),
                xml_text(flag.sentence));
        }
        add("</dl>\n</section>\n");
    }

    void figure(const Drawing& drawing, const std::string& shows, const std::string& caption) {
        add("<figure>\n{}", svg_of(drawing, shows));
        if (!caption.empty()) add("<figcaption>{}</figcaption>\n", xml_text(caption));
        add("</figure>\n");
    }

    void curve() {
        const auto drawing = draw_sheet_curve(sheet_, looks_);
        if (!drawing) return;
        section("The light curve", "curve");
        figure(*drawing,
               fmt::format("Light curve of {}, magnitude against time, with the night of {} marked. {}",
                           sheet_.title, sheet_.night, decline_words(sheet_)),
               decline_words(sheet_));
        add("</section>\n");
    }

    void finder() {
        section("The finder", "finder");
        std::string shows = fmt::format("Finder of {}, north up and east left, with {} stars of the sequence",
                                        sheet_.title, sheet_.finder.stars.size());
        shows += sheet_.finder.pictures ? " on the picture of a frame." : " drawn from their positions.";
        figure(draw_finder(sheet_.finder), shows, sheet_.finder_words);
        add("</section>\n");
    }

    void table(const SheetTable& t, const std::string& caption, const std::vector<std::size_t>& mono = {}) {
        add("<div class=\"scroll\"><table>\n<caption>{}</caption>\n<thead><tr>", xml_text(caption));
        for (std::size_t c = 0; c < t.heads.size(); ++c)
            add("<th scope=\"col\"{}>{}</th>", t.numeric[c] ? " class=\"n\"" : "", xml_text(t.heads[c]));
        add("</tr></thead>\n<tbody>\n");
        for (const auto& row : t.rows) {
            add("<tr>");
            for (std::size_t c = 0; c < row.size(); ++c) {
                const bool fixed = std::find(mono.begin(), mono.end(), c) != mono.end();
                const char* kind = t.numeric[c]          ? " class=\"n\""
                                   : fixed               ? " class=\"mono\""
                                   : c + 1 == row.size() ? " class=\"file\""
                                                         : "";
                const bool first = c == 0;
                add("<{0}{1}{2}>{3}</{0}>", first ? "th" : "td", first ? " scope=\"row\"" : "", kind,
                    xml_text(row[c]));
            }
            add("</tr>\n");
        }
        add("</tbody>\n</table></div>\n");
    }

    void stars() {
        if (sheet_.bands.empty()) return;
        section("The comparison stars", "stars");
        const bool alone = sheet_.bands.size() == 1;
        if (!alone) add("<div class=\"pair\">\n");
        for (const SheetBand& band : sheet_.bands) {
            const auto drawing = draw_residuals(band, alone ? sheet_width : 0.5 * sheet_width);
            if (!drawing) continue;
            figure(*drawing,
                   fmt::format("Residuals of the comparison stars in {}, measured less catalogue, against "
                               "magnitude; the table below has the numbers.",
                               band_words(sheet_, band)),
                   "");
        }
        if (!alone) add("</div>\n");
        for (const SheetBand& band : sheet_.bands) {
            table(stars_table(band),
                  fmt::format("{}: measured less catalogue, magnitudes", band_words(sheet_, band)));
            if (!band.stars_remark.empty() &&
                (&band == &sheet_.bands.back() || band.stars_remark != (&band + 1)->stars_remark))
                add("<p class=\"small\">{}</p>\n", xml_text(band.stars_remark));
        }
        add("</section>\n");
    }

    void air() {
        const auto drawing = draw_air(sheet_, looks_);
        if (!drawing) return;
        section("The air", "air");
        figure(*drawing,
               fmt::format("Light let through, width of the stars and brightness of the sky for {} frames "
                           "against time; the table of frames has the numbers.",
                           sheet_.frames.size()),
               "Light: what the air let through, of the night's best. FWHM: width of the stars. Sky: its "
               "surface brightness, brighter up.");
        add("</section>\n");
    }

    void lines(const char* title, const char* id, const std::vector<SheetLine>& all) {
        if (all.empty()) return;
        section(title, id);
        list(all);
        add("</section>\n");
    }

    void provenance() {
        section("Where it comes from", "provenance");
        list(sheet_.provenance);
        if (!sheet_.frames.empty())
            table(frames_table(sheet_), fmt::format("Frames: {}", sheet_.frames.size()), {8});
        add("</section>\n");
    }

    const NightSheet& sheet_;
    SheetLooks looks_;
};

}  // namespace

std::string night_sheet_html(const NightSheet& sheet) {
    return Page(sheet).write();
}

}  // namespace emberline::picture
