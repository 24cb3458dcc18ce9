// SPDX-License-Identifier: MIT
// rehearsal/light_path — one frame's air and instrument: what becomes of light on its way into the electrons.
// Private to this room.
#pragma once

#include <optional>

#include "numerics/random.hpp"
#include "rehearsal/extended.hpp"
#include "rehearsal/invented_instrument.hpp"
#include "rehearsal/moffat.hpp"

namespace emberline::rehearsal {

// What is farther from the middle is on no frame, and the tangent plane folds beyond 90 degrees.
inline constexpr double farthest_deg = 20.0;

[[nodiscard]] PointSpread spread_of(const InventedAir& air, const InventedInstrument& instrument);

class LightPath {
  public:
    LightPath(const InventedInstrument& instrument, const InventedAir& air, const sky::Site& site,
              const Band& band, const Instant& middle, double exposure_s);

    [[nodiscard]] std::optional<double> airmass(const SkyPosition& place) const;
    // Before scintillation and the cloud's unevenness.
    [[nodiscard]] double flux_e(double standard_mag, std::optional<double> colour_mag,
                                std::optional<double> airmass) const;
    // `factor`: of what the cloud before it does beyond the grey.
    [[nodiscard]] HostLight host_light(const InventedHost& host, std::optional<double> airmass,
                                       double factor) const;
    // Factors of chance, one star's own in this frame.
    struct Chance {
        double cloud = 1.0, scintillation = 1.0;
    };
    [[nodiscard]] Chance chance(numerics::Random random, std::optional<double> airmass) const;
    [[nodiscard]] double sky_e_per_px() const;

  private:
    const InventedInstrument& instrument_;
    const InventedAir& air_;
    const sky::Site& site_;
    const Band& band_;
    Instant middle_;
    double exposure_s_;
};

}  // namespace emberline::rehearsal
