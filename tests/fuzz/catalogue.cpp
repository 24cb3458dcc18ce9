// SPDX-License-Identifier: MIT
// Catalogues in every kind of file: refused in words, or stars on the sky that a field can be solved and
// calibrated with.
#include "fuzz/fits_sketch.hpp"
#include "fuzz/promise.hpp"
#include "fuzz/scratch_file.hpp"
#include "standard/field_catalogue.hpp"
#include "standard/photometric_catalogue.hpp"

using namespace emberline;
using namespace emberline::fuzz;

namespace {

constexpr double epoch_jyear = 2024.5;

void check(const standard::CatalogueStar& star) {
    fuzz::check(star.position);
    ensure(std::isfinite(star.err_arcsec) && star.err_arcsec >= 0.0, "a position has its error", star.label);
    ensure(!star.magnitude_mag || std::isfinite(*star.magnitude_mag), "a magnitude is a number", star.label);
    ensure(!star.epoch_jyear || std::isfinite(*star.epoch_jyear), "an epoch is a number", star.label);
}

void check(const standard::FieldCatalogue& field) {
    for (const standard::CatalogueStar& star : field.stars)
        check(star);
    const auto references = standard::references_at(field, epoch_jyear);
    ensure(references.size() == field.stars.size(), "each star has a place at another time");
    for (const stars::ReferenceStar& star : references)
        fuzz::check(star.position);
}

bool same(const standard::FieldCatalogue& a, const standard::FieldCatalogue& b) {
    return a.stars.size() == b.stars.size() && a.remarks == b.remarks && a.epoch_jyear == b.epoch_jyear;
}

void check(const standard::PhotometricCatalogue& catalogue) {
    ensure(!catalogue.survey.empty(), "a survey has a name");
    for (const standard::PhotometricStar& star : catalogue.stars) {
        check(star.star);
        for (const auto& [name, magnitude] : star.native)
            ensure(std::isfinite(magnitude.value) && std::isfinite(magnitude.err) && magnitude.err >= 0.0,
                   "a native magnitude is a number with its error", name);
        ensure(!star.marks.any() || !star.marks.why.empty(), "a mark has its reason", star.star.label);
    }
    static const std::vector<Band> bands{*parse_band("V"), *parse_band("B"), *parse_band("Rc"),
                                         *parse_band("r")};
    const auto on = standard::on_bands(catalogue, bands, epoch_jyear);
    ensure(on.stars.size() <= catalogue.stars.size(), "no star is made up");
    for (const standard::StandardStar& star : on.stars) {
        fuzz::check(star.position);
        ensure(!star.magnitudes.empty(), "a standard star has one of the bands", star.label);
        for (const auto& [band, magnitude] : star.magnitudes) {
            ensure(std::isfinite(magnitude.value) && std::isfinite(magnitude.err) && magnitude.err >= 0.0,
                   "a magnitude on a band is a number with its error", star.label);
            ensure(star.by.contains(band), "a magnitude says what made it", star.label);
        }
    }
}

}  // namespace

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size) {
    static const ScratchFile file;
    file.write(fits_of(text_of(data, size)));
    const auto field = standard::read_field_catalogue(file.path());
    check_same(field, standard::read_field_catalogue(file.path()), same);
    if (field)
        check(*field);
    else
        fuzz::check(field.error());

    const auto catalogue = standard::read_photometric_catalogue(file.path());
    if (catalogue)
        check(*catalogue);
    else
        fuzz::check(catalogue.error());
    return 0;
}
