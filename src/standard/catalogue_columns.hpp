// SPDX-License-Identifier: MIT
// standard/catalogue_columns — which column of a catalogue is what, by the names that services give them, by
// UCDs and by units. Private to this room.
// Sources: IVOA "The UCD1+ controlled vocabulary" 1.5 (2023); the names of columns are common practice, no
// source.
#pragma once

#include <cstddef>
#include <optional>
#include <string>
#include <vector>

#include "quantities/problem.hpp"
#include "standard/catalogue_units.hpp"
#include "standard/raw_catalogue.hpp"

namespace emberline::standard {

struct ChosenColumns {
    std::size_t ra = 0, dec = 0;
    PositionUnit ra_unit = PositionUnit::unsaid, dec_unit = PositionUnit::unsaid;
    bool named_b1950 = false;
    std::optional<std::size_t> ra_error, dec_error;    // both, with a unit, or none
    double ra_error_mas = 1.0, dec_error_mas = 1.0;    // in one of their unit
    std::optional<std::size_t> ra_motion, dec_motion;  // both or none
    double motion_mas_per_year = 1.0;                  // in one of their unit
    std::optional<std::size_t> parallax, radial_velocity;
    double parallax_mas = 1.0;  // in one of its unit
    std::optional<std::size_t> magnitude, label, epoch;
    bool epoch_in_days = false;  // Julian dates, or modified ones; otherwise years
    std::vector<std::string> remarks;

    [[nodiscard]] std::vector<std::size_t> all() const;
};

// Only names, units and meanings are looked at. Problem, without a file: no position columns, one name for
// two of them, a unit that positions do not have.
[[nodiscard]] Result<ChosenColumns> choose_columns(const std::vector<RawColumn>& columns);

}  // namespace emberline::standard
