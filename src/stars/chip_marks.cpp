// SPDX-License-Identifier: MIT
#include "stars/chip_marks.hpp"

#include <cmath>

#include "stars/kd_tree.hpp"

namespace emberline::stars {
namespace {

// Of the reach: nearer than this by the sky, a place has a partner; farther, the sky has left the chip.
constexpr double moved_reaches = 3.0;

}  // namespace

std::vector<std::size_t> chip_marks(const std::vector<frame::PixelPosition>& here,
                                    const std::vector<frame::PixelPosition>& there, const PlaneMap& map,
                                    double reach_px) {
    std::vector<std::size_t> marks;
    if (here.empty() || there.empty() || !(reach_px > 0.0)) return marks;
    std::vector<KdTree<2>::Point> on_chip, by_sky;
    for (const frame::PixelPosition& p : there) {
        const frame::PixelPosition moved = map.apply(p);
        on_chip.push_back({p.x, p.y});
        by_sky.push_back({moved.x, moved.y});
    }
    const KdTree<2> chip(on_chip), sky(by_sky);
    for (std::size_t i = 0; i < here.size(); ++i) {
        const KdTree<2>::Point place{here[i].x, here[i].y};
        KdTree<2>::Found found;
        if (!chip.nearest_one(place, reach_px, found)) continue;
        const KdTree<2>::Point& moved = by_sky[found.index];
        if (!(std::hypot(moved[0] - place[0], moved[1] - place[1]) > moved_reaches * reach_px)) continue;
        KdTree<2>::Found partner;
        if (!sky.nearest_one(place, moved_reaches * reach_px, partner)) marks.push_back(i);
    }
    return marks;
}

}  // namespace emberline::stars
