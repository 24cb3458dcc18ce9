// SPDX-License-Identifier: MIT
// night/night_so_far — a night's magnitude as it was after each of its frames: what an observer sees settle.
// Needs: one night's fluxes and what the campaign's solution says of it, both as the ledger keeps them.
// Feeds: tasks.
// The zero points, the colour and the host are those of the whole solution; the frames up to each moment are
// combined by the solution's own rule (combine_frames), so that the last point is the night's value.
#pragma once

#include <cmath>
#include <optional>
#include <string>
#include <vector>

#include "night/solution.hpp"
#include "photometry/frame_record.hpp"
#include "quantities/band.hpp"

namespace emberline::night {

struct PointSoFar {
    double jd_utc = 0.0;  // mid-exposure of the newest frame in it
    int frames = 0;
    std::optional<double> magnitude_mag, random_err_mag, common_err_mag;  // absent for a limit
    std::optional<double> limit_mag;                                      // as of Measurement
    [[nodiscard]] std::optional<double> total_err_mag() const {
        if (!random_err_mag) return std::nullopt;
        return std::hypot(*random_err_mag, common_err_mag.value_or(0.0));
    }
};

struct NightSoFar {
    std::string night;
    Band band;
    std::string instrument;
    std::vector<PointSoFar> points;  // by time, one a frame in use
};

// One for each of the solution's nights, in its order. `limit_sigma`: as of the settings that it was solved
// with.
[[nodiscard]] std::vector<NightSoFar> night_so_far(const std::vector<photometry::FrameFluxes>& frames,
                                                   const Solution& solution, double limit_sigma);

}  // namespace emberline::night
