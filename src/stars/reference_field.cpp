// SPDX-License-Identifier: MIT
#include "stars/reference_field.hpp"

#include <algorithm>
#include <cmath>
#include <optional>

namespace emberline::stars {
namespace {

constexpr double double_arcsec = 0.05;  // two entries of one star

}  // namespace

ReferenceField::ReferenceField(const std::vector<ReferenceStar>& references) : all_(references) {
    std::array<double, 3> sum{};
    std::vector<std::size_t> good;
    for (std::size_t i = 0; i < all_.size(); ++i) {
        const SkyPosition& s = all_[i].position;
        if (!std::isfinite(s.ra.radians()) || !std::isfinite(s.dec.radians()) ||
            std::abs(s.dec.degrees()) > 90.0)
            continue;
        good.push_back(i);
        sum[0] += std::cos(s.dec.radians()) * std::cos(s.ra.radians());
        sum[1] += std::cos(s.dec.radians()) * std::sin(s.ra.radians());
        sum[2] += std::sin(s.dec.radians());
    }
    origin_ = {Angle::radians(std::atan2(sum[1], sum[0])),
               Angle::radians(std::atan2(sum[2], std::hypot(sum[0], sum[1])))};
    const auto brightness = [&](std::size_t i) {
        const std::optional<double>& magnitude = all_[i].magnitude_mag;
        return magnitude && std::isfinite(*magnitude) ? *magnitude : HUGE_VAL;
    };
    std::stable_sort(good.begin(), good.end(),
                     [&](std::size_t a, std::size_t b) { return brightness(a) < brightness(b); });
    has_magnitudes_ = !good.empty() && brightness(good.front()) < HUGE_VAL;
    std::vector<std::array<double, 2>> places;
    for (const std::size_t i : good) {
        if (!(separation(origin_, all_[i].position).degrees() < farthest_on_plane_deg)) continue;
        const SkyOffset away = offset(origin_, all_[i].position);
        places.push_back({away.east.arcseconds(), away.north.arcseconds()});
        source_.push_back(i);
    }
    const KdTree<2> everything(places);
    std::vector<std::size_t> kept;
    for (std::size_t i = 0; i < places.size(); ++i) {
        bool again = false;
        everything.within(places[i], double_arcsec,
                          [&](const KdTree<2>::Found& f) { again = again || f.index < i; });
        if (again) continue;
        plane_.push_back(places[i]);
        kept.push_back(source_[i]);
    }
    source_ = std::move(kept);
    tree_ = KdTree<2>(plane_);
    measure_area();
}

void ReferenceField::measure_area() {
    std::array<double, 2> least{HUGE_VAL, HUGE_VAL}, most{-HUGE_VAL, -HUGE_VAL};
    for (const auto& p : plane_) {
        for (std::size_t d = 0; d < 2; ++d) {
            least[d] = std::min(least[d], p[d]);
            most[d] = std::max(most[d], p[d]);
        }
    }
    area_arcsec2_ = std::max(0.0, most[0] - least[0]) * std::max(0.0, most[1] - least[1]);
}

}  // namespace emberline::stars
