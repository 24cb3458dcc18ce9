// SPDX-License-Identifier: MIT
#include "stars/field_signs.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <numbers>

#include "numerics/robust.hpp"
#include "stars/axis_direction.hpp"
#include "stars/kd_tree.hpp"

namespace emberline::stars {
namespace {

constexpr double piece_elongation = 2.0;      // of what may be a piece of a line
constexpr double piece_direction_deg = 12.0;  // its long axis against the line
constexpr double piece_fwhm = 1.3;            // and its width by moments, against the stars'
constexpr std::size_t least_pieces = 6;
constexpr double least_length = 0.2;  // of the picture's shorter side
constexpr double longest_gap = 0.25;  // of the line's length: where it crosses stars, and where it flickers
constexpr double beside_fwhm = 2.5;   // what lies so near a line is part of it
constexpr double bright_sigma = 15.0;
constexpr std::size_t most_judged = 80;
constexpr double trailed_elongation = 1.5;
constexpr std::size_t least_judged = 5;
constexpr double least_shape_px = 1.0;  // stars sharper than pixels have no shape in them
constexpr double double_reach_fwhm = 15.0, double_least_fwhm = 1.2;
constexpr double double_tolerance_fwhm = 0.35;
constexpr double double_share = 0.4;  // of the stars have a partner by one step
constexpr double same_ratio_mag = 0.4;

double folded_deg(double angle_deg) {
    return std::abs(std::remainder(angle_deg, 180.0));
}

// Pieces along one line: those near it whose long axes follow it.
struct Line {
    frame::PixelPosition through;
    double direction_rad = 0.0;
    [[nodiscard]] double along(const frame::PixelPosition& p) const {
        return (p.x - through.x) * std::cos(direction_rad) + (p.y - through.y) * std::sin(direction_rad);
    }
    [[nodiscard]] double across(const frame::PixelPosition& p) const {
        return -(p.x - through.x) * std::sin(direction_rad) + (p.y - through.y) * std::cos(direction_rad);
    }
    [[nodiscard]] frame::PixelPosition at(double along_px) const {
        return {through.x + along_px * std::cos(direction_rad),
                through.y + along_px * std::sin(direction_rad)};
    }
};

bool follows(const Line& line, const Detection& piece, double width_px) {
    const double turned = piece.direction.degrees() - line.direction_rad * 180.0 / std::numbers::pi;
    return piece.elongation > piece_elongation && folded_deg(turned) < piece_direction_deg &&
           std::abs(line.across(piece.position)) < width_px;
}

std::vector<std::size_t> pieces_of(const Line& line, const std::vector<Detection>& stars,
                                   const std::vector<std::size_t>& candidates, double width_px) {
    std::vector<std::size_t> pieces;
    for (const std::size_t i : candidates) {
        if (follows(line, stars[i], width_px)) pieces.push_back(i);
    }
    return pieces;
}

// From one end of the pieces to the other without a long gap; absent: they are no line.
std::optional<LightTrail> trail_of(const Line& line, const std::vector<Detection>& stars,
                                   const std::vector<std::size_t>& pieces, const DetectionField& field) {
    if (pieces.size() < least_pieces) return std::nullopt;
    std::vector<double> places;
    for (const std::size_t i : pieces)
        places.push_back(line.along(stars[i].position));
    std::sort(places.begin(), places.end());
    const double length = places.back() - places.front();
    if (length < least_length * std::min(field.width_px, field.height_px)) return std::nullopt;
    for (std::size_t i = 1; i < places.size(); ++i) {
        if (places[i] - places[i - 1] > longest_gap * length) return std::nullopt;
    }
    return LightTrail{line.at(places.front()), line.at(places.back()), field.fwhm_px};
}

std::optional<LightTrail> longest_trail(const DetectionField& field,
                                        const std::vector<std::size_t>& candidates) {
    std::optional<LightTrail> best;
    std::size_t most = 0;
    const double width_px = 1.5 * field.fwhm_px;
    for (std::size_t a = 0; a < candidates.size(); ++a) {
        for (std::size_t b = a + 1; b < candidates.size(); ++b) {
            const frame::PixelPosition& p = field.stars[candidates[a]].position;
            const frame::PixelPosition& q = field.stars[candidates[b]].position;
            if (std::hypot(q.x - p.x, q.y - p.y) < 5.0 * field.fwhm_px) continue;
            const Line line{p, std::atan2(q.y - p.y, q.x - p.x)};
            if (!follows(line, field.stars[candidates[a]], width_px) ||
                !follows(line, field.stars[candidates[b]], width_px))
                continue;
            const auto pieces = pieces_of(line, field.stars, candidates, width_px);
            if (pieces.size() <= most) continue;
            if (const auto trail = trail_of(line, field.stars, pieces, field)) {
                best = trail;
                most = pieces.size();
            }
        }
    }
    return best;
}

std::vector<const Detection*> bright_stars(const DetectionField& field) {
    std::vector<const Detection*> bright;
    for (const Detection& star : field.stars) {
        if (bright.size() == most_judged) break;
        if (!star.saturated && !star.edge && star.significance >= bright_sigma) bright.push_back(&star);
    }
    return bright;
}

struct Step {
    double dx = 0.0, dy = 0.0;
};

// By how many of the stars such a step leads to another, fainter or brighter by one ratio.
std::size_t partners_by(const Step& step, double ratio_mag, const std::vector<const Detection*>& bright,
                        const KdTree<2>& tree, double tolerance_px) {
    std::size_t partners = 0;
    for (const Detection* star : bright) {
        bool found = false;
        tree.within({star->position.x + step.dx, star->position.y + step.dy}, tolerance_px,
                    [&](const KdTree<2>::Found& f) {
                        const double mag = 2.5 * std::log10(star->flux_adu / bright[f.index]->flux_adu);
                        found = found || std::abs(mag - ratio_mag) < same_ratio_mag;
                    });
        partners += found ? 1 : 0;
    }
    return partners;
}

// A field of stars has some pairs by any one step; a frame that was exposed twice has them all.
bool seen_twice(const std::vector<const Detection*>& bright, double fwhm_px, const DetectionField& field) {
    const std::size_t n = bright.size();
    if (n < 2 * least_judged) return false;
    std::vector<KdTree<2>::Point> places;
    for (const Detection* star : bright)
        places.push_back({star->position.x, star->position.y});
    const KdTree<2> tree(places);
    const double tolerance_px = double_tolerance_fwhm * fwhm_px;
    const double chance = static_cast<double>(n) * std::numbers::pi * tolerance_px * tolerance_px /
                          (1.0 * field.width_px * field.height_px);
    // Each pair makes one star in two: half of them have a partner by the step, less what is too faint.
    const double wanted =
        std::max(double_share * static_cast<double>(n), 4.0 + 5.0 * chance * static_cast<double>(n));
    std::size_t most = 0;
    for (std::size_t i = 0; i < std::min<std::size_t>(n, 20); ++i) {
        tree.within(places[i], double_reach_fwhm * fwhm_px, [&](const KdTree<2>::Found& f) {
            const Step step{places[f.index][0] - places[i][0], places[f.index][1] - places[i][1]};
            if (f.index == i || std::hypot(step.dx, step.dy) < double_least_fwhm * fwhm_px) return;
            const double mag = 2.5 * std::log10(bright[i]->flux_adu / bright[f.index]->flux_adu);
            most = std::max(most, partners_by(step, mag, bright, tree, tolerance_px));
        });
    }
    return static_cast<double>(most) >= wanted;
}

}  // namespace

void take_trails(DetectionField& field) {
    constexpr std::size_t most_candidates = 400;
    for (int round = 0; round < 4; ++round) {
        std::vector<std::size_t> candidates;
        for (std::size_t i = 0; i < field.stars.size() && candidates.size() < most_candidates; ++i) {
            if (field.stars[i].elongation > piece_elongation &&
                field.stars[i].fwhm_px > piece_fwhm * field.fwhm_px)
                candidates.push_back(i);
        }
        const auto trail = longest_trail(field, candidates);
        if (!trail) return;
        const Line line{trail->from, std::atan2(trail->to.y - trail->from.y, trail->to.x - trail->from.x)};
        const double length = std::hypot(trail->to.x - trail->from.x, trail->to.y - trail->from.y);
        const double beside_px = beside_fwhm * field.fwhm_px;
        std::erase_if(field.stars, [&](const Detection& star) {
            const double along = line.along(star.position);
            return std::abs(line.across(star.position)) < beside_px && along > -4.0 * beside_px &&
                   along < length + 4.0 * beside_px;
        });
        field.trails.push_back(*trail);
    }
}

void judge_stars(DetectionField& field) {
    const auto bright = bright_stars(field);
    std::vector<double> widths;
    double c = 0.0, s = 0.0;
    for (const Detection* star : bright) {
        if (star->parted) continue;
        widths.push_back(star->fwhm_px);
        // Directions as angles of twice their size, weighted by how far the stars are from round.
        const double weight = (star->elongation - 1.0) / (star->elongation + 1.0);
        c += weight * std::cos(2.0 * star->direction.radians());
        s += weight * std::sin(2.0 * star->direction.radians());
    }
    if (!widths.empty()) {
        const double length = std::min(0.95, std::hypot(c, s) / static_cast<double>(widths.size()));
        field.fwhm_px = numerics::median(widths);
        if (field.fwhm_px >= least_shape_px) field.elongation = (1.0 + length) / (1.0 - length);
        field.direction = axis_direction(s, c);
    }
    field.trailed = widths.size() >= least_judged && field.elongation > trailed_elongation;
    field.doubled = seen_twice(bright, field.fwhm_px, field);
    if (field.trailed)
        field.remarks.push_back(
            fmt::format("All stars are drawn out alike, {:.1f} times as long as wide.", field.elongation));
    if (field.doubled)
        field.remarks.emplace_back("Every star is seen twice: the mount jumped during the exposure.");
    if (!field.trails.empty())
        field.remarks.push_back(fmt::format(
            "{} of light across the picture: a satellite or an aeroplane.",
            field.trails.size() == 1 ? std::string("A line") : fmt::format("{} lines", field.trails.size())));
}

}  // namespace emberline::stars
