// SPDX-License-Identifier: MIT
#include "standard/field_catalogue.hpp"

#include <cmath>

#include "standard/catalogue_columns.hpp"
#include "standard/catalogue_stars.hpp"
#include "standard/read_raw_catalogue.hpp"

namespace emberline::standard {
namespace {

Result<FieldCatalogue> understood(const RawCatalogue& raw, const std::string& path,
                                  std::optional<double> epoch_jyear) {
    const auto chosen = choose_columns(raw.columns);
    if (!chosen) return fail(at(path, chosen.error()));
    return stars_of(raw, *chosen, path, epoch_jyear);
}

}  // namespace

Result<FieldCatalogue> read_field_catalogue(const std::string& path, std::optional<double> epoch_jyear) {
    const auto raw = read_raw_catalogue(
        path, [](const std::vector<RawColumn>& headings) -> std::optional<std::vector<std::size_t>> {
            const auto chosen = choose_columns(headings);
            if (!chosen) return std::nullopt;
            return chosen->all();
        });
    if (!raw) return fail(raw.error());
    return understood(*raw, path, epoch_jyear);
}

stars::ReferenceStar reference_at(const CatalogueStar& star, std::optional<double> catalogue_epoch_jyear,
                                  double epoch_jyear) {
    stars::ReferenceStar reference{.position = star.position,
                                   .err_arcsec = star.err_arcsec,
                                   .magnitude_mag = star.magnitude_mag,
                                   .label = star.label};
    const auto from = star.epoch_jyear ? star.epoch_jyear : catalogue_epoch_jyear;
    double unknown_mas_per_year = usual_motion_mas_per_year;
    if (star.motion) {
        unknown_mas_per_year = std::hypot(star.motion->ra_mas_per_year, star.motion->dec_mas_per_year);
        if (from) {
            if (const auto then = sky::moved(star.position, *star.motion, *from, epoch_jyear)) {
                reference.position = *then;
                unknown_mas_per_year = 0.0;
            }
        }
    }
    const double years = std::abs(epoch_jyear - from.value_or(usual_epoch_jyear));
    reference.err_arcsec = std::hypot(reference.err_arcsec, unknown_mas_per_year * years / 1000.0);
    return reference;
}

std::vector<stars::ReferenceStar> references_at(const FieldCatalogue& catalogue, double epoch_jyear) {
    std::vector<stars::ReferenceStar> out;
    out.reserve(catalogue.stars.size());
    for (const CatalogueStar& star : catalogue.stars)
        out.push_back(reference_at(star, catalogue.epoch_jyear, epoch_jyear));
    return out;
}

}  // namespace emberline::standard
