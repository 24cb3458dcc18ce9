// SPDX-License-Identifier: MIT
#include "picture/curve_picture.hpp"

#include <algorithm>
#include <cmath>

#include "picture/curve_marks.hpp"
#include "picture/curve_script.hpp"
#include "picture/gnuplot_process.hpp"

namespace emberline::picture {
namespace {

constexpr double shift_step_mag = 0.5;
// Two bands stay apart by this share of what one of them spans, within limits.
constexpr double share_of_span = 0.08, least_gap_mag = 0.05, most_gap_mag = 0.5;
// The curve is thought to go on level for so long before its first and after its last point.
constexpr double same_night_d = 0.75;

struct Lane {
    std::size_t band = 0;  // index into the picture's
    double wavelength_nm = 0.0;
    BandMarks marks;  // unshifted
    double span_mag = 0.0, usual_err_mag = 0.0;
};

Lane lane_of(const CurveOnPaper& paper, std::size_t index, const std::vector<std::string>& series) {
    CurveOnPaper plain = paper;
    plain.shift_mag = 0.0;
    plain.fit.reset();
    Lane lane{.band = index, .wavelength_nm = facts(paper.curve.band).wavelength_nm};
    lane.marks = marks_of(plain, series);
    std::vector<double> mags, errs;
    for (const Mark& m : lane.marks.marks) {
        mags.push_back(m.mag);
        errs.push_back(m.random_err);
    }
    if (const auto usual = range_without_strays(mags, 1.0)) {
        lane.span_mag = usual->span();
        std::erase_if(lane.marks.marks, [&](const Mark& m) { return !usual->holds(m.mag); });
    }
    if (!errs.empty()) {
        std::nth_element(errs.begin(), errs.begin() + static_cast<std::ptrdiff_t>(errs.size() / 2),
                         errs.end());
        lane.usual_err_mag = errs[errs.size() / 2];
    }
    std::stable_sort(lane.marks.marks.begin(), lane.marks.marks.end(),
                     [](const Mark& a, const Mark& b) { return a.jd < b.jd; });
    return lane;
}

std::optional<double> height_at(const Lane& lane, double jd) {
    const std::vector<Mark>& marks = lane.marks.marks;
    if (marks.empty()) return std::nullopt;
    if (jd < marks.front().jd)
        return marks.front().jd - jd < same_night_d ? std::optional(marks.front().mag) : std::nullopt;
    if (jd > marks.back().jd)
        return jd - marks.back().jd < same_night_d ? std::optional(marks.back().mag) : std::nullopt;
    return curve_at(lane.marks, jd);
}

// How far `lower` must move down (to greater magnitudes) to stay clear of `upper`; nothing where they share
// no time.
std::optional<double> way_down(const Lane& lower, const Lane& upper) {
    std::vector<double> room;  // of lower below upper, as they are
    for (const Mark& m : lower.marks.marks) {
        if (const auto other = height_at(upper, m.jd)) room.push_back(m.mag - *other);
    }
    for (const Mark& m : upper.marks.marks) {
        if (const auto other = height_at(lower, m.jd)) room.push_back(*other - m.mag);
    }
    if (room.empty()) return std::nullopt;
    // A few points may come closer: outliers do.
    const auto tight = static_cast<std::ptrdiff_t>(room.size() / 33);
    std::nth_element(room.begin(), room.begin() + tight, room.end());
    const double gap =
        std::clamp(share_of_span * std::max(lower.span_mag, upper.span_mag), least_gap_mag, most_gap_mag) +
        std::min(lower.usual_err_mag + upper.usual_err_mag, most_gap_mag);
    return gap - room[static_cast<std::size_t>(tight)];
}

double in_steps(double mag) {
    return shift_step_mag * std::ceil(mag / shift_step_mag - 1e-9);
}

}  // namespace

void spread_bands(CurvePicture& picture) {
    const auto series = series_of(picture);
    std::vector<Lane> lanes;
    for (std::size_t b = 0; b < picture.bands.size(); ++b) {
        picture.bands[b].shift_mag = 0.0;
        if (!picture.bands[b].curve.band.empty()) lanes.push_back(lane_of(picture.bands[b], b, series));
    }
    if (lanes.size() < 2) return;
    std::stable_sort(lanes.begin(), lanes.end(),
                     [](const Lane& a, const Lane& b) { return a.wavelength_nm > b.wavelength_nm; });
    std::size_t fixed = lanes.size() / 2;
    for (std::size_t i = 0; i < lanes.size(); ++i) {
        if (picture.bands[lanes[i].band].curve.band.name() == "V") fixed = i;
    }
    const auto shift = [&](std::size_t i) -> double& { return picture.bands[lanes[i].band].shift_mag; };
    for (std::size_t i = fixed + 1; i < lanes.size(); ++i) {
        for (std::size_t above = fixed; above < i; ++above) {
            if (const auto way = way_down(lanes[i], lanes[above]))
                shift(i) = std::max(shift(i), in_steps(*way + shift(above)));
        }
    }
    for (std::size_t i = fixed; i-- > 0;) {
        for (std::size_t below = i + 1; below < lanes.size(); ++below) {
            if (const auto way = way_down(lanes[below], lanes[i]))
                shift(i) = std::min(shift(i), -in_steps(*way - shift(below)));
        }
    }
}

Result<void> draw_curve(const CurvePicture& picture, const std::string& path) {
    const auto kind = paper_kind_of(path);
    if (!kind) return fail(kind.error());
    const auto script = curve_script(picture, *kind);
    if (!script) return fail(script.error());
    return run_gnuplot(*script, path);
}

}  // namespace emberline::picture
