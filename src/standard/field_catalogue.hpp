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

// As they stand at that time; motions carried on, and the error of what is not known of them added.
[[nodiscard]] std::vector<stars::ReferenceStar> references_at(const FieldCatalogue& catalogue,
                                                              double epoch_jyear);

}  // namespace emberline::standard
