// SPDX-License-Identifier: MIT
#include "rehearsal/mosaic.hpp"

#include <algorithm>
#include <catch2/catch.hpp>
#include <cmath>
#include <numeric>

#include "frame/wcs.hpp"
#include "quantities/magnitude.hpp"
#include "rehearsal/plate.hpp"
#include "sky/horizon.hpp"
#include "sky/time_scales.hpp"

using namespace emberline;
using namespace emberline::rehearsal;

namespace {

const SkyPosition centre{Angle::degrees(201.338), Angle::degrees(37.27)};
const sky::Site site{Angle::degrees(51.1), Angle::degrees(-1.2), 95.0};
const Instant start = *sky::parse_instant("2024-03-20T23:00:00");
constexpr double exposure_s = 60.0;

const Band& band(const char* name) {
    static std::map<std::string, Band> known;
    return known.try_emplace(name, *parse_band(name)).first->second;
}

// A colour camera and one star, nothing else that disturbs. Odd sizes, as sub-frames have them.
struct Scene {
    InventedSky sky;
    InventedInstrument instrument;
    InventedAir air;
    InventedPointing pointing{.centre = centre, .rotation_deg = 20.0};

    explicit Scene(const char* pattern) {
        instrument.width_px = 203;
        instrument.height_px = 201;
        instrument.pattern = pattern;
        instrument.hot_pixels = 0;
        instrument.cosmic_rays_per_minute = 0.0;
        give_dye_filters(instrument, 20.4);
        air.scintillation = false;
        air.fwhm_arcsec = 5.0;
        sky.transient.position = displaced(centre, {Angle::degrees(1.0), Angle::degrees(0.0)});
        sky.transient.peak_mag[band("V")] = 15.0;
    }
    void add_star(double visual_mag, double blue_mag, double red_mag) {
        sky.stars.push_back(
            {.position = displaced(centre, {Angle::arcseconds(9.0), Angle::arcseconds(-6.0)}),
             .true_mag = {{band("B"), blue_mag}, {band("V"), visual_mag}, {band("Rc"), red_mag}}});
    }
    [[nodiscard]] InventedFrame take(std::uint64_t seed) const {
        return expose(sky, instrument, air, pointing, site, green_band(), start, exposure_s, seed);
    }
    // The pixels of one colour, electrons above the offset.
    [[nodiscard]] std::vector<double> electrons(const InventedFrame& frame, frame::Colour colour) const {
        const auto pattern = frame::parse_colour_pattern(instrument.pattern);
        std::vector<double> e;
        for (int y = 0; y < frame.height_px; ++y) {
            for (int x = 0; x < frame.width_px; ++x) {
                if (pattern->at(x, y) != colour) continue;
                const auto i = static_cast<std::size_t>(y * frame.width_px + x);
                e.push_back((frame.adu[i] - instrument.offset_adu) * instrument.gain_e_per_adu);
            }
        }
        return e;
    }
};

struct Expected {
    frame::Colour colour;
    double below_green_mag;  // zero point
    double extinction_mag;   // more than green's
    double colour_term;
    const char* blue;
    const char* red;
    const char* standard;
};
// Zero points and colour terms as mosaic.hpp promises them; extinctions of data/bands.csv. Common practice,
// no source.
const Expected colours[] = {{frame::Colour::red, 0.6, 0.12 - 0.16, -0.10, "V", "Rc", "Rc"},
                            {frame::Colour::green, 0.0, 0.0, -0.05, "B", "V", "V"},
                            {frame::Colour::blue, 0.4, 0.24 - 0.16, 0.20, "B", "V", "B"}};

// Of a Moffat profile's light (Trujillo et al. 2001, MNRAS 328, 977, equation 6).
double within(double radius_px, double fwhm_px, double beta) {
    const double alpha_px = 0.5 * fwhm_px / std::sqrt(std::pow(2.0, 1.0 / beta) - 1.0);
    return 1.0 - std::pow(1.0 + radius_px * radius_px / (alpha_px * alpha_px), 1.0 - beta);
}

}  // namespace

TEST_CASE("each phase of a mosaic has its own sky, with the noise of that sky", "[mosaic]") {
    for (const char* pattern : {"RGGB", "BGGR", "GRBG", "GBRG"}) {
        const Scene scene(pattern);
        constexpr std::uint64_t seed = 404;
        INFO(pattern << ", seed " << seed);
        const InventedFrame frame = scene.take(seed);
        std::vector<double> levels;
        for (const Expected& c : colours) {
            const Band& own = mosaic_bands()[static_cast<std::size_t>(c.colour)];
            const double sky_mag = 20.0 + 0.7 * (colour_slope(own) - colour_slope(band("TG")));
            const double sky_e = 1.2 * 1.2 * exposure_s * flux_ratio(sky_mag - (20.4 - c.below_green_mag));
            const double expected = sky_e + 0.02 * exposure_s;
            // Rounding to integers: a twelfth of a squared step (Sheppard 1898).
            const double variance = expected + 36.0 + 0.81 / 12.0;
            const auto e = scene.electrons(frame, c.colour);
            const auto n = static_cast<double>(e.size());
            CHECK(n == Approx(203.0 * 201.0 * (c.colour == frame::Colour::green ? 0.5 : 0.25)).epsilon(0.01));
            const double mean = std::accumulate(e.begin(), e.end(), 0.0) / n;
            double sum2 = 0.0;
            for (const double value : e)
                sum2 += (value - mean) * (value - mean);
            // Four standard errors of n values.
            CHECK(mean == Approx(expected).margin(4.0 * std::sqrt(variance / n)));
            CHECK(sum2 / n == Approx(variance).epsilon(4.0 * std::sqrt(2.0 / n)));
            levels.push_back(mean);
        }
        CHECK(levels[1] > 1.1 * levels[0]);
        CHECK(levels[0] > 1.1 * levels[2]);
    }
}

TEST_CASE("a star sends each colour what its magnitude, its colour and the air make of it", "[mosaic]") {
    for (const char* pattern : {"RGGB", "GBRG"}) {
        for (const bool top_down : {false, true}) {
            Scene scene(pattern);
            scene.instrument.top_down = top_down;
            scene.add_star(10.0, 10.9, 9.5);
            const std::map<std::string, double> mags = {{"B", 10.9}, {"V", 10.0}, {"Rc", 9.5}};
            constexpr double radius_px = 15.0;
            constexpr std::uint64_t seed = 77;
            INFO(pattern << (top_down ? ", top-down" : "") << ", seed " << seed);
            const InventedFrame frame = scene.take(seed);
            REQUIRE(frame.colours.size() == 3);
            const double airmass =
                *sky::airmass(sky::later_by(start, 0.5 * exposure_s), scene.sky.stars[0].position, site);
            const auto place = Plate(scene.instrument, scene.pointing).truth(scene.sky.stars[0].position);
            const auto cells = frame::parse_colour_pattern(pattern);
            for (const Expected& c : colours) {
                const InventedColour& truth = frame.colours[static_cast<std::size_t>(c.colour)];
                INFO(truth.band.name());
                // m_instrumental = m_standard + k X − T C: zero_points.hpp has T of the standard magnitude.
                const double mag = mags.at(c.standard) + (0.2 + c.extinction_mag) * airmass -
                                   c.colour_term * (mags.at(c.blue) - mags.at(c.red));
                const double expected_e = exposure_s * flux_ratio(mag - (20.4 - c.below_green_mag));
                CHECK(truth.star_flux_e.at(0) == Approx(expected_e).epsilon(1e-9));

                // On the frame: this colour's pixels hold their share of the light, a half or a quarter.
                const double share = c.colour == frame::Colour::green ? 0.5 : 0.25;
                const double expected_light_e = share * within(radius_px, 5.0 / 1.2, 3.5) * expected_e;
                const auto all = scene.electrons(frame, c.colour);
                std::vector<double> sorted = all;
                std::sort(sorted.begin(), sorted.end());
                const double sky_e = sorted[sorted.size() / 2];
                double light_e = 0.0, x_sum = 0.0, y_sum = 0.0, pixels = 0.0;
                std::size_t at = 0;
                for (int y = 0; y < frame.height_px; ++y) {
                    for (int x = 0; x < frame.width_px; ++x) {
                        if (cells->at(x, y) != c.colour) continue;
                        const double e = all[at++] - sky_e;
                        if (std::hypot(x - place.x, y - place.y) > radius_px) continue;
                        pixels += 1.0;
                        light_e += e;
                        x_sum += e * (x - place.x);
                        y_sum += e * (y - place.y);
                    }
                }
                // Four sigma of photons and read noise; the sky's median is whole ADU; samples two pixels
                // apart of an image 4.2 wide miss 0.2 % at most.
                const double noise_e = std::sqrt(light_e + pixels * (sky_e + 36.0));
                CHECK(
                    light_e ==
                    Approx(expected_light_e).margin(4.0 * noise_e + 0.5 * pixels + 0.002 * expected_light_e));
                const double place_err_px = noise_e * 0.5 * radius_px / light_e;
                CHECK(x_sum / light_e == Approx(0.0).margin(4.0 * place_err_px + 0.02));
                CHECK(y_sum / light_e == Approx(0.0).margin(4.0 * place_err_px + 0.02));
                CHECK(place_err_px < 0.1);
            }
            CHECK(frame.transient_mag == frame.colours[1].transient_mag);
            CHECK(frame.star_flux_e == frame.colours[1].star_flux_e);
        }
    }
}

TEST_CASE("rows stored from the top turn the plate solution over, and with it the sky", "[mosaic]") {
    Scene upright("RGGB"), turned("RGGB");
    turned.instrument.top_down = true;
    const SkyPosition star = displaced(centre, {Angle::arcseconds(31.0), Angle::arcseconds(44.0)});
    const auto one = Plate(upright.instrument, upright.pointing).by_header(star);
    const auto other = Plate(turned.instrument, turned.pointing).by_header(star);
    CHECK(other.x == Approx(one.x).margin(1e-9));
    CHECK(other.y == Approx(200.0 - one.y).margin(1e-9));
}

TEST_CASE("debayered planes keep what was seen and are straight lines between", "[mosaic]") {
    constexpr int width = 13, height = 9;
    for (const char* word : {"RGGB", "BGGR", "GRBG", "GBRG"}) {
        const auto pattern = *frame::parse_colour_pattern(word);
        // Straight in x and y within each colour: bilinear interpolation has no error off the rim.
        const auto level = [](frame::Colour colour, int x, int y) {
            return 100.0 * (1.0 + static_cast<double>(colour)) + 3.0 * x - 2.0 * y;
        };
        std::vector<float> adu;
        for (int y = 0; y < height; ++y) {
            for (int x = 0; x < width; ++x)
                adu.push_back(static_cast<float>(level(pattern.at(x, y), x, y)));
        }
        const auto planes = debayered(adu, width, height, pattern);
        REQUIRE(planes.size() == 3 * adu.size());
        for (const auto colour : {frame::Colour::red, frame::Colour::green, frame::Colour::blue}) {
            for (int y = 0; y < height; ++y) {
                for (int x = 0; x < width; ++x) {
                    const bool rim = x == 0 || y == 0 || x == width - 1 || y == height - 1;
                    const std::size_t i = static_cast<std::size_t>(colour) * width * height +
                                          static_cast<std::size_t>(y * width + x);
                    INFO(word << ", plane " << static_cast<int>(colour) << ", " << x << ", " << y);
                    // At the rim a neighbour is missing: at most a pixel's step in each direction.
                    CHECK(static_cast<double>(planes[i]) ==
                          Approx(level(colour, x, y)).margin(rim ? 5.0 : 1e-3));
                    if (pattern.at(x, y) == colour)
                        CHECK(planes[i] == adu[static_cast<std::size_t>(y * width + x)]);
                }
            }
        }
    }
}
