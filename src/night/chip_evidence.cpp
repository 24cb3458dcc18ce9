// SPDX-License-Identifier: MIT
#include "night/chip_evidence.hpp"

#include <algorithm>
#include <cmath>

#include "numerics/least_squares.hpp"

namespace emberline::night {
namespace {

bool on_frame(const frame::PixelPosition& p, int width_px, int height_px) {
    return p.x >= -0.5 && p.y >= -0.5 && p.x <= width_px - 0.5 && p.y <= height_px - 0.5;
}

bool near(const frame::PixelPosition& a, const frame::PixelPosition& b, double reach_px) {
    return std::abs(a.x - b.x) < reach_px && std::hypot(a.x - b.x, a.y - b.y) < reach_px;
}

}  // namespace

std::optional<stars::PlaneMap> map_from(const FieldReference& reference, const frame::Wcs& wcs) {
    std::vector<frame::PixelPosition> from, to;
    for (std::size_t i = 0; i < reference.stars.size() && i < reference.places.size(); ++i) {
        const auto here = wcs.pixel(reference.stars[i].position);
        if (!here) continue;
        from.push_back(reference.places[i]);
        to.push_back(*here);
    }
    numerics::Matrix a(from.size(), 3);
    std::vector<double> x, y;
    for (std::size_t i = 0; i < from.size(); ++i) {
        a(i, 0) = from[i].x;
        a(i, 1) = from[i].y;
        a(i, 2) = 1.0;
        x.push_back(to[i].x);
        y.push_back(to[i].y);
    }
    const auto fit_x = numerics::linear_fit(a, x), fit_y = numerics::linear_fit(a, y);
    if (!fit_x || !fit_y) return std::nullopt;
    const auto &p = fit_x->parameters, &q = fit_y->parameters;
    return stars::PlaneMap{.a = p[0], .b = p[1], .c = q[0], .d = q[1], .e = p[2], .f = q[2]};
}

bool stands_still(const stars::PlaneMap& map, int width_px, int height_px) {
    for (const double x : {0.0, static_cast<double>(width_px)}) {
        for (const double y : {0.0, static_cast<double>(height_px)}) {
            const auto moved = map.apply({x, y});
            if (std::hypot(moved.x - x, moved.y - y) > 3.0 * chip_reach_px) return false;
        }
    }
    return true;
}

Unshared without_shared_places(const std::vector<stars::PictureStar>& here, const FieldReference& reference) {
    Unshared out;
    std::vector<bool> shared(reference.places.size(), false);
    for (const stars::PictureStar& star : here) {
        bool own = true;
        for (std::size_t i = 0; i < reference.places.size(); ++i) {
            if (!near(star.position, reference.places[i], chip_reach_px)) continue;
            shared[i] = true;
            own = false;
        }
        if (own) out.here.push_back(star);
    }
    for (std::size_t i = 0; i < reference.stars.size(); ++i) {
        if (i >= shared.size() || !shared[i]) out.there.push_back(reference.stars[i]);
    }
    return out;
}

SequenceSeen sequence_seen(const std::vector<stars::PictureStar>& here, const frame::Wcs& wcs,
                           double reach_px, int width_px, int height_px, const standard::Sequence& sequence) {
    SequenceSeen out;
    for (const standard::ComparisonStar& star : sequence.stars) {
        const auto place = wcs.pixel(star.position);
        if (!place || !on_frame(*place, width_px, height_px)) continue;
        ++out.on_frame;
        out.seen += std::any_of(here.begin(), here.end(), [&](const stars::PictureStar& one) {
            return near(one.position, *place, reach_px);
        });
    }
    return out;
}

}  // namespace emberline::night
