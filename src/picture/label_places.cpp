// SPDX-License-Identifier: MIT
#include "picture/label_places.hpp"

#include <algorithm>
#include <cmath>
#include <limits>
#include <numbers>

namespace emberline::picture {
namespace {

constexpr int directions = 16, passes = 4;
constexpr double gap = 2.5, ring_step = 11.0;
constexpr int rings = 4;
// What covering one unit of area costs, against going a ring out or a step round.
constexpr double of_disc = 1.0, of_box = 3.0, of_ring = 14.0, of_turn = 0.6, outside_area = 1e6;

double overlap(const PaperBox& a, const PaperBox& b) {
    const double wide = std::min(a.right, b.right) - std::max(a.left, b.left);
    const double high = std::min(a.bottom, b.bottom) - std::max(a.top, b.top);
    return wide > 0.0 && high > 0.0 ? wide * high : 0.0;
}

// A little more than the disc itself: a word that touches a star is hard to read.
PaperBox around(const Disc& disc) {
    const double r = disc.radius + 1.0;
    return {disc.x - r, disc.x + r, disc.y - r, disc.y + r};
}

// The word's box in that direction, so that it just stays clear of the mark's square.
PaperBox box_at(const WantedLabel& label, double angle, double clear) {
    const double c = std::cos(angle), s = std::sin(angle);
    const double half_w = 0.5 * label.width + clear, half_h = 0.5 * label.height + clear;
    const double along = std::min(std::abs(c) > 1e-9 ? half_w / std::abs(c) : HUGE_VAL,
                                  std::abs(s) > 1e-9 ? half_h / std::abs(s) : HUGE_VAL);
    const double x = label.x + along * c, y = label.y - along * s;
    return {x - 0.5 * label.width, x + 0.5 * label.width, y - 0.5 * label.height, y + 0.5 * label.height};
}

class Placer {
  public:
    Placer(const std::vector<WantedLabel>& labels, const std::vector<Disc>& discs,
           const std::vector<PaperBox>& taken, const PaperBox& area)
        : labels_(labels), discs_(discs), taken_(taken), area_(area), places_(labels.size()) {}

    std::vector<LabelPlace> place() {
        // Later passes see where all the others went.
        for (int pass = 0; pass < passes; ++pass) {
            for (std::size_t i = 0; i < labels_.size(); ++i)
                places_[i] = best_place(i, pass > 0);
        }
        return places_;
    }

  private:
    [[nodiscard]] LabelPlace best_place(std::size_t i, bool all_placed) const {
        LabelPlace best;
        double least = std::numeric_limits<double>::infinity();
        for (int ring = 0; ring < rings; ++ring) {
            for (int turn = 0; turn < directions; ++turn) {
                // To the right, then alternately up and down from there.
                const int step = (turn + 1) / 2 * (turn % 2 == 0 ? -1 : 1);
                const double angle = 2.0 * std::numbers::pi * step / directions;
                const PaperBox box = box_at(labels_[i], angle, labels_[i].half_size + gap + ring * ring_step);
                const double cost = of_ring * ring + of_turn * std::abs(step) + covered(i, box, all_placed);
                if (cost < least) {
                    least = cost;
                    best = {box, ring > 0};
                }
            }
        }
        return best;
    }

    [[nodiscard]] double covered(std::size_t i, const PaperBox& box, bool all_placed) const {
        double cost = 0.0;
        if (box.left < area_.left || box.right > area_.right || box.top < area_.top ||
            box.bottom > area_.bottom)
            cost += outside_area;
        for (const Disc& disc : discs_)
            cost += of_disc * overlap(box, around(disc));
        for (const PaperBox& one : taken_)
            cost += of_box * overlap(box, one);
        for (std::size_t k = 0; k < labels_.size(); ++k) {
            if (k == i) continue;
            const Disc mark{labels_[k].x, labels_[k].y, labels_[k].half_size};
            cost += of_box * overlap(box, around(mark));
            if (k < i || all_placed) cost += of_box * overlap(box, places_[k].box);
        }
        return cost;
    }

    const std::vector<WantedLabel>& labels_;
    const std::vector<Disc>& discs_;
    const std::vector<PaperBox>& taken_;
    const PaperBox area_;
    std::vector<LabelPlace> places_;
};

}  // namespace

std::vector<LabelPlace> place_labels(const std::vector<WantedLabel>& labels, const std::vector<Disc>& discs,
                                     const std::vector<PaperBox>& taken, const PaperBox& area) {
    return Placer(labels, discs, taken, area).place();
}

}  // namespace emberline::picture
