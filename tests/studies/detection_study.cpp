// SPDX-License-Identifier: MIT
// tests/studies/detection_study — stars of invented fields found and missed, by their signal-to-noise; what
// is found and is no star; whether places err as much as they say.
//
//   emberline_detection_study [fields a case] [threads] [first seed]
//
// Signal-to-noise is that of the best weights, F / (s √A), A the effective area of the profile as it falls on
// pixels, s the scatter of a pixel as neighbours differ. Stars keep apart by some widths: blends are another
// question. False: a detection at no star's place, of those that the settings let pass, above 5 sigma. Pull:
// (found − true) / error said, of stars above 10 sigma; spread by quantiles, so 1 where errors are honest.
// Exit status 1: outside the bounds that the table states.
#include <fmt/format.h>

#include <algorithm>
#include <array>
#include <cmath>
#include <mutex>
#include <numbers>

#include "frame/lattice.hpp"
#include "frame/write_frame.hpp"
#include "numerics/random.hpp"
#include "numerics/robust.hpp"
#include "rehearsal/invented_instrument.hpp"
#include "rehearsal/mosaic.hpp"
#include "rehearsal/plate.hpp"
#include "sky/time_scales.hpp"
#include "stars/detect.hpp"
#include "study.hpp"

namespace {

using namespace emberline;
using frame::PixelPosition;
using study::must;

constexpr std::array<double, 5> bins{5.0, 7.0, 10.0, 20.0, 1e9};
constexpr std::array<double, 4> least_found{0.55, 0.94, 0.975, 0.985};  // a share of each bin's stars
constexpr double least_pull = 0.75, most_pull = 1.35;
constexpr double place_fwhm = 0.8, least_place_px = 1.5;
constexpr int side_px = 1000, stars_a_field = 250;
constexpr double exposure_s = 60.0;

struct Case {
    const char* name;
    double fwhm_px = 3.0;
    double sky_mag = 20.0;
    double trail_px = 0.0;
    bool galaxy = false, mosaic = false;
    int hot_pixels = 0;
    double cosmic_rays_per_minute = 0.0;
    double most_false_per_mpx = 1.5;
};
const std::vector<Case> cases{
    {.name = "FWHM 1.8 px, dark sky", .fwhm_px = 1.8, .sky_mag = 21.0},
    {.name = "FWHM 2.5 px", .fwhm_px = 2.5},
    {.name = "FWHM 4 px", .fwhm_px = 4.0},
    {.name = "FWHM 6 px, bright sky", .fwhm_px = 6.0, .sky_mag = 18.0},
    {.name = "FWHM 3 px, trailed by 7 px", .trail_px = 7.0},
    {.name = "FWHM 3 px, a galaxy among them", .galaxy = true, .most_false_per_mpx = 2.0},
    {.name = "FWHM 2 px, 800 hot, 100 cosmic rays",
     .fwhm_px = 2.0,
     .hot_pixels = 800,
     .cosmic_rays_per_minute = 100.0,
     .most_false_per_mpx = 6.0},
    {.name = "FWHM 4 px, green of a mosaic", .fwhm_px = 4.0, .mosaic = true},
};

struct Score {
    std::array<std::size_t, 4> there{}, found{};
    std::size_t false_ones = 0, fields = 0;
    double mpx = 0.0;
    std::vector<double> pulls;
};

// Of the air's profile (Moffat), over pixels and drawn out; A = π α² (2β − 1) / (β − 1)².
double effective_area(double fwhm_px, double beta, double trail_px) {
    const double seen = std::sqrt(fwhm_px * fwhm_px + 8.0 * std::numbers::ln2 / 12.0);
    const double alpha = seen / (2.0 * std::sqrt(std::pow(2.0, 1.0 / beta) - 1.0));
    const double sigma = seen / (2.0 * std::sqrt(2.0 * std::numbers::ln2));
    return std::numbers::pi * alpha * alpha * (2.0 * beta - 1.0) / std::pow(beta - 1.0, 2) *
           std::sqrt(1.0 + trail_px * trail_px / (12.0 * sigma * sigma));
}

double scatter_adu(const rehearsal::InventedFrame& exposed, int step) {
    std::vector<double> differences;
    for (std::size_t i = static_cast<std::size_t>(step); i < exposed.adu.size(); i += 37)
        differences.push_back((1.0 * exposed.adu[i] - 1.0 * exposed.adu[i - static_cast<std::size_t>(step)]) /
                              std::numbers::sqrt2);
    return numerics::clipped_mean(differences).sigma;
}

struct Star {
    PixelPosition place;
    double snr = 0.0;
};

void one_field(const Case& c, std::uint64_t seed, const std::string& folder, Score& score, std::mutex& lock) {
    numerics::Random random(seed);
    rehearsal::InventedInstrument instrument;
    instrument.width_px = instrument.height_px = side_px;
    instrument.gain_e_per_adu = 1.0;
    instrument.hot_pixels = c.hot_pixels;
    instrument.cosmic_rays_per_minute = c.cosmic_rays_per_minute;
    instrument.sensor_seed = seed;
    if (c.mosaic) {
        instrument.pattern = "RGGB";
        rehearsal::give_dye_filters(instrument, rehearsal::usual_zero_point_mag);
    }
    const Band band = c.mosaic ? rehearsal::green_band() : *parse_band("V");
    const double pitch = c.mosaic ? std::numbers::sqrt2 : 1.0;
    rehearsal::InventedAir air;
    air.fwhm_arcsec = c.fwhm_px * instrument.scale_arcsec_per_px;
    air.trail_px = c.trail_px;
    air.trail_direction_deg = random.uniform(0.0, 180.0);
    air.sky_mag_per_arcsec2 = c.sky_mag;
    air.scintillation = false;
    const rehearsal::InventedPointing pointing{.centre = {Angle::degrees(150.0), Angle::degrees(30.0)}};
    const rehearsal::Plate plate(instrument, pointing);
    const auto sky_at = [&](const PixelPosition& p) {
        return displaced(pointing.centre, plate.on_sky(p.x - 0.5 * (side_px - 1), p.y - 0.5 * (side_px - 1)));
    };
    rehearsal::InventedSky sky;
    sky.transient.position = sky_at({-500.0, -500.0});
    sky.transient.light_share = 0.0;
    const double middle = 0.5 * side_px;
    if (c.galaxy) {
        rehearsal::InventedHost host;
        host.nucleus = sky_at({middle, middle});
        host.disk_mag = 11.5;
        host.disk_scale_arcsec = 40.0;
        host.bulge_mag = 13.0;
        host.bulge_scale_arcsec = 3.0;
        sky.host = host;
    }
    // Fluxes even in their logarithm, about those of 4 to 200 sigma; what they came to is measured below.
    const double sky_e = std::pow(10.0, -0.4 * (c.sky_mag - rehearsal::usual_zero_point_mag)) * exposure_s *
                         std::pow(instrument.scale_arcsec_per_px, 2);
    const double area = effective_area(c.fwhm_px / pitch, air.moffat_beta, c.trail_px / pitch);
    const double guessed_noise_e =
        std::sqrt((std::pow(instrument.read_noise_e, 2) + sky_e) * area) * (c.mosaic ? 2.0 : 1.0);
    const double zero_e = rehearsal::expected_flux_e(instrument, band, 0.0, std::nullopt, 0.3, exposure_s);
    std::vector<PixelPosition> places;
    const double apart_px = 7.0 * std::hypot(c.fwhm_px, 0.5 * c.trail_px);
    for (int tries = 0; tries < 20 * stars_a_field && places.size() < stars_a_field; ++tries) {
        const bool beside = c.galaxy && places.size() < 40;
        const double reach = beside ? 120.0 : middle - 3.0 * c.fwhm_px - c.trail_px;
        const PixelPosition p{middle + random.uniform(-reach, reach), middle + random.uniform(-reach, reach)};
        if (c.galaxy && std::hypot(p.x - middle, p.y - middle) < 12.0) continue;
        if (std::any_of(places.begin(), places.end(), [&](const PixelPosition& q) {
                return std::hypot(p.x - q.x, p.y - q.y) < (beside ? 0.6 : 1.0) * apart_px;
            }))
            continue;
        places.push_back(p);
        const double flux = guessed_noise_e * std::pow(10.0, random.uniform(0.6, 2.3));
        const double mag = -2.5 * std::log10(flux / zero_e);
        rehearsal::InventedStar star{.label = {}, .position = sky_at(p)};
        for (const char* name : {"V", "B", "Rc", "Ic"})
            star.true_mag[*parse_band(name)] = mag;
        sky.stars.push_back(star);
    }
    const auto exposed = rehearsal::expose(
        sky, instrument, air, pointing, {.latitude = Angle::degrees(30.0), .longitude = Angle::degrees(0.0)},
        band, sky::from_jd(2460330.0, 0.54, TimeScale::utc), exposure_s, seed);

    stars::DetectionSettings settings{.gain_e_per_adu = instrument.gain_e_per_adu};
    stars::DetectionField field;
    std::vector<Star> truth;
    const double scatter = scatter_adu(exposed, c.mosaic ? 2 * side_px : 1);
    const auto take_truth = [&](const auto& seen_at) {
        for (std::size_t i = 0; i < places.size(); ++i) {
            const double flux_adu = exposed.star_flux_e[i] / instrument.gain_e_per_adu;
            truth.push_back({seen_at(places[i]), flux_adu / (scatter * std::sqrt(area))});
        }
    };
    double mpx = 1e-6 * side_px * side_px;
    if (c.mosaic) {
        std::filesystem::create_directories(folder);
        const std::string path = folder + "/mosaic.fits";
        if (const auto written =
                frame::write_frame(path, side_px, side_px, exposed.adu,
                                   {{"BAYERPAT", "RGGB", "", true}, {"EXPTIME", "60.0", "", false}});
            !written)
            throw std::runtime_error(one_line(written.error()));
        const auto planes = must(frame::open_frames(path, {}));
        const frame::Frame& green = planes.at(1);
        field = must(stars::detect_stars(green, settings));
        const frame::Lattice lattice = green.facts().lattice.value();
        take_truth([&](const PixelPosition& p) { return lattice.picture(p); });
        // Every second pixel is green: their light is half of the star's.
        for (Star& star : truth)
            star.snr *= 0.5;
        mpx *= 0.5;
    } else {
        frame::Cutout picture{{0, 0, side_px, side_px}, {exposed.adu.begin(), exposed.adu.end()}};
        field = must(stars::detect_stars(picture, settings));
        take_truth([](const PixelPosition& p) { return p; });
    }

    const double within_px =
        std::max(least_place_px, place_fwhm * std::hypot(c.fwhm_px, 0.5 * c.trail_px) / pitch);
    std::vector<bool> claimed(field.stars.size(), false);
    const std::scoped_lock held(lock);
    for (const Star& star : truth) {
        const stars::Detection* best = nullptr;
        double nearest = within_px;
        for (std::size_t k = 0; k < field.stars.size(); ++k) {
            const stars::Detection& d = field.stars[k];
            const double apart = std::hypot(d.position.x - star.place.x, d.position.y - star.place.y);
            if (apart < 2.0 * within_px) claimed[k] = true;  // a wing of it, at worst
            if (apart > nearest) continue;
            nearest = apart;
            best = &d;
        }
        if (star.snr < bins.front()) continue;
        const auto bin =
            static_cast<std::size_t>(std::upper_bound(bins.begin(), bins.end(), star.snr) - bins.begin() - 1);
        ++score.there[bin];
        if (best == nullptr) continue;
        ++score.found[bin];
        if (star.snr < 10.0) continue;
        score.pulls.push_back((best->position.x - star.place.x) / best->err_px);
        score.pulls.push_back((best->position.y - star.place.y) / best->err_px);
    }
    for (std::size_t k = 0; k < field.stars.size(); ++k) {
        const PixelPosition& p = field.stars[k].position;
        const bool nucleus = c.galaxy && std::hypot(p.x - middle, p.y - middle) < 15.0;
        if (!claimed[k] && !nucleus) ++score.false_ones;
    }
    score.mpx += mpx;
    ++score.fields;
}

// With one standard error of a share, and of a count, in its favour twice over.
bool within_bounds(const Case& c, const Score& score) {
    bool good = score.fields > 0;
    for (std::size_t b = 0; b < least_found.size(); ++b) {
        const double n = static_cast<double>(score.there[b]);
        if (!(n > 0.0)) continue;
        const double err = std::sqrt(least_found[b] * (1.0 - least_found[b]) / n);
        good = good && static_cast<double>(score.found[b]) / n > least_found[b] - 2.0 * err;
    }
    const double allowed = c.most_false_per_mpx * score.mpx;
    good = good && static_cast<double>(score.false_ones) <= allowed + 2.0 * std::sqrt(allowed);
    const double spread = numerics::robust_spread(score.pulls);
    return good && spread > least_pull && spread < most_pull;
}

}  // namespace

int main(int argc, char** argv) {
    const auto number = [&](int at, int otherwise) { return argc > at ? std::atoi(argv[at]) : otherwise; };
    const auto fields = static_cast<std::size_t>(std::max(1, number(1, 4)));
    const auto threads = static_cast<unsigned>(std::max(1, number(2, 2)));
    const auto first_seed = static_cast<std::uint64_t>(number(3, 1));
    fmt::print(
        "share of stars found by signal-to-noise | false a Mpx | pull; {} fields a case, first seed {}\n",
        fields, first_seed);
    fmt::print("{:36}  {:>6} {:>6} {:>6} {:>6} | {:>6} {:>6} | {:>5}\n", "", "5-7", "7-10", "10-20", ">20",
               "false", "most", "pull");
    fmt::print("{:36}  {:6.3f} {:6.3f} {:6.3f} {:6.3f} | {:>6} {:>6} | {:.2f}-{:.2f}\n", "at least",
               least_found[0], least_found[1], least_found[2], least_found[3], "", "", least_pull, most_pull);
    bool good = true;
    for (const Case& c : cases) {
        Score score;
        std::mutex lock;
        study::over_seeds(fields, threads, first_seed, [&](std::uint64_t seed, const std::string& folder) {
            one_field(c, seed, folder, score, lock);
        });
        const auto share = [&](std::size_t b) {
            return static_cast<double>(score.found[b]) /
                   static_cast<double>(std::max<std::size_t>(1, score.there[b]));
        };
        const bool passed = within_bounds(c, score) && score.fields == fields;
        good = good && passed;
        fmt::print("{:36}  {:6.3f} {:6.3f} {:6.3f} {:6.3f} | {:6.2f} {:6.1f} | {:5.2f} {}\n", c.name,
                   share(0), share(1), share(2), share(3), static_cast<double>(score.false_ones) / score.mpx,
                   c.most_false_per_mpx, numerics::robust_spread(score.pulls), passed ? "" : "OUTSIDE");
    }
    return good ? 0 : 1;
}
