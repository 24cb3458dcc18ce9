// SPDX-License-Identifier: MIT
// picture/axis_ticks — round numbers and sensible dates along an axis.
#pragma once

#include <string>
#include <vector>

namespace emberline::picture {

// The step of 1, 2 or 5 times a power of ten that puts about `wanted` ticks on `span` > 0.
[[nodiscard]] double round_step(double span, int wanted);
// Decimals that tell such steps apart: 0.05 -> 2, 20 -> 0.
[[nodiscard]] int decimals_of_step(double step);

struct DateTick {
    double jd_utc;
    std::string label;  // "3 Feb", "Feb", "2024", "21:00"; the year stands at the first and where it changes
};
// Hours, days, months or years, at most `most` of them, as the span asks. None before the year 1 or after
// 9999.
[[nodiscard]] std::vector<DateTick> date_ticks(double from_jd_utc, double to_jd_utc, int most);

}  // namespace emberline::picture
