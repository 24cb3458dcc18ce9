// SPDX-License-Identifier: MIT
// rehearsal/extended — the light of a host galaxy, blurred by the air as the stars are.
#pragma once

#include "rehearsal/invented_sky.hpp"
#include "rehearsal/light_map.hpp"
#include "rehearsal/moffat.hpp"
#include "rehearsal/plate.hpp"

namespace emberline::rehearsal {

struct HostLight {
    // Electrons of each before the dust; clumps are part of the disk's.
    double disk_e = 0.0, bulge_e = 0.0, nucleus_e = 0.0;
};

// To be honest: host light that the air throws farther than 4.5 full widths stays within them, 1e-3 of it
// for β = 3.5; a frame does not show it.
void add_host(LightMap& map, const InventedHost& host, const HostLight& light, const Plate& plate,
              const Moffat& spread);

}  // namespace emberline::rehearsal
