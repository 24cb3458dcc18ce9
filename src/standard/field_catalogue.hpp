// SPDX-License-Identifier: MIT
// standard/field_catalogue — stars of the field as a catalogue service hands them out: CSV, TSV, ECSV,
// VOTable or a FITS table. For plate solutions: positions, proper motions where they are given, and any one
// magnitude.
// Sources: IVOA VOTable 1.4 (2019); astropy APE 6 (ECSV); FITS standard 4.0, section 7.
#pragma once

#include <optional>
#include <string>
#include <vector>

#include "quantities/problem.hpp"
#include "quantities/sky_position.hpp"
#include "sky/proper_motion.hpp"
#include "stars/plate_stars.hpp"

namespace emberline::standard {

struct CatalogueStar {
    SkyPosition position;  // ICRS at the catalogue's epoch
    double err_arcsec = 0.1;
    std::optional<sky::Motion> motion;
    std::optional<double> epoch_jyear;  // its own, where rows differ
    std::optional<double> magnitude_mag;
    std::string label;
    std::size_t row = 0;  // of the file's table, from 0
};

struct FieldCatalogue {
    std::string source;
    std::vector<CatalogueStar> stars;
    std::optional<double> epoch_jyear;  // of the positions; absent: not known, taken as they are
    std::vector<std::string> remarks;   // "no magnitudes", "columns in radians", rows left out and why
};

// The kind of file is told by its content. Columns are known by the names that services give them, by UCDs
// and units: degrees, hours, radians, sexagesimal text. `epoch_jyear` wins over the file's. Problem (file,
// line or column): no position columns, positions out of range, rows that cannot be read, an unknown kind.
[[nodiscard]] Result<FieldCatalogue> read_field_catalogue(const std::string& path,
                                                          std::optional<double> epoch_jyear = std::nullopt);

// What a star of a finder's brightness moves in a year, one axis: common practice, no source.
inline constexpr double usual_motion_mas_per_year = 10.0;
// Where the file does not say for when its positions hold.
inline constexpr double usual_epoch_jyear = 2000.0;

// As it stands at that time; see references_at.
[[nodiscard]] stars::ReferenceStar reference_at(const CatalogueStar& star,
                                                std::optional<double> catalogue_epoch_jyear,
                                                double epoch_jyear);
// As they stand at that time: motions are carried on from the catalogue's epoch. Where the motion is not
// known the usual one, and where the epoch is not known the star's own since usual_epoch_jyear, is added to
// the error.
[[nodiscard]] std::vector<stars::ReferenceStar> references_at(const FieldCatalogue& catalogue,
                                                              double epoch_jyear);

}  // namespace emberline::standard
