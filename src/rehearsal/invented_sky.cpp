// SPDX-License-Identifier: MIT
#include "rehearsal/invented_sky.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <numbers>
#include <set>

namespace emberline::rehearsal {
namespace {

constexpr std::uint64_t comparison_stream = 1, field_stream = 2, catalogue_stream = 3, blend_stream = 4;
// Magnitudes fainter by the square of the days before the peak, times this.
constexpr double rise_mag_per_day2 = 0.02;
// Numbers of stars rise by this power of ten a magnitude, as in the sky away from the Milky Way.
constexpr double count_slope = 0.3;
constexpr double field_beyond_faintest_mag = 2.5;
constexpr int most_tries = 400;

const Band& visual() {
    static const Band band = *parse_band("V");
    return band;
}

std::map<Band, double> magnitudes(double visual_mag, double colour_mag, const std::vector<Band>& bands) {
    std::map<Band, double> result;
    for (const Band& band : bands)
        result[band] = visual_mag + colour_slope(band) * colour_mag;
    return result;
}

SkyPosition anywhere(numerics::Random& random, const SkyPosition& centre, double side_arcmin) {
    const double east = random.uniform(-0.5, 0.5) * side_arcmin;
    const double north = random.uniform(-0.5, 0.5) * side_arcmin;
    return displaced(centre, {Angle::arcminutes(east), Angle::arcminutes(north)});
}

// Where a new star is not in the way of those that must stand clear; in a field too full for that, as clear
// as comes about.
SkyPosition somewhere_clear(numerics::Random& random, const SkyOptions& options, double side_arcmin,
                            const std::vector<SkyPosition>& clear_of, double clear_arcsec) {
    for (int tries = 0;; ++tries) {
        const SkyPosition place = anywhere(random, options.centre, side_arcmin);
        const double asked_arcsec = clear_arcsec * (1.0 - static_cast<double>(tries) / most_tries);
        const bool clear = std::none_of(clear_of.begin(), clear_of.end(), [&](const SkyPosition& other) {
            return separation(place, other).arcseconds() < asked_arcsec;
        });
        if (clear || tries >= most_tries) return place;
    }
}

double plausible_colour(numerics::Random& random) {
    return std::clamp(random.gaussian(0.70, 0.22), 0.25, 1.35);
}

double to_millimag(double value) {
    return std::round(1000.0 * value) / 1000.0;
}

// Truth and an error of that size, to the digits that the table has.
void fill_catalogue(InventedStar& star, double err_mag, numerics::Random random) {
    for (const auto& [band, true_mag] : star.true_mag) {
        star.catalogue[band] = {to_millimag(random.gaussian(true_mag, err_mag)),
                                std::max(0.001, to_millimag(err_mag))};
    }
}

// As charts do, by the magnitude without the point: 126, and 126b for the next of the same.
void label(std::vector<InventedStar>& stars, const Band& band) {
    std::map<std::string, int> used;
    for (InventedStar& star : stars) {
        const auto tenths = static_cast<int>(std::lround(10.0 * star.catalogue.at(band).value));
        const std::string number = fmt::format("{}", std::max(0, tenths));
        const int before = used[number]++;
        star.label = number;
        if (before > 0 && before < 26) star.label += static_cast<char>('a' + before);
        if (before >= 26) star.label += fmt::format("z{}", before);
    }
}

std::vector<InventedStar> table_stars(const SkyOptions& options, const std::vector<Band>& bands,
                                      std::vector<SkyPosition>& clear_of) {
    numerics::Random random = numerics::Random(options.seed).stream(comparison_stream);
    const numerics::Random errors = numerics::Random(options.seed).stream(catalogue_stream);
    const Band band = options.bands.empty() ? visual() : sequence_band(options.bands.front());
    std::vector<InventedStar> stars;
    const int number = std::max(0, options.comparison_stars) + 1;
    for (int i = 0; i < number; ++i) {
        // Spread evenly over the magnitudes, with some chance: a table without gaps.
        const double share = (i + random.uniform()) / number;
        const double magnitude =
            options.brightest_mag + share * (options.faintest_mag - options.brightest_mag);
        const double colour = plausible_colour(random);
        InventedStar star;
        star.position =
            somewhere_clear(random, options, options.field_arcmin, clear_of, 2.0 * options.clear_arcsec);
        star.true_mag = magnitudes(magnitude - colour_slope(band) * colour, colour, bands);
        fill_catalogue(star, options.catalogue_err_mag, errors.stream(static_cast<std::uint64_t>(i)));
        clear_of.push_back(star.position);
        stars.push_back(std::move(star));
    }
    stars[stars.size() / 2].check = true;
    label(stars, band);
    return stars;
}

void add_field_stars(const SkyOptions& options, const std::vector<Band>& bands,
                     const std::vector<SkyPosition>& clear_of, std::vector<InventedStar>& stars) {
    numerics::Random random = numerics::Random(options.seed).stream(field_stream);
    const double faintest_mag = options.faintest_mag + field_beyond_faintest_mag;
    for (int i = 0; i < options.field_stars; ++i) {
        InventedStar star;
        star.position = somewhere_clear(random, options, options.field_arcmin * options.spread_over, clear_of,
                                        options.clear_arcsec);
        const double magnitude = faintest_mag + std::log10(1.0 - random.uniform()) / count_slope;
        star.true_mag =
            magnitudes(std::max(options.brightest_mag, magnitude), plausible_colour(random), bands);
        stars.push_back(std::move(star));
    }
}

void add_blends(const SkyOptions& options, const std::vector<Band>& bands, std::vector<InventedStar>& stars) {
    numerics::Random random = numerics::Random(options.seed).stream(blend_stream);
    int left = options.blended_stars;
    for (std::size_t i = 0; i < static_cast<std::size_t>(options.comparison_stars) && left > 0; ++i) {
        if (stars[i].check) continue;
        const Angle direction = Angle::degrees(random.uniform(0.0, 360.0));
        InventedStar companion;
        companion.position =
            displaced(stars[i].position, {Angle::arcseconds(2.0 * std::sin(direction.radians())),
                                          Angle::arcseconds(2.0 * std::cos(direction.radians()))});
        const double fainter_mag = random.uniform(1.5, 3.0);
        for (const Band& band : bands)
            companion.true_mag[band] = stars[i].true_mag.at(band) + fainter_mag;
        stars.push_back(std::move(companion));
        --left;
    }
}

InventedHost host_of(const SkyOptions& options, const std::vector<Band>& bands) {
    InventedHost host = options.host_kind ? invent_host(*options.host_kind, options.seed) : InventedHost{};
    const Angle direction = Angle::degrees(options.host_angle_deg.value_or(usual_host_angle_deg));
    host.nucleus = displaced(options.centre,
                             {Angle::arcseconds(options.host_offset_arcsec * std::sin(direction.radians())),
                              Angle::arcseconds(options.host_offset_arcsec * std::cos(direction.radians()))});
    constexpr double colour_mag = 0.8;  // B−V of an ordinary spiral
    for (const Band& band : bands)
        host.colour_offset_mag[band] = colour_slope(band) * colour_mag;
    return host;
}

double in_table(const std::map<Band, double>& table, const Band& band) {
    const auto found = table.find(sequence_band(band));
    if (found != table.end()) return found->second;
    return table.empty() ? 0.0 : table.begin()->second;
}

}  // namespace

std::vector<Band> with_partners(const std::vector<Band>& bands) {
    std::set<Band> all;
    for (const Band& band : bands.empty() ? std::vector<Band>{visual()} : bands) {
        all.insert(sequence_band(band));
        if (const auto index = usual_colour(band)) {
            all.insert(index->blue);
            all.insert(index->red);
        }
    }
    return {all.begin(), all.end()};
}

double colour_slope(const Band& band) {
    static const Band blue = *parse_band("B");
    const double v = 1.0 / facts(visual()).wavelength_nm;
    return (1.0 / facts(band).wavelength_nm - v) / (1.0 / facts(blue).wavelength_nm - v);
}

double Pulsation::at(double bjd_tdb) const {
    constexpr double origin = 2460000.0;
    return amplitude_mag * std::sin(2.0 * std::numbers::pi * (phase + (bjd_tdb - origin) / period_days));
}

double InventedTransient::magnitude(const Band& band, double bjd_tdb) const {
    const double days = bjd_tdb - peak_bjd_tdb;
    const double peak = in_table(peak_mag, band);
    return days >= 0.0 ? peak + in_table(decline_mag_per_day, band) * days
                       : peak + rise_mag_per_day2 * days * days;
}

std::optional<double> InventedTransient::colour(const Band& band, double bjd_tdb) const {
    const auto index = usual_colour(band);
    if (!index || !peak_mag.contains(index->blue) || !peak_mag.contains(index->red)) return std::nullopt;
    return magnitude(index->blue, bjd_tdb) - magnitude(index->red, bjd_tdb);
}

InventedSky invent_sky(const SkyOptions& options) {
    const std::vector<Band> bands = with_partners(options.bands);
    InventedSky sky;
    sky.transient.position = options.centre;
    std::vector<SkyPosition> clear_of = {options.centre};
    if (options.host) {
        sky.host = host_of(options, bands);
        clear_of.push_back(sky.host->nucleus);
    }
    sky.stars = table_stars(options, bands, clear_of);
    add_blends(options, bands, sky.stars);
    add_field_stars(options, bands, clear_of, sky.stars);
    return sky;
}

}  // namespace emberline::rehearsal
