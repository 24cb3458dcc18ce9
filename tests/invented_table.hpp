// SPDX-License-Identifier: MIT
// tests/invented_table — a table of invented stars in the columns of an all-sky survey of three broad bands,
// as its service exports them.
#pragma once

#include <fmt/format.h>

#include <cmath>
#include <cstdint>
#include <optional>
#include <random>
#include <string>
#include <vector>

#include "quantities/sky_position.hpp"

namespace emberline::test {

struct InventedRow {
    SkyPosition position;
    double g = 14.0, bp_minus_rp = 0.9;
    double ruwe = 1.0;
    bool variable = false;
    bool without_colour = false;  // no BP, no RP
};

// G − V of Riello 2021, A&A 649, A3, as in the release's documentation, section 5.5; from memory.
inline double v_of(const InventedRow& row) {
    const double c = row.bp_minus_rp;
    return row.g + 0.02704 - 0.01424 * c + 0.2156 * c * c - 0.01426 * c * c * c;
}

inline InventedRow row_beside(const SkyPosition& from, double east_arcmin, double north_arcmin, double g,
                              double bp_minus_rp) {
    return {displaced(from, {Angle::arcminutes(east_arcmin), Angle::arcminutes(north_arcmin)}), g,
            bp_minus_rp};
}

// A field of stars that grow in number towards the faint; some double, some variable.
inline std::vector<InventedRow> invented_rows(const SkyPosition& middle, std::size_t n, std::uint64_t seed,
                                              double half_width_arcmin = 12.0) {
    std::mt19937_64 generator(seed);
    std::uniform_real_distribution<double> side(-half_width_arcmin, half_width_arcmin), unit(0.0, 1.0);
    std::vector<InventedRow> rows;
    for (std::size_t i = 0; i < n; ++i) {
        InventedRow row = row_beside(middle, side(generator), side(generator), 10.0, 0.6);
        row.g = 10.0 + 8.0 * std::cbrt(unit(generator));
        row.bp_minus_rp = 0.6 + 0.9 * unit(generator);
        if (i % 17 == 5) row.ruwe = 2.3;
        if (i % 23 == 7) row.variable = true;
        rows.push_back(row);
    }
    return rows;
}

inline std::string invented_table(const std::vector<InventedRow>& rows) {
    std::string text =
        "source_id,ra,dec,ref_epoch,pmra,pmdec,phot_g_mean_mag,phot_g_mean_flux_over_error,phot_bp_mean_mag,"
        "phot_bp_mean_flux_over_error,phot_rp_mean_mag,phot_rp_mean_flux_over_error,ruwe,phot_variable_"
        "flag\n";
    std::uint64_t id = 1'550'000'000'000'000'001;
    for (const InventedRow& row : rows) {
        text += fmt::format("{},{:.9f},{:.9f},2016.0,{:.3f},{:.3f},{:.6f},2500,", id++,
                            row.position.ra.degrees(), row.position.dec.degrees(), -3.1, 1.4, row.g);
        // Both in the middle of what such stars have: BP − G is about half of BP − RP.
        text += row.without_colour ? std::string(",,,,")
                                   : fmt::format("{:.6f},400,{:.6f},600,", row.g + 0.45 * row.bp_minus_rp,
                                                 row.g - 0.55 * row.bp_minus_rp);
        text += fmt::format("{:.3f},{}\n", row.ruwe, row.variable ? "VARIABLE" : "NOT_AVAILABLE");
    }
    return text;
}

}  // namespace emberline::test
