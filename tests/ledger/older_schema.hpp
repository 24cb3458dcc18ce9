// SPDX-License-Identifier: MIT
// tests/ledger/older_schema — a ledger of this version made one of an older version: what the later versions
// added, taken away again.
#pragma once

#include <string>
#include <vector>

namespace emberline::ledger::testing {

// To be told to it one by one. Versions 1 to 6.
inline std::vector<std::string> statements_back_to(int version) {
    std::vector<std::string> out;
    const auto drop = [&](const std::string& what, const std::vector<std::string>& names) {
        for (const std::string& name : names)
            out.push_back("DROP " + what + " " + name);
    };
    if (version < 6) {
        drop("INDEX", {"current_frame_of_night", "current_frame_measurement_of_night",
                       "current_night_measurement_of_night"});
    }
    if (version < 5) drop("TABLE", {"seen_place", "transformation", "reported"});
    if (version < 4) {
        drop("TABLE", {"plate_solution", "field_reference", "former_frame_name"});
        drop("INDEX", {"current_frame_by_name"});
        for (const char* column :
             {"plate", "plate_stars", "plate_rms_arcsec", "middle_ra_deg", "middle_dec_deg", "stack_of"})
            out.push_back(std::string("ALTER TABLE frame_fluxes DROP COLUMN ") + column);
    }
    if (version < 3) out.push_back("ALTER TABLE star_flux DROP COLUMN place_err");
    if (version < 2) drop("TABLE", {"host_light", "surroundings"});
    out.push_back("PRAGMA user_version = " + std::to_string(version));
    return out;
}

}  // namespace emberline::ledger::testing
