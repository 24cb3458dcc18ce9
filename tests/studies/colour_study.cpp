// SPDX-License-Identifier: MIT
// tests/studies/colour_study — are the three magnitudes of a colour camera's frames right? Invented campaigns
// of all four patterns, both row orders, odd and even sizes, with stars from sharp to wide, are measured from
// their mosaics on disk, the transient's colour known from those frames alone, and compared with the truth.
//
//   emberline_colour_study [campaigns a width] [threads]
//
// TB, TG and TR are on B, V and Rc by their colour terms: TG is the transformed V. For stars of 3 pixels of
// the mosaic and wider: the mean of (measured − truth) within 5 mmag, the robust spread of (measured −
// truth) / error within 0.9–1.1, each beyond twice the sample's own uncertainty
// (three times in a short run); sharper stars are flagged
// and their errors not too small. Exit status 1: something was missed.
#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <cstdlib>
#include <map>
#include <mutex>
#include <optional>
#include <vector>

#include "frame/colour_pattern.hpp"
#include "frame/frame.hpp"
#include "night/measure_frame.hpp"
#include "night/solve_campaign.hpp"
#include "numerics/random.hpp"
#include "numerics/robust.hpp"
#include "photometry/aperture_sum.hpp"
#include "photometry/sampling.hpp"
#include "quantities/magnitude.hpp"
#include "rehearsal/moffat.hpp"
#include "rehearsal/rehearse.hpp"
#include "stars/profile.hpp"
#include "study.hpp"

namespace {

using namespace emberline;
using study::mean_of;
using study::must;

constexpr double widths_px[] = {1.6, 2.0, 2.5, 3.0, 4.0, 5.0};  // FWHM in pixels of the mosaic
constexpr double well_sampled_px = 3.0;
constexpr double most_bias_mag = 0.005;
const char* const bands[] = {"TB", "TG", "TR"};

// Of some forty lines a few stray beyond twice their uncertainty by chance: a short run grants one more.
constexpr std::size_t short_run = 20;
double granted_sigma = 2.0;
int missed = 0;

const char* verdict(bool good) {
    missed += good ? 0 : 1;
    return good ? "ok" : "MISSED";
}

// The truth of each frame and band.
using Truth = std::map<std::pair<std::string, std::string>, double>;
Truth read_truth(const std::string& folder) {
    Truth truth;
    const auto table = must(read_table(folder + "/truth.csv"));
    for (const TableRow& row : table.rows) {
        truth[{row.fields[*table.column("frame")], row.fields[*table.column("band")]}] =
            *parse_number(row.fields[*table.column("true_mag")]);
    }
    return truth;
}

struct BandScores {
    std::vector<double> campaign_error_mag;  // mean of a campaign's nights
    std::vector<double> campaign_pull;       // … over its error, common ones in it
    std::vector<double> difference_pull;     // of two nights of a campaign
    std::vector<double> flagged;             // share of frames with undersampled
    std::vector<double> term;
    std::size_t nights = 0, limits = 0, untransformed = 0;
};

struct Scores {
    std::map<std::string, BandScores> bands;
    std::vector<double> colour_pull;  // of TB − TG, with what they share
    std::map<std::string, std::vector<double>> pattern_error_mag;

    void add(const Scores& o) {
        const auto join = [](std::vector<double>& a, const std::vector<double>& b) {
            a.insert(a.end(), b.begin(), b.end());
        };
        for (const auto& [band, other] : o.bands) {
            BandScores& own = bands[band];
            join(own.campaign_error_mag, other.campaign_error_mag);
            join(own.campaign_pull, other.campaign_pull);
            join(own.difference_pull, other.difference_pull);
            join(own.flagged, other.flagged);
            join(own.term, other.term);
            own.nights += other.nights;
            own.limits += other.limits;
            own.untransformed += other.untransformed;
        }
        join(colour_pull, o.colour_pull);
        for (const auto& [pattern, errors] : o.pattern_error_mag)
            join(pattern_error_mag[pattern], errors);
    }
};

// Of a sum of magnitudes with these weights: random parts and the shared vectors.
double variance_of(const std::vector<const night::Measurement*>& points, const std::vector<double>& weights) {
    std::map<std::string, double> sums;
    double variance = 0.0;
    for (std::size_t i = 0; i < points.size(); ++i) {
        variance += std::pow(weights[i] * *points[i]->random_err_mag, 2);
        for (const auto& c : points[i]->common)
            sums[c.name] += weights[i] * c.err_mag;
    }
    for (const auto& [name, v] : sums)
        variance += v * v;
    return variance;
}

Scores one_campaign(const rehearsal::RehearsalOptions& options, double width_px, const std::string& folder) {
    auto invented = must(rehearsal::invent_campaign(options));
    numerics::Random random(options.seed);
    for (rehearsal::PlannedFrame& frame : invented.frames)
        frame.air.fwhm_arcsec =
            width_px * invented.instrument.scale_arcsec_per_px * (1.0 + 0.03 * random.gaussian(0.0, 1.0));
    must(rehearsal::rehearse(folder, invented));
    const Truth truth = read_truth(folder);
    const auto campaign = must(night::read_campaign(folder));
    const auto sequence = must(standard::read_sequence(campaign.path(campaign.catalog)));
    std::vector<photometry::FrameFluxes> fluxes;
    for (const rehearsal::PlannedFrame& planned : invented.frames) {
        for (const frame::Frame& frame :
             must(frame::open_frames(folder + "/" + planned.path, campaign.instruments))) {
            auto measured = night::measure_frame(frame, planned.path, planned.path, sequence, campaign);
            if (measured) {
                fluxes.push_back(std::move(*measured));
            } else {
                fmt::print(stderr, "seed {}: {}\n", options.seed, one_line(measured.error()));
            }
        }
    }
    const night::Solution solution = must(night::solve_campaign(fluxes, sequence, campaign, {})).solution;
    Scores s;
    std::map<std::pair<std::string, std::string>, std::vector<double>> night_truth;
    std::map<std::string, std::vector<double>> flags;
    for (const night::FrameMeasurement& f : solution.frames) {
        if (!f.used) continue;
        night_truth[{f.night, f.band.name()}].push_back(flux_ratio(truth.at({f.frame, f.band.name()})));
        flags[f.band.name()].push_back(f.caveats.has(Caveat::undersampled) ? 1.0 : 0.0);
    }
    std::map<std::string, std::vector<const night::Measurement*>> points;
    std::map<std::string, std::vector<double>> errors;
    std::map<std::string, std::map<std::string, std::pair<const night::Measurement*, double>>> by_night;
    for (const night::NightMeasurement& n : solution.nights) {
        const std::string& band = n.band.name();
        BandScores& scores = s.bands[band];
        ++scores.nights;
        if (n.is_limit) {
            ++scores.limits;
            continue;
        }
        scores.untransformed += n.transformed ? 0 : 1;
        const double error =
            *n.magnitude_mag - magnitude_difference(mean_of(night_truth[{n.night, band}]), 1.0);
        points[band].push_back(&n);
        errors[band].push_back(error);
        by_night[n.night][band] = {&n, error};
        if (n.colour_term && scores.term.empty()) scores.term.push_back(*n.colour_term);
    }
    for (auto& [band, all] : points) {
        BandScores& scores = s.bands[band];
        const std::vector<double> equal(all.size(), 1.0 / static_cast<double>(all.size()));
        const double mean = mean_of(errors[band]);
        scores.campaign_error_mag.push_back(mean);
        scores.campaign_pull.push_back(mean / std::sqrt(variance_of(all, equal)));
        scores.flagged.push_back(mean_of(flags[band]));
        for (std::size_t i = 0; i + 1 < all.size(); i += 2) {
            scores.difference_pull.push_back((errors[band][i] - errors[band][i + 1]) /
                                             std::sqrt(variance_of({all[i], all[i + 1]}, {1.0, -1.0})));
        }
        s.pattern_error_mag[*options.pattern + (options.top_down ? ", top down" : ", bottom up")].push_back(
            mean);
    }
    for (const auto& [night, of_band] : by_night) {
        const auto blue = of_band.find("TB"), green = of_band.find("TG");
        if (blue == of_band.end() || green == of_band.end()) continue;
        s.colour_pull.push_back(
            (blue->second.second - green->second.second) /
            std::sqrt(variance_of({blue->second.first, green->second.first}, {1.0, -1.0})));
        break;  // common errors are the same in the others
    }
    return s;
}

rehearsal::RehearsalOptions camera_of(std::uint64_t seed) {
    static const char* const patterns[] = {"RGGB", "BGGR", "GRBG", "GBRG"};
    rehearsal::RehearsalOptions options;
    options.seed = seed;
    options.nights = 4;
    options.frames = 4;
    options.host = options.cloud = options.trailing = false;
    options.transient_colour_known = false;
    options.comparison_stars = 12;
    options.catalogue_err_mag = 0.02;
    options.pattern = patterns[seed % 4];
    options.top_down = (seed / 4) % 2 == 1;
    options.width_px = (seed / 8) % 2 == 0 ? 301 : 300;
    options.height_px = (seed / 16) % 2 == 0 ? 300 : 301;
    // Bright and less so in turn: noise and catalogue errors each have their share.
    options.peak_mag = (seed / 3) % 2 == 0 ? 12.5 : 14.5;
    return options;
}

double grace_of(std::size_t n) {
    return granted_sigma * 0.8 / std::sqrt(static_cast<double>(n));
}

void width_table(double width_px, const Scores& s) {
    const bool strict = width_px >= well_sampled_px;
    for (const char* band : bands) {
        const auto found = s.bands.find(band);
        if (found == s.bands.end() || found->second.campaign_error_mag.size() < 3) {
            fmt::print("  {:4.1f} {}  not measured  {}\n", width_px, band, verdict(false));
            continue;
        }
        const BandScores& b = found->second;
        const double bias = numerics::median(b.campaign_error_mag);
        const double bias_err = 1.2533 * numerics::robust_spread(b.campaign_error_mag) /
                                std::sqrt(static_cast<double>(b.campaign_error_mag.size()));
        const double spread = numerics::robust_spread(b.campaign_pull);
        const double difference = numerics::robust_spread(b.difference_pull);
        const double grace = grace_of(b.campaign_pull.size());
        const double difference_grace = grace_of(b.difference_pull.size());
        // Below, errors may be cautious, never too small; and the flag is up.
        const double least = strict ? 0.9 : 0.0;
        const bool good = (!strict || std::abs(bias) < most_bias_mag + granted_sigma * bias_err) &&
                          spread > least - grace && spread < 1.1 + grace &&
                          difference > least - difference_grace && difference < 1.1 + difference_grace;
        fmt::print(
            "  {:4.1f} {}  {:+7.2f} ± {:4.2f} mmag  spread of campaigns {:5.2f} ± {:.2f}  of nights {:5.2f} "
            "± "
            "{:.2f}  flagged {:3.0f} %  T {:+.3f}  limits {}/{}  {}\n",
            width_px, band, 1000.0 * bias, 1000.0 * bias_err, spread, grace / granted_sigma, difference,
            difference_grace / granted_sigma, 100.0 * mean_of(b.flagged),
            b.term.empty() ? 0.0 : numerics::median(b.term), b.limits, b.nights, verdict(good));
    }
    const double spread = numerics::robust_spread(s.colour_pull);
    const double grace = grace_of(s.colour_pull.size());
    const bool good = spread < 1.1 + grace && (!strict || spread > 0.9 - grace);
    fmt::print("  {:4.1f} TB−TG as a colour: spread {:.2f} ± {:.2f}  {}\n", width_px, spread,
               grace / granted_sigma, verdict(good));
}

Scores campaigns_of(double width_px, bool interpolated, std::size_t campaigns, unsigned threads,
                    std::uint64_t first_seed) {
    Scores all;
    std::mutex lock;
    study::over_seeds(campaigns, threads, first_seed, [&](std::uint64_t seed, const std::string& folder) {
        rehearsal::RehearsalOptions options = camera_of(seed);
        options.debayered = interpolated;
        const Scores one = one_campaign(options, width_px, folder);
        const std::scoped_lock held(lock);
        all.add(one);
    });
    return all;
}

void campaigns_at_all_widths(std::size_t campaigns, unsigned threads) {
    fmt::print("{} campaigns a width; measured − truth of TB, TG, TR on B, V, Rc\n", campaigns);
    Scores well_sampled;
    std::uint64_t seed = 4000;
    for (const double width_px : widths_px) {
        const Scores all = campaigns_of(width_px, false, campaigns, threads, seed);
        width_table(width_px, all);
        if (width_px >= well_sampled_px) well_sampled.add(all);
        seed += 1600;
    }
    fmt::print("Cubes of three planes, interpolated from mosaics\n");
    for (const double width_px : {3.0, 4.0}) {
        width_table(width_px,
                    campaigns_of(width_px, true, std::max<std::size_t>(campaigns / 2, 6), threads, seed));
        seed += 1600;
    }
    fmt::print("By pattern and row order, stars of 3 pixels and wider, all bands\n");
    for (const auto& [pattern, errors] : well_sampled.pattern_error_mag) {
        const double bias = numerics::median(errors);
        const double bias_err = 1.2533 * numerics::robust_spread(errors) /
                                std::sqrt(static_cast<double>(errors.size()) / 3.0);  // bands share stars
        fmt::print("  {:16} {:+6.2f} ± {:.2f} mmag  {}\n", pattern, 1000.0 * bias, 1000.0 * bias_err,
                   verdict(std::abs(bias) < most_bias_mag + granted_sigma * bias_err));
    }
}

// ---------------------------------------------------------------------------------------------------------

// One star on a mosaic, one electron a thousandth of its light; every pixel as if it saw its colour.
struct Mosaic {
    int half = 0;
    std::vector<double> light;
    [[nodiscard]] double at(int x, int y) const {
        const int side = 2 * half + 1;
        return light[static_cast<std::size_t>(y + half) * static_cast<std::size_t>(side) +
                     static_cast<std::size_t>(x + half)];
    }
};

Mosaic star_on_mosaic(const rehearsal::Moffat& image, const frame::PixelPosition& star, int half) {
    Mosaic out{half, {}};
    for (int y = -half; y <= half; ++y) {
        for (int x = -half; x <= half; ++x)
            out.light.push_back(image.over_pixel(x - star.x, y - star.y));
    }
    return out;
}

// The ways to make a picture of one colour.
struct Way {
    const char* name;
    double pitch;
    bool turned, pair;  // pair: the mean of a cell's two greens
};
constexpr Way half_size_red{"red, every second pixel", 2.0, false, false};
constexpr Way half_size_green{"green, mean of each cell's two", 2.0, false, true};
constexpr Way green_lattice{"green, both lattices as one", std::numbers::sqrt2, true, false};

struct Picture {
    frame::Cutout cutout;
    frame::PixelPosition star;
};

Picture picture_of(const Mosaic& mosaic, const frame::PixelPosition& star, const Way& way) {
    // Steps of one picture pixel, and the place of its origin, on the mosaic.
    const int ux = way.turned ? 1 : 2, uy = way.turned ? 1 : 0;
    const double origin = way.pair ? 0.5 : 0.0;
    const int half =
        static_cast<int>((mosaic.half - 2) / way.pitch / (way.turned ? std::numbers::sqrt2 : 1.0));
    Picture out{{{-half, -half, 2 * half + 1, 2 * half + 1}, {}}, {}};
    for (int j = -half; j <= half; ++j) {
        for (int i = -half; i <= half; ++i) {
            const int x = way.turned ? i - j : 2 * i, y = way.turned ? i + j : 2 * j;
            const double light =
                way.pair ? 0.5 * (mosaic.at(x + 1, y) + mosaic.at(x, y + 1)) : mosaic.at(x, y);
            out.cutout.adu.push_back(static_cast<float>(1e5 * light));
        }
    }
    const double dx = star.x - origin, dy = star.y - origin, square = ux * ux + uy * uy;
    out.star = {(ux * dx + uy * dy) / square, (-uy * dx + ux * dy) / square};
    return out;
}

struct Outcome {
    std::vector<double> plain, corrected;  // sums over their mean, one a star
    double known_err = 0.0;
};

Outcome try_way(const Way& way, double width_px, double radius_fwhm, int stars, std::uint64_t seed) {
    numerics::Random random(seed);
    const rehearsal::Moffat image(
        {.fwhm_px = width_px, .moffat_beta = 3.5, .elongation = 1.08, .direction_deg = 25.0});
    const int half = static_cast<int>(2.5 * radius_fwhm * width_px) + 14;
    std::vector<stars::StarProfile> profiles;
    const stars::PixelSquare square{1.0 / way.pitch, way.turned};
    const double fwhm = width_px / way.pitch;
    for (int i = 0; i < 6; ++i) {
        const frame::PixelPosition star{random.uniform(-1.0, 1.0), random.uniform(-1.0, 1.0)};
        const Picture picture = picture_of(star_on_mosaic(image, star, half), star, way);
        const auto fitted =
            stars::fit_profile(picture.cutout, picture.star, std::max(fwhm, 1.2), 1.0, 5.0, square);
        if (fitted) profiles.push_back(*fitted);
    }
    const stars::FrameProfile profile = stars::combine(profiles);
    const std::vector<double> radii{radius_fwhm * fwhm};
    const photometry::SamplingTable table(
        {profile.fwhm_px, std::max(profile.elongation, 1.0), profile.direction, profile.moffat_beta, square},
        radii);
    Outcome out;
    out.known_err = table.unknown().front();
    for (int i = 0; i < stars; ++i) {
        const frame::PixelPosition star{random.uniform(-1.0, 1.0), random.uniform(-1.0, 1.0)};
        const Picture picture = picture_of(star_on_mosaic(image, star, half), star, way);
        const auto sums =
            must(photometry::sum_apertures(picture.cutout, picture.star, radii, {}, {1e30, 1e30}));
        out.plain.push_back(sums.flux_adu.front());
        out.corrected.push_back(sums.flux_adu.front() * table.at(picture.star).correction.front());
    }
    return out;
}

double spread_mmag(const std::vector<double>& values) {
    const double mean = mean_of(values);
    double sum = 0.0;
    for (const double v : values)
        sum += std::pow(v / mean - 1.0, 2) / static_cast<double>(values.size());
    return 1000.0 * mag_per_relative_flux * std::sqrt(sum);
}

void compare_ways() {
    fmt::print(
        "How much a star's light varies with its place between pixels, mmag, in apertures of 1.0 and 1.5 "
        "FWHM: as "
        "it is summed, and with the place taken out\n");
    constexpr int stars = 80;
    for (const double width_px : widths_px) {
        double green_pair = 0.0, green_best = 0.0;
        for (const Way& way : {half_size_red, half_size_green, green_lattice}) {
            const Outcome small = try_way(way, width_px, 1.0, stars, 31),
                          large = try_way(way, width_px, 1.5, stars, 32);
            fmt::print("  {:4.1f} {:32} plain {:7.2f} {:7.2f}", width_px, way.name, spread_mmag(small.plain),
                       spread_mmag(large.plain));
            if (way.pair) {
                green_pair = spread_mmag(large.plain);
                fmt::print("\n");
                continue;
            }
            green_best = spread_mmag(large.corrected);
            const double told = 1000.0 * mag_per_relative_flux * large.known_err;
            fmt::print("  place taken out {:6.2f} {:6.2f}  (said {:.2f})  {}\n", spread_mmag(small.corrected),
                       green_best, told, verdict(green_best < 2.0 * told + 0.3));
        }
        fmt::print("  {:4.1f} the turned lattice is better for green: {}\n", width_px,
                   verdict(green_best < green_pair + 0.05));
    }
}

}  // namespace

int main(int argc, char** argv) {
    const std::size_t campaigns = argc > 1 ? std::strtoul(argv[1], nullptr, 10) : 64;
    const auto threads = static_cast<unsigned>(argc > 2 ? std::strtoul(argv[2], nullptr, 10) : 2);
    if (campaigns < short_run) granted_sigma = 3.0;
    compare_ways();
    campaigns_at_all_widths(campaigns, threads);
    return missed == 0 ? 0 : 1;
}
