// SPDX-License-Identifier: MIT
#include "night/star_colours.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <map>
#include <optional>
#include <tuple>

#include "night/star_noise.hpp"
#include "numerics/robust.hpp"
#include "quantities/magnitude.hpp"

namespace emberline::night {
namespace {

using photometry::FrameFluxes;
using photometry::StarFlux;

constexpr double clear_signal_to_noise = 20.0;
constexpr std::size_t least_stars = 4;
constexpr double least_range_mag = 0.3;  // of the catalogue's colours
constexpr double least_pair_mag = 0.15;  // of two stars' colours, for their slope to tell
constexpr double doubt_sigma = 3.0;
constexpr double telling_slope = 0.3;  // of about 1.5 in B − V; common practice, no source

const BandSolution* find(const std::vector<BandSolution>& solutions, const std::string& instrument,
                         const char* band) {
    for (const BandSolution& s : solutions) {
        if (s.instrument == instrument && s.band.name() == band) return &s;
    }
    return nullptr;
}

std::optional<double> clear_magnitude(const FrameFluxes& frame, std::size_t k, const std::string& label) {
    const StarFlux* star = frame.find(label);
    if (star == nullptr || light_lost(frame, *star, k)) return std::nullopt;
    const double flux = star->flux_e[k];
    if (!(flux > clear_signal_to_noise * std::sqrt(noise_terms(frame, *star, k).variance_e2(flux))))
        return std::nullopt;
    return magnitude_difference(flux, 1.0);
}

// Label -> the middle over exposures of blue less red, each frame's own zero point taken away later.
std::map<std::string, double> blue_less_red(const BandSolution& blue, const BandSolution& red,
                                            const standard::Sequence& sequence) {
    std::map<std::tuple<std::string, std::string>, const JudgedFrame*> reds;
    for (const JudgedFrame& frame : red.frames) {
        if (frame.refusal.empty() && frame.aperture)
            reds[{frame.fluxes->frame, frame.fluxes->fingerprint}] = &frame;
    }
    std::map<std::string, std::vector<double>> colours;
    for (const JudgedFrame& frame : blue.frames) {
        if (!frame.refusal.empty() || !frame.aperture) continue;
        const auto other = reds.find({frame.fluxes->frame, frame.fluxes->fingerprint});
        if (other == reds.end()) continue;
        std::vector<std::pair<std::string, double>> seen;
        std::vector<double> values;
        for (const standard::ComparisonStar& star : sequence.stars) {
            const auto b = clear_magnitude(*frame.fluxes, *frame.aperture, star.label);
            const auto r = clear_magnitude(*other->second->fluxes, *other->second->aperture, star.label);
            if (!b || !r) continue;
            seen.emplace_back(star.label, *b - *r);
            values.push_back(*b - *r);
        }
        if (values.size() < least_stars) continue;
        const double middle = numerics::median(values);
        for (const auto& [label, value] : seen)
            colours[label].push_back(value - middle);
    }
    std::map<std::string, double> middles;
    for (auto& [label, values] : colours)
        middles[label] = numerics::median(std::move(values));
    return middles;
}

struct Slope {
    double value = 0.0, err = 0.0;
};

// The median of the slopes of pairs (Theil 1950; Sen 1968, J. Am. Stat. Assoc. 63, 1379): one wrong star does
// not turn it. Its error from the residuals' robust scatter.
std::optional<Slope> slope_of(const std::vector<std::pair<double, double>>& points) {
    if (points.size() < least_stars) return std::nullopt;
    const auto [low, high] = std::minmax_element(points.begin(), points.end());
    if (high->first - low->first < least_range_mag) return std::nullopt;
    std::vector<double> slopes, offsets, xs;
    for (std::size_t i = 0; i < points.size(); ++i) {
        for (std::size_t j = i + 1; j < points.size(); ++j) {
            const double dx = points[j].first - points[i].first;
            if (std::abs(dx) > least_pair_mag) slopes.push_back((points[j].second - points[i].second) / dx);
        }
    }
    if (slopes.empty()) return std::nullopt;
    const double value = numerics::median(std::move(slopes));
    double mean_x = 0.0, square_x = 0.0;
    for (const auto& [x, y] : points) {
        offsets.push_back(y - value * x);
        mean_x += x / static_cast<double>(points.size());
    }
    for (const auto& [x, y] : points)
        square_x += (x - mean_x) * (x - mean_x);
    const double scatter =
        numerics::mad_to_sigma * numerics::median_absolute_deviation(offsets, numerics::median(offsets));
    return Slope{value, 1.25 * scatter / std::sqrt(square_x)};
}

}  // namespace

void doubt_patterns(std::vector<BandSolution>& solutions, const standard::Sequence& sequence,
                    std::vector<std::string>& remarks) {
    const auto index = parse_colour_index("B-V"), red_index = parse_colour_index("V-Rc");
    for (const BandSolution& blue : solutions) {
        if (blue.band.name() != "TB") continue;
        const BandSolution* red = find(solutions, blue.instrument, "TR");
        if (red == nullptr) continue;
        const auto instrumental = blue_less_red(blue, *red, sequence);
        std::optional<Slope> slope;
        std::string used;
        for (const auto& tried : {index, red_index}) {
            if (slope || !tried) continue;
            std::vector<std::pair<double, double>> points;
            for (const auto& [label, value] : instrumental) {
                const standard::ComparisonStar* star = sequence.find(label);
                const auto colour = star != nullptr ? star->colour(*tried) : std::nullopt;
                if (colour) points.emplace_back(colour->value, value);
            }
            slope = slope_of(points);
            used = tried->name();
        }
        if (!slope || slope->value > -telling_slope || slope->value + doubt_sigma * slope->err > 0.0)
            continue;
        remarks.push_back(fmt::format(
            "{}: TB − TR of the comparison stars falls by {:.2f} ± {:.2f} mag for each magnitude of {}, "
            "where it "
            "must rise: the mosaic's pattern seems to have red and blue exchanged. Set `pattern` under "
            "[instrument] in campaign.toml, and measure again.",
            blue.instrument, -slope->value, slope->err, used));
        for (BandSolution& other : solutions) {
            const std::string& band = other.band.name();
            if (other.instrument == blue.instrument && (band == "TB" || band == "TG" || band == "TR"))
                other.caveats.add(Caveat::pattern_doubtful);
        }
    }
}

}  // namespace emberline::night
