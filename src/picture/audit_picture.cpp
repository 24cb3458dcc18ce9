// SPDX-License-Identifier: MIT
#include "picture/audit_picture.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <set>
#include <vector>

#include "picture/axis_ticks.hpp"
#include "picture/gnuplot_process.hpp"
#include "picture/paper.hpp"
#include "picture/printed_text.hpp"
#include "picture/script_text.hpp"
#include "picture/terminal.hpp"

namespace emberline::picture {
namespace {

using night::StarFault;
using night::StarOnTrial;

// In the paper's units, from its top; a strip is a star.
constexpr int heading_height = 104, strip_height = 46, strip_gap = 8, foot_height = 62;
constexpr double left = 0.165, right = 0.735;
constexpr double least_range_mag = 0.05;
constexpr double room = 1.15;

class AuditScript : private ScriptText {
  public:
    AuditScript(const night::SequenceAudit& audit, const std::string& title) : audit_(audit), title_(title) {
        std::set<std::string> bands, instruments;
        for (const StarOnTrial& trial : audit.stars) {
            bands.insert(trial.star.band.name());
            instruments.insert(trial.star.instrument);
            if (trial.star.nights.empty()) continue;
            if (strips_.size() < most_strips) strips_.push_back(&trial);
            from_jd_ = std::min(from_jd_, trial.star.nights.front().jd_utc);
            to_jd_ = std::max(to_jd_, trial.star.nights.back().jd_utc);
        }
        several_bands_ = bands.size() > 1;
        several_instruments_ = instruments.size() > 1;
        const double margin = std::max(0.04 * (to_jd_ - from_jd_), 0.3);
        from_jd_ -= margin;
        to_jd_ += margin;
    }

    [[nodiscard]] bool empty() const { return strips_.empty(); }

    std::string write(PaperKind kind) {
        point_size_ = kind == PaperKind::svg ? 0.55 : 0.9;
        height_ =
            heading_height + foot_height + static_cast<int>(strips_.size()) * (strip_height + strip_gap);
        add("{}set encoding utf8\nset multiplot\nunset key\nset minussign\n",
            terminal(kind, "audit", height_));
        heading();
        for (std::size_t i = 0; i < strips_.size(); ++i)
            strip(i);
        add("unset multiplot\n");
        return take();
    }

  private:
    [[nodiscard]] double screen(double units_from_top) const { return 1.0 - units_from_top / height_; }

    void label(double x, double y, std::string_view content, double size, const char* colour) {
        add("set label {} at screen {:.5f},{:.5f} left font 'sans-serif,{:g}' tc rgb '{}' front\n",
            gnuplot_text(content), x, y, size, colour);
    }

    void heading() {
        const auto accused = std::count_if(audit_.stars.begin(), audit_.stars.end(),
                                           [](const StarOnTrial& t) { return t.star.accused(); });
        label(0.03, screen(30), fmt::format("{}: the comparison stars on trial", title_), 19.0, ink);
        label(0.03, screen(56),
              fmt::format("measured − catalogue (mag), each against the others, {} nights, {} frames; {}",
                          audit_.nights, audit_.frames,
                          accused == 0 ? std::string("none is accused") : fmt::format("{} accused", accused)),
              13.0, slate);
        label(0.03, screen(76), "grey: the catalogue's error", 12.0, slate);
        if (strips_.size() < audit_.stars.size())
            label(0.3, screen(76), fmt::format("{} more are not drawn", audit_.stars.size() - strips_.size()),
                  12.0, slate);
    }

    [[nodiscard]] std::string name_of(const StarOnTrial& trial) const {
        std::string name = trial.star.label;
        if (several_bands_) name += "  " + trial.star.band.name();
        if (several_instruments_) name += "  " + trial.star.instrument;
        return name;
    }

    static std::string standing_of(const StarOnTrial& trial) {
        std::string words(word(trial.star.fault));
        if (trial.star.check) words += ", check star";
        if (trial.star.set_aside) words += ", set aside";
        return words;
    }

    void strip(std::size_t number) {
        const StarOnTrial& trial = *strips_[number];
        const auto& star = trial.star;
        const char* colour = star.accused() ? ember : star.fault == StarFault::cannot_tell ? slate : ink;
        const double top = heading_height + static_cast<double>(number) * (strip_height + strip_gap);
        const double middle = top + 0.5 * strip_height;
        double range = std::max(least_range_mag, star.catalogue_err_mag);
        add("$s{} << EOD\n", number);
        for (const night::StarNight& n : star.nights) {
            range = std::max(range, std::abs(n.residual_mag.value) + n.residual_mag.err);
            add("{:.5f} {:.5f} {:.5f}\n", n.jd_utc - from_jd_, n.residual_mag.value, n.residual_mag.err);
        }
        add("EOD\n");
        range *= room;
        label(0.03, screen(middle), name_of(trial), 14.0, colour);
        label(right + 0.015, screen(middle - 8), standing_of(trial), 13.0, colour);
        label(right + 0.015, screen(middle + 10), numbers_of(trial), 11.0, slate);
        add("set lmargin at screen {:.5f}\nset rmargin at screen {:.5f}\nset bmargin at screen {:.5f}\nset "
            "tmargin "
            "at screen {:.5f}\n",
            left, right, screen(top + strip_height), screen(top));
        add("set border 2 lw 1 lc rgb '{0}'\nset tics nomirror out scale 0.5 textcolor rgb '{1}' font "
            "'sans-serif,10'\nset xrange [0:{2:.5f}]\nset yrange [{3:.5f}:{4:.5f}]\n",
            slate, slate, to_jd_ - from_jd_, range, -range);  // brighter is up
        const double tick = tick_below(range);
        add("set ytics ('−{0}' {1:.9g}, '0' 0, '+{0}' {2:.9g})\n",
            fmt::format("{:.{}f}", tick, decimals_of_step(tick)), -tick, tick);
        time_axis(number);
        add("set object 1 rectangle from graph 0, first {:.5f} to graph 1, first {:.5f} fs solid noborder fc "
            "rgb "
            "'{}' behind\n",
            star.catalogue_err_mag, -star.catalogue_err_mag, faint_line);
        add("set arrow 1 from graph 0, first 0 to graph 1, first 0 nohead lw 1 lc rgb '{}' back\n", slate);
        // Bars first, without points: a point of yerrorbars clears its surroundings, short bars with them.
        add("plot $s{0} using 1:($2 - $3):(0):(2 * $3) with vectors nohead lw 1.3 lc rgb '{2}' notitle, "
            "$s{0} using 1:2 with points "
            "pt 7 ps {1:.3f} lc rgb '{2}' notitle\n",
            number, point_size_, colour);
        add("unset arrow\nunset object\nunset label\n");
    }

    // The largest round number within the strip.
    static double tick_below(double range) {
        double tick = round_step(range, 1);
        for (int wanted = 2; tick > range && wanted <= 4; ++wanted)
            tick = round_step(range, wanted);
        return tick;
    }

    static std::string numbers_of(const StarOnTrial& trial) {
        std::string words;
        if (trial.star.offset_mag)
            words = with_minus(
                fmt::format("{:+.3f} ± {:.3f}", trial.star.offset_mag->value, trial.star.offset_mag->err));
        if (trial.removal && trial.star.accused())
            words += fmt::format("; moves nights ≤ {:.3f}", std::abs(trial.removal->largest_change_mag));
        return words;
    }

    void time_axis(std::size_t number) {
        if (number + 1 < strips_.size()) {
            add("unset xtics\nset xlabel\n");
            return;
        }
        std::string ticks;
        for (const DateTick& t : date_ticks(from_jd_, to_jd_, 8))
            ticks += fmt::format("{}{} {:.5f}", ticks.empty() ? "" : ", ", gnuplot_text(t.label),
                                 t.jd_utc - from_jd_);
        add("set border 3\nset xtics ({}) nomirror out scale 0.6 textcolor rgb '{}' font 'sans-serif,12'\n",
            ticks, ink);
        add("set xlabel 'UTC' offset 0,0.4 tc rgb '{}' font 'sans-serif,12'\n", slate);
    }

    const night::SequenceAudit& audit_;
    const std::string& title_;
    std::vector<const StarOnTrial*> strips_;
    bool several_bands_ = false, several_instruments_ = false;
    double from_jd_ = HUGE_VAL, to_jd_ = -HUGE_VAL, point_size_ = 0.6;
    int height_ = 0;
};

}  // namespace

Result<void> draw_audit(const night::SequenceAudit& audit, const std::string& title,
                        const std::string& path) {
    const auto kind = paper_kind_of(path);
    if (!kind) return fail(kind.error());
    AuditScript script(audit, title);
    if (script.empty()) {
        return fail({.what = "There is no star to draw: none was measured on any night.",
                     .where = path,
                     .mend = "Measure frames first."});
    }
    return run_gnuplot(script.write(*kind), path);
}

}  // namespace emberline::picture
