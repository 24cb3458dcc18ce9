// SPDX-License-Identifier: MIT
#include "rehearsal/star_troubles.hpp"

#include <fmt/format.h>

#include <cmath>
#include <utility>

#include "rehearsal/invented_sky.hpp"
#include "rehearsal/option_limits.hpp"

namespace emberline::rehearsal {
namespace {

// Comparison stars in an order that chance gives.
std::vector<std::size_t> drawn_stars(const InventedSky& sky, numerics::Random& random) {
    std::vector<std::size_t> stars;
    for (std::size_t i = 0; i < sky.stars.size(); ++i) {
        if (!sky.stars[i].label.empty() && !sky.stars[i].check) stars.push_back(i);
    }
    for (std::size_t left = stars.size(); left > 1; --left) {
        const auto other = static_cast<std::size_t>(random.uniform() * static_cast<double>(left));
        std::swap(stars[left - 1], stars[other]);
    }
    return stars;
}

InventedStar companion_of(const InventedStar& star, const BlendedStar& blend, double direction_deg) {
    const Angle direction = Angle::degrees(direction_deg);
    InventedStar companion;
    companion.position =
        displaced(star.position, {Angle::arcseconds(blend.distance_arcsec * std::sin(direction.radians())),
                                  Angle::arcseconds(blend.distance_arcsec * std::cos(direction.radians()))});
    for (const auto& [band, magnitude] : star.true_mag)
        companion.true_mag[band] = magnitude + blend.fainter_mag;
    return companion;
}

std::string field_of(const std::optional<double>& value) {
    return value ? fmt::format("{:.4f}", *value) : std::string();
}

}  // namespace

std::string_view word(TroubleKind kind) {
    switch (kind) {
        case TroubleKind::varies:
            return "varies";
        case TroubleKind::blended:
            return "blended";
        case TroubleKind::wrong:
            return "wrong";
    }
    return {};
}

Result<void> check_troubles(const StarTroubles& troubles, int comparison_stars, const char* where) {
    const VariableStar variable = troubles.variable.value_or(VariableStar{});
    const BlendedStar blended = troubles.blended.value_or(BlendedStar{});
    if (auto good =
            check_limits({{"amplitude of the variable star in magnitudes", variable.amplitude_mag, 0, 5},
                          {"period of the variable star in days", variable.period_days, 0.001, 1e5},
                          {"distance of the companion in arcseconds", blended.distance_arcsec, 0, 60},
                          {"companion's magnitude below its star's", blended.fainter_mag, -5, 15},
                          {"error of the wrong magnitude", troubles.wrong_mag.value_or(0.0), -10, 10}},
                         where);
        !good)
        return good;
    const int wanted =
        (troubles.variable ? 1 : 0) + (troubles.blended ? 1 : 0) + (troubles.wrong_mag ? 1 : 0);
    if (wanted <= comparison_stars) return {};
    return fail(
        {.what = fmt::format("{} comparison stars cannot have {} troubles.", comparison_stars, wanted),
         .where = where,
         .mend = "Ask for as many comparison stars as troubles, or more: each needs its own.",
         .kind = ProblemKind::request});
}

void give_troubles(InventedSky& sky, const StarTroubles& troubles, numerics::Random random) {
    const std::vector<std::size_t> stars = drawn_stars(sky, random);
    // Drawn whether wanted or not, so that one trouble does not change what another does.
    const double phase = random.uniform(), direction_deg = random.uniform(0.0, 360.0);
    std::size_t next = 0;
    if (troubles.variable && next < stars.size()) {
        InventedStar& star = sky.stars[stars[next++]];
        star.pulsation = Pulsation{troubles.variable->amplitude_mag, troubles.variable->period_days, phase};
        sky.troubled.push_back({.label = star.label,
                                .kind = TroubleKind::varies,
                                .size_mag = troubles.variable->amplitude_mag,
                                .period_days = troubles.variable->period_days,
                                .distance_arcsec = {}});
    }
    if (troubles.blended && next < stars.size()) {
        const std::size_t star = stars[next++];
        sky.stars.push_back(companion_of(sky.stars[star], *troubles.blended, direction_deg));
        sky.troubled.push_back({.label = sky.stars[star].label,
                                .kind = TroubleKind::blended,
                                .size_mag = troubles.blended->fainter_mag,
                                .period_days = {},
                                .distance_arcsec = troubles.blended->distance_arcsec});
    }
    if (troubles.wrong_mag && next < stars.size()) {
        InventedStar& star = sky.stars[stars[next++]];
        for (auto& [band, magnitude] : star.catalogue)
            magnitude.value += *troubles.wrong_mag;
        sky.troubled.push_back({.label = star.label,
                                .kind = TroubleKind::wrong,
                                .size_mag = *troubles.wrong_mag,
                                .period_days = {},
                                .distance_arcsec = {}});
    }
}

std::string truth_troubles_csv(const std::vector<TroubledStar>& troubled) {
    std::string text = "label,trouble,size_mag,period_days,distance_arcsec\n";
    for (const TroubledStar& star : troubled) {
        text += fmt::format("{},{},{:.4f},{},{}\n", star.label, word(star.kind), star.size_mag,
                            field_of(star.period_days), field_of(star.distance_arcsec));
    }
    return text;
}

}  // namespace emberline::rehearsal
