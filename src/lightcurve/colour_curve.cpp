// SPDX-License-Identifier: MIT
#include "lightcurve/colour_curve.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <map>
#include <queue>
#include <tuple>

#include "lightcurve/extinction.hpp"
#include "lightcurve/merge_series.hpp"

namespace emberline::lightcurve {
namespace {

struct Detection {
    double bjd_tdb;
    bool is_blue;
    std::size_t point;
};

// What was measured, by the name of its series.
using BySeries = std::map<std::string, std::vector<Detection>>;

void collect(const LightCurve& curve, bool is_blue, BySeries& into) {
    for (std::size_t i = 0; i < curve.points.size(); ++i) {
        const Point& p = curve.points[i];
        if (p.is_limit || p.series >= curve.series.size() || !check_point(curve, i)) continue;
        // A point with a flux is checked by that alone.
        if (!p.magnitude_mag || !p.random_err_mag || !std::isfinite(*p.magnitude_mag - *p.random_err_mag))
            continue;
        into[curve.series[p.series]].push_back({p.bjd_tdb, is_blue, i});
    }
}

struct Pair {
    std::size_t blue, red;  // points
};

// The nearest two of both kinds are always neighbours in time, for whatever stood between them would be
// nearer to one of them. So only gaps between neighbours wait in the queue; taking two out closes a new gap.
void pair_nearest(std::vector<Detection> detections, double within_d, std::vector<Pair>& pairs) {
    std::stable_sort(detections.begin(), detections.end(),
                     [](const Detection& a, const Detection& b) { return a.bjd_tdb < b.bjd_tdb; });
    const std::size_t n = detections.size(), none = n;
    std::vector<std::size_t> before(n), after(n);
    std::vector<bool> taken(n, false);
    using Gap = std::tuple<double, std::size_t, std::size_t>;  // days, then the earlier pair first
    std::priority_queue<Gap, std::vector<Gap>, std::greater<>> gaps;
    const auto offer = [&](std::size_t i, std::size_t j) {
        if (i == none || j == none || detections[i].is_blue == detections[j].is_blue) return;
        const double days = detections[j].bjd_tdb - detections[i].bjd_tdb;
        if (days <= within_d) gaps.emplace(days, i, j);
    };
    for (std::size_t i = 0; i < n; ++i) {
        before[i] = i == 0 ? none : i - 1;
        after[i] = i + 1;
        offer(i, i + 1);
    }
    while (!gaps.empty()) {
        const auto [days, i, j] = gaps.top();
        gaps.pop();
        if (taken[i] || taken[j]) continue;
        taken[i] = taken[j] = true;
        const bool blue_first = detections[i].is_blue;
        pairs.push_back({detections[blue_first ? i : j].point, detections[blue_first ? j : i].point});
        const std::size_t left = before[i], right = after[j];
        if (left != none) after[left] = right;
        if (right != none) before[right] = left;
        offer(left, right);
    }
}

// For each common error of one curve its place in the other; the other's that have no counterpart.
struct SharedNames {
    std::vector<std::optional<std::size_t>> in_red;  // one a name of blue
    std::vector<std::size_t> red_only;
};

SharedNames match_names(const std::vector<std::string>& blue, const std::vector<std::string>& red) {
    SharedNames shared;
    std::map<std::string, std::size_t> unmatched;
    for (std::size_t k = 0; k < red.size(); ++k)
        unmatched.emplace(red[k], k);
    for (const std::string& name : blue) {
        const auto found = name.starts_with(offset_prefix) ? unmatched.end() : unmatched.find(name);
        shared.in_red.push_back(found == unmatched.end() ? std::nullopt : std::optional(found->second));
        if (found != unmatched.end()) unmatched.erase(found);
    }
    for (const auto& [name, k] : unmatched)
        shared.red_only.push_back(k);
    return shared;
}

double component(const Point& point, std::size_t k) {
    return point.common_err_mag.empty() ? 0.0 : point.common_err_mag[k];
}

double common_error(const Point& blue, const Point& red, const SharedNames& shared) {
    double variance = 0.0;
    for (std::size_t k = 0; k < shared.in_red.size(); ++k) {
        const double other = shared.in_red[k] ? component(red, *shared.in_red[k]) : 0.0;
        variance += std::pow(component(blue, k) - other, 2);
    }
    for (const std::size_t k : shared.red_only)
        variance += std::pow(component(red, k), 2);
    return std::sqrt(variance);
}

std::string systems_of(const ColourIndex& index) {
    const std::string &blue = facts(index.blue).system, &red = facts(index.red).system;
    if (blue == red) return fmt::format("{} magnitudes", blue);
    return fmt::format("{} on {} and {} on {}: an offset between the systems is in the colour",
                       index.blue.name(), blue, index.red.name(), red);
}

std::string reddening_note(const ColourIndex& index, double reddening_mag, double ebv_mag) {
    if (ebv_mag == 0.0) return "not corrected for reddening";
    const std::string blue = band_extinction(index.blue)->source, red = band_extinction(index.red)->source;
    return fmt::format("{:.3f} mag of reddening taken off, for a foreground E(B-V) of {:.3f} ({}; {})",
                       reddening_mag, ebv_mag, blue, red);
}

}  // namespace

Result<ColourCurve> colour_curve(const LightCurve& blue, const LightCurve& red, double within_d,
                                 double ebv_mag) {
    const ColourIndex index{blue.band, red.band};
    if (!(ebv_mag >= 0.0) || !std::isfinite(ebv_mag)) {
        return fail({.what = fmt::format("A reddening E(B-V) of {} is none.", ebv_mag),
                     .where = "colour curve",
                     .mend = "Give the reddening in magnitudes, zero or more."});
    }
    const auto dust_blue = band_extinction(blue.band), dust_red = band_extinction(red.band);
    if (!dust_blue || !dust_red || blue.band == red.band) {
        return fail({.what = "A colour needs two different bands.",
                     .where = "colour curve",
                     .mend = "Give the light curves of two bands."});
    }
    BySeries by_series;
    collect(blue, true, by_series);
    collect(red, false, by_series);
    std::vector<Pair> pairs;
    for (auto& [name, detections] : by_series)
        pair_nearest(std::move(detections), within_d, pairs);
    if (pairs.empty()) {
        return fail({.what = fmt::format("{} and {} were never measured within {:g} d of each other.",
                                         blue.band.name(), red.band.name(), within_d),
                     .where = fmt::format("colour {}", index.name()),
                     .mend = "A colour needs both bands in one night, by one observer."});
    }

    ColourCurve colours{.index = index, .points = {}, .reddening_mag = 0.0, .note = {}};
    colours.reddening_mag = (dust_blue->mag_per_ebv - dust_red->mag_per_ebv) * ebv_mag;
    colours.note =
        fmt::format("{}; {}", systems_of(index), reddening_note(index, colours.reddening_mag, ebv_mag));
    const SharedNames shared = match_names(blue.common_names, red.common_names);
    for (const Pair& pair : pairs) {
        const Point &b = blue.points[pair.blue], &r = red.points[pair.red];
        colours.points.push_back({.bjd_tdb = b.bjd_tdb + (r.bjd_tdb - b.bjd_tdb) / 2.0,
                                  .mag = *b.magnitude_mag - *r.magnitude_mag - colours.reddening_mag,
                                  .random_err_mag = std::hypot(*b.random_err_mag, *r.random_err_mag),
                                  .common_err_mag = common_error(b, r, shared),
                                  .blue = pair.blue,
                                  .red = pair.red});
    }
    std::sort(colours.points.begin(), colours.points.end(), [](const ColourPoint& a, const ColourPoint& b) {
        return std::tie(a.bjd_tdb, a.blue, a.red) < std::tie(b.bjd_tdb, b.blue, b.red);
    });
    return colours;
}

std::vector<ColourIndex> usual_colours(const std::vector<Band>& bands) {
    std::map<Band, Band> of_sequence;  // one band for each that they are calibrated on
    for (const Band& band : bands) {
        if (band.empty() || !(facts(band).width_nm > 0.0)) continue;
        const auto [place, is_new] = of_sequence.emplace(sequence_band(band), band);
        const bool itself = band == place->first;
        if (!is_new && (itself || (place->second != place->first && band < place->second)))
            place->second = band;
    }
    std::map<std::string, std::vector<Band>> by_system;
    for (const auto& [sequence, band] : of_sequence)
        by_system[facts(band).system].push_back(band);
    std::vector<ColourIndex> colours;
    for (auto& [system, members] : by_system) {
        std::sort(members.begin(), members.end(), [](const Band& a, const Band& b) {
            return facts(a).wavelength_nm < facts(b).wavelength_nm;
        });
        for (std::size_t i = 1; i < members.size(); ++i)
            colours.push_back({members[i - 1], members[i]});
    }
    std::stable_sort(colours.begin(), colours.end(), [](const ColourIndex& a, const ColourIndex& b) {
        return facts(a.blue).wavelength_nm < facts(b.blue).wavelength_nm;
    });
    return colours;
}

}  // namespace emberline::lightcurve
