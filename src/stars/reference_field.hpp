// SPDX-License-Identifier: MIT
// stars/reference_field — stars of known place on one plane, brightest first, where they are looked up.
#pragma once

#include <array>
#include <cstddef>
#include <vector>

#include "quantities/sky_position.hpp"
#include "stars/kd_tree.hpp"
#include "stars/plate_polynomial.hpp"
#include "stars/plate_stars.hpp"

namespace emberline::stars {

// References on the plane that touches the sky in their middle, brightest first (those without a magnitude
// last, as given); what the plane does not reach, doubles and what is not finite is left out.
class ReferenceField {
  public:
    explicit ReferenceField(const std::vector<ReferenceStar>& references);
    [[nodiscard]] std::size_t size() const { return plane_.size(); }
    [[nodiscard]] bool has_magnitudes() const { return has_magnitudes_; }
    [[nodiscard]] const std::vector<std::array<double, 2>>& plane() const { return plane_; }  // arcsec
    [[nodiscard]] const ReferenceStar& star(std::size_t i) const { return all_[source_[i]]; }
    [[nodiscard]] std::size_t source(std::size_t i) const { return source_[i]; }  // index as given
    [[nodiscard]] const SkyPosition& origin() const { return origin_; }
    [[nodiscard]] const KdTree<2>& tree() const { return tree_; }
    [[nodiscard]] double area_arcsec2() const { return area_arcsec2_; }  // of the rectangle that holds them

  private:
    void measure_area();

    const std::vector<ReferenceStar>& all_;
    std::vector<std::size_t> source_;
    std::vector<std::array<double, 2>> plane_;
    SkyPosition origin_;
    KdTree<2> tree_;
    bool has_magnitudes_ = false;
    double area_arcsec2_ = 0.0;
};

}  // namespace emberline::stars
