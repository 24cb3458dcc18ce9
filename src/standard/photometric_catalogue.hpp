// SPDX-License-Identifier: MIT
// standard/photometric_catalogue — stars with magnitudes of several bands as a survey's service exports them:
// CSV, TSV, ECSV, VOTable or FITS, columns known by name, UCD and unit. For comparison sequences and for
// standard fields.
#pragma once

#include <map>
#include <optional>
#include <string>
#include <vector>

#include "quantities/band.hpp"
#include "quantities/problem.hpp"
#include "quantities/value_with_error.hpp"
#include "standard/colour_equations.hpp"
#include "standard/field_catalogue.hpp"

namespace emberline::standard {

// What the survey says against a star.
struct StarMarks {
    bool variable = false;  // variability flag, or a scatter of its epochs that says so
    bool several = false;   // duplicity flag, RUWE above 1.4, non-single, blended
    bool extended = false;  // a galaxy
    bool doubtful = false;  // saturated, bad quality flags, few observations
    std::string why;        // of the first of them: "the survey lists it as no single star"
    [[nodiscard]] bool any() const { return variable || several || extended || doubtful; }
};

struct PhotometricStar {
    CatalogueStar star;  // position, motion, label
    NativeMagnitudes native;
    StarMarks marks;
    std::size_t row = 0;  // of the file, from 1
};

struct PhotometricCatalogue {
    std::string source;  // path
    std::string survey;  // "Gaia DR3", "Pan-STARRS DR1", "SDSS", "APASS", "a list of standards", "a table of
                         // magnitudes"
    std::string system;  // of its native magnitudes, as colour_equations() names them
    std::vector<PhotometricStar> stars;
    std::optional<double> epoch_jyear;
    std::vector<std::string> remarks;  // duplicates merged, rows left out and why, nulls
};

// Problem (file, column or line): as read_field_catalogue, or no magnitude of a known system.
// Nulls (empty, null, NaN, 99.99, -999 and the like) are no magnitudes; 9.999 and 0 are where an error stands
// beside them. Duplicates within an arcsecond with the same label or magnitude are one star.
[[nodiscard]] Result<PhotometricCatalogue> read_photometric_catalogue(
    const std::string& path, std::optional<double> epoch_jyear = std::nullopt);

// A star on the campaign's bands: native where the catalogue has the band itself, else converted.
struct StandardStar {
    std::string label;
    SkyPosition position;  // at the epoch asked for, its motion applied
    std::map<Band, ValueWithError> magnitudes;
    std::map<Band, std::string> by;  // the equation's name; "catalogue" for native ones
    StarMarks marks;
    std::size_t row = 0;
};
struct StandardStars {
    std::vector<StandardStar> stars;   // with at least one of the bands
    std::vector<std::string> remarks;  // "V of 12 stars: colour outside the range of …"
};
[[nodiscard]] StandardStars on_bands(const PhotometricCatalogue& catalogue, const std::vector<Band>& bands,
                                     double epoch_jyear);

}  // namespace emberline::standard
