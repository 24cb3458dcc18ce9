// SPDX-License-Identifier: MIT
// rehearsal/star_troubles — comparison stars that are not what the table says: one that varies, one with a
// companion in its light, one whose magnitude is wrong.
#pragma once

#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "numerics/random.hpp"
#include "quantities/problem.hpp"

namespace emberline::rehearsal {

struct InventedSky;

// A sinusoid in all bands alike; its phase is drawn.
struct VariableStar {
    double amplitude_mag = 0.15;  // half of the way from faintest to brightest
    double period_days = 5.3;
};
// In a direction that is drawn. The table tells the star alone.
struct BlendedStar {
    double distance_arcsec = 2.5;
    double fainter_mag = 2.0;  // of the companion, in all bands alike
};
// Each befalls a comparison star of its own, drawn from the seed; never the check star.
struct StarTroubles {
    std::optional<VariableStar> variable;
    std::optional<BlendedStar> blended;
    std::optional<double> wrong_mag;  // what the table says − truth, in all bands alike
};

enum class TroubleKind { varies, blended, wrong };
[[nodiscard]] std::string_view word(TroubleKind kind);

struct TroubledStar {  // the truth of one
    std::string label;
    TroubleKind kind = TroubleKind::varies;
    double size_mag = 0.0;  // amplitude; how much fainter the companion is; table − truth
    std::optional<double> period_days, distance_arcsec;
};

// Problem (kind request): a number out of range, or fewer comparison stars than troubles.
[[nodiscard]] Result<void> check_troubles(const StarTroubles& troubles, int comparison_stars,
                                          const char* where);
// Companions come after all other stars, so that what chance does to those stays the same.
void give_troubles(InventedSky& sky, const StarTroubles& troubles, numerics::Random random);

// label,trouble,size_mag,period_days,distance_arcsec
[[nodiscard]] std::string truth_troubles_csv(const std::vector<TroubledStar>& troubled);

}  // namespace emberline::rehearsal
