// SPDX-License-Identifier: MIT
// FILTER = 'RGGB' is the pattern as seen from the top; the rows are stored from the bottom, an even number of
// them, and no card says so: at the first stored pixel it is GBRG.
// A real frame of a colour mosaic (wide lens, 10.3″ a pixel; stars of 1.6 to 2 mosaic pixels) against
// Tycho-2 (Høg et al. 2000, A&A 355, L27): V_T and positions; the catalogue extract has no B_T. The frame's
// own rough truth, as its publisher's data are described: V_T with a scatter of 0.23 mag.
#include <catch2/catch.hpp>
#include <cmath>
#include <fstream>
#include <map>

#include "frame/frame.hpp"
#include "night/find_stars.hpp"
#include "night/frame_needs.hpp"
#include "night/pattern_check.hpp"
#include "numerics/least_squares.hpp"
#include "numerics/robust.hpp"
#include "photometry/aperture_sum.hpp"
#include "photometry/local_sky.hpp"
#include "real_series.hpp"
#include "stars/centroid.hpp"

using namespace emberline;

namespace {

constexpr double full_adu = 13000.0;      // read off the frame: bright stars end flat at 13583
constexpr const char* pattern = "GBRG";   // at its first stored pixel, whatever the header says
constexpr double radius_stored_px = 4.5;  // of the apertures, the same in every colour
constexpr double brightest_vt = 8.7, faintest_vt = 10.3;

struct CatalogueStar {
    SkyPosition position;
    double vt_mag = 0.0;
};

std::vector<CatalogueStar> tycho(const std::string& datasets) {
    std::ifstream file(datasets + "/catalogues/tycho2_panoptes_field.csv");
    REQUIRE(file);
    std::vector<CatalogueStar> stars;
    for (std::string line; std::getline(file, line);) {
        double ra_deg = 0.0, dec_deg = 0.0, vt_mag = 0.0;
        if (std::sscanf(line.c_str(), "%lf,%lf,%lf", &ra_deg, &dec_deg, &vt_mag) == 3)
            stars.push_back({{Angle::degrees(ra_deg), Angle::degrees(dec_deg)}, vt_mag});
    }
    return stars;
}

bool alone(const CatalogueStar& star, const std::vector<CatalogueStar>& all) {
    for (const CatalogueStar& other : all) {
        const double away = separation(star.position, other.position).arcseconds();
        if (away > 0.01 && away < 120.0) return false;
    }
    return true;
}

struct Seen {
    double vt_mag = 0.0;
    std::array<double, 3> mag{};                    // instrumental, red, green, blue
    std::array<frame::PixelPosition, 3> stored;     // centroids
    std::array<frame::PixelPosition, 3> predicted;  // by the plate solution, stored pixels
};

std::optional<Seen> look_at(const std::vector<frame::Frame>& frames, const CatalogueStar& star) {
    Seen seen{star.vt_mag, {}, {}, {}};
    for (std::size_t c = 0; c < 3; ++c) {
        const frame::FrameFacts& facts = frames[c].facts();
        const double pitch = facts.lattice->pitch_px();
        const auto p = frames[c].wcs()->pixel(star.position);
        if (!p || !facts.holds(*p)) return std::nullopt;
        const auto cutout = frames[c].read(frame::PixelBox{static_cast<int>(std::lround(p->x)) - 16,
                                                           static_cast<int>(std::lround(p->y)) - 16, 33, 33});
        if (!cutout) return std::nullopt;
        const auto centre = stars::measure_centroid(*cutout, *p, 3.0 / pitch, 4.0 / pitch, 1.0);
        if (!centre) return std::nullopt;
        const auto sky = photometry::estimate_sky(*cutout, centre->position, {10.0 / pitch, 20.0 / pitch});
        if (!sky) return std::nullopt;
        const double radius_px = radius_stored_px / pitch;
        const auto sums = photometry::sum_apertures(*cutout, centre->position, std::span(&radius_px, 1), *sky,
                                                    {full_adu, full_adu});
        if (!sums || sums->caveats[0].has(Caveat::saturated) || !(sums->flux_adu[0] > 0.0))
            return std::nullopt;
        // ADU of the colour's own pixels; the picture's pixels stand for pitch² stored ones.
        seen.mag[c] = -2.5 * std::log10(sums->flux_adu[0] * pitch * pitch);
        seen.stored[c] = facts.lattice->stored(centre->position);
        seen.predicted[c] = facts.lattice->stored(*p);
    }
    return seen;
}

std::vector<Seen> stars_seen(const std::string& datasets) {
    frame::Instrument instrument;
    instrument.pattern = pattern;
    const auto frames = frame::open_frames(datasets + "/mosaic/solved.fits.fz", {instrument});
    REQUIRE(frames);
    REQUIRE(frames->size() == 3);
    const auto all = tycho(datasets);
    std::vector<Seen> seen;
    for (const CatalogueStar& star : all) {
        if (star.vt_mag < brightest_vt || star.vt_mag > faintest_vt || !alone(star, all)) continue;
        if (const auto one = look_at(*frames, star)) seen.push_back(*one);
    }
    return seen;
}

struct Scatter {
    double zero_mag, scatter_mag;
};

Scatter against_vt(const std::vector<Seen>& stars, std::size_t colour) {
    std::vector<double> zero;
    for (const Seen& s : stars)
        zero.push_back(s.vt_mag - s.mag[colour]);
    const double middle = numerics::median(zero);
    return {middle, numerics::mad_to_sigma * numerics::median_absolute_deviation(zero, middle)};
}

double apart_px(const frame::PixelPosition& a, const frame::PixelPosition& b) {
    return std::hypot(a.x - b.x, a.y - b.y);
}

// A campaign whose transient is an empty place amid the frame, and whose sequence is Tycho-2.
night::Campaign campaign_with(const std::optional<std::string>& stated) {
    night::Campaign campaign;
    campaign.name = "empty place";
    campaign.position = {Angle::degrees(303.2), Angle::degrees(46.0)};
    frame::Instrument instrument;
    instrument.gain_e_per_adu = 1.0;
    instrument.read_noise_e = 10.0;
    instrument.saturation_adu = full_adu;
    instrument.pattern = stated;
    instrument.bands = {{"RGGB", "V"}, {"", "V"}};
    campaign.instruments = {instrument};
    campaign.measure.most_shift_arcsec = 45.0;
    return campaign;
}

Result<night::PatternVerdict> check(const std::string& datasets, const std::optional<std::string>& stated,
                                    std::size_t plane) {
    const night::Campaign campaign = campaign_with(stated);
    standard::Sequence sequence;
    // V_T stands in all the columns: what is asked is which stars to look at.
    for (const char* name : {"B", "V", "Rc"})
        sequence.bands.push_back(*parse_band(name));
    const auto all = tycho(datasets);
    for (const CatalogueStar& star : all) {
        if (star.vt_mag < brightest_vt || star.vt_mag > faintest_vt || !alone(star, all)) continue;
        standard::ComparisonStar one;
        one.label = std::to_string(sequence.stars.size());
        one.position = star.position;
        for (const Band& band : sequence.bands)
            one.magnitudes[band] = {star.vt_mag, 0.1};
        sequence.stars.push_back(std::move(one));
    }
    const auto frames = frame::open_frames(datasets + "/mosaic/solved.fits.fz", campaign.instruments);
    REQUIRE(frames);
    REQUIRE(plane < frames->size());
    const frame::Frame& frame = (*frames)[plane];
    const auto needs = night::needs_of(frame.facts());
    REQUIRE(needs);
    REQUIRE(frame.wcs());
    const auto field = night::find_stars(frame, *frame.wcs(), *needs, sequence, campaign);
    REQUIRE(field);
    return night::check_pattern(frame, *field, sequence);
}

}  // namespace

TEST_CASE("the real mosaic's greens follow V of Tycho-2, closer than its reds and blues", "[real][mosaic]") {
    const std::string datasets = test::datasets_or_warn();
    if (datasets.empty()) return;
    const std::vector<Seen> stars = stars_seen(datasets);
    REQUIRE(stars.size() > 60);
    const Scatter red = against_vt(stars, 0), green = against_vt(stars, 1), blue = against_vt(stars, 2);
    INFO(stars.size() << " stars; scatter about V_T: red " << red.scatter_mag << ", green "
                      << green.scatter_mag << ", blue " << blue.scatter_mag << " mag");
    CHECK(green.scatter_mag < 0.1);
    // V lies in the green: red and blue pixels see the stars' colours besides.
    CHECK(red.scatter_mag > 2.0 * green.scatter_mag);
    CHECK(blue.scatter_mag > 2.0 * green.scatter_mag);
    // Brightness for brightness, over 1.6 mag.
    numerics::Matrix a(stars.size(), 2);
    std::vector<double> y;
    for (std::size_t i = 0; i < stars.size(); ++i) {
        a(i, 0) = 1.0;
        a(i, 1) = stars[i].vt_mag - 9.5;
        y.push_back(stars[i].mag[1]);
    }
    const auto fit = numerics::linear_fit(a, y);
    REQUIRE(fit);
    const double slope_err = std::sqrt(fit->covariance(1, 1) * fit->chi2 / static_cast<double>(fit->dof));
    INFO("slope " << fit->parameters[1] << " ± " << slope_err);
    CHECK(std::abs(fit->parameters[1] - 1.0) < 3.0 * slope_err);
    CHECK(slope_err < 0.1);
}

// Red and blue exchanged would leave green as it is. The colours of stars run along one line, and further in
// the blue: of the standards of Landolt (1992, AJ 104, 340) with −0.2 < B−V < 1.6 the B−V spread 1.9 times as
// far as the V−R. The colours of a camera lie nearer together.
TEST_CASE("the stars' colours lie on one line, longer in the blue than in the red", "[real][mosaic]") {
    const std::string datasets = test::datasets_or_warn();
    if (datasets.empty()) return;
    const std::vector<Seen> stars = stars_seen(datasets);
    REQUIRE(stars.size() > 60);
    double red_mean = 0.0, blue_mean = 0.0;
    const auto n = static_cast<double>(stars.size());
    for (const Seen& s : stars) {
        red_mean += (s.mag[1] - s.mag[0]) / n;
        blue_mean += (s.mag[2] - s.mag[1]) / n;
    }
    double rr = 0.0, bb = 0.0, rb = 0.0;
    for (const Seen& s : stars) {
        const double red = s.mag[1] - s.mag[0] - red_mean, blue = s.mag[2] - s.mag[1] - blue_mean;
        rr += red * red / n;
        bb += blue * blue / n;
        rb += red * blue / n;
    }
    const double correlation = rb / std::sqrt(rr * bb), ratio = std::sqrt(bb / rr);
    const double ratio_err = ratio * std::sqrt((1.0 - correlation * correlation) / n);
    INFO("spread of TB−TG " << std::sqrt(bb) << ", of TG−TR " << std::sqrt(rr) << " mag, correlation "
                            << correlation << ", ratio " << ratio << " ± " << ratio_err);
    CHECK(correlation > 0.85);
    CHECK(ratio - 1.0 > 2.0 * ratio_err);
}

// 31 Cyg (K2 II + B, B−V = 1.28) and 30 Cyg (A5 III, B−V = 0.10); types and colours from memory. Their cores
// are saturated, their wings are not: a ring about each, as wide in both colours.
TEST_CASE("in the blue pixels an A star outshines a K star by more than in the red", "[real][mosaic]") {
    const std::string datasets = test::datasets_or_warn();
    if (datasets.empty()) return;
    frame::Instrument instrument;
    instrument.pattern = pattern;
    const auto frames = frame::open_frames(datasets + "/mosaic/solved.fits.fz", {instrument});
    REQUIRE(frames);
    // Where the saturated pixels are centred and end, read off the frame; stored pixels.
    struct Bright {
        frame::PixelPosition centre;
        double full_to_px;
    };
    const Bright k_star{{601.4, 401.6}, 11.4}, a_star{{628.2, 381.2}, 5.2};
    const auto ring_adu = [&](std::size_t colour, const Bright& star) {
        const frame::Lattice& lattice = *(*frames)[colour].facts().lattice;
        const auto p = lattice.picture(star.centre);
        const auto cutout = (*frames)[colour].read(frame::PixelBox{
            static_cast<int>(std::lround(p.x)) - 20, static_cast<int>(std::lround(p.y)) - 20, 41, 41});
        REQUIRE(cutout);
        std::vector<double> ring, sky;
        for (int y = cutout->box.y0; y < cutout->box.y0 + cutout->box.height; ++y) {
            for (int x = cutout->box.x0; x < cutout->box.x0 + cutout->box.width; ++x) {
                const double r = lattice.pitch_px() * std::hypot(x - p.x, y - p.y);
                const auto v = static_cast<double>(cutout->at(x, y));
                if (r > star.full_to_px + 1.0 && r < star.full_to_px + 5.0) ring.push_back(v);
                if (r > 26.0 && r < 40.0) sky.push_back(v);
            }
        }
        const double level = numerics::clipped_mean(sky).mean;
        double sum = 0.0;
        for (const double v : ring)
            sum += (v - level) / static_cast<double>(ring.size());
        return sum;
    };
    const auto blue_less_red_mag = [&](const Bright& star) {
        return -2.5 * std::log10(ring_adu(2, star) / ring_adu(0, star));
    };
    const double difference_mag = blue_less_red_mag(k_star) - blue_less_red_mag(a_star);
    INFO("TB−TR of the K star less the A star's: " << difference_mag << " mag");
    // Both wings are measured at their own distance, where scattered light is not quite the star's: a sign.
    CHECK(difference_mag > 0.3);
}

TEST_CASE("the three pictures of the real mosaic see each star in one place", "[real][mosaic]") {
    const std::string datasets = test::datasets_or_warn();
    if (datasets.empty()) return;
    const std::vector<Seen> stars = stars_seen(datasets);
    REQUIRE(stars.size() > 60);
    std::vector<double> red_green, blue_green, solution, middle;
    for (const Seen& s : stars) {
        CHECK(apart_px(s.predicted[0], s.predicted[1]) < 1e-6);
        CHECK(apart_px(s.predicted[2], s.predicted[1]) < 1e-6);
        red_green.push_back(apart_px(s.stored[0], s.stored[1]));
        blue_green.push_back(apart_px(s.stored[2], s.stored[1]));
        solution.push_back(apart_px(s.stored[1], s.predicted[1]));
        if (apart_px(s.predicted[1], {350.0, 350.0}) < 150.0) middle.push_back(solution.back());
    }
    INFO("median, stored pixels: red to green "
         << numerics::median(red_green) << ", blue to green " << numerics::median(blue_green)
         << ", to Tycho-2 " << numerics::median(solution) << ", in the middle " << numerics::median(middle));
    // Red and blue stand two stored pixels apart, and stars are as wide: a fraction of a pixel is what such
    // sampling leaves. One colour taken for another would show as a whole pixel.
    CHECK(numerics::median(red_green) < 0.5);
    CHECK(numerics::median(blue_green) < 0.5);
    // The publisher's solution itself is off by up to two pixels towards the corners.
    CHECK(numerics::median(middle) < 0.75);
    CHECK(numerics::median(solution) < 1.5);
}

TEST_CASE("the real mosaic's pattern is known by its stars", "[real][mosaic][pattern]") {
    const std::string datasets = test::datasets_or_warn();
    if (datasets.empty()) return;
    for (const char* wrong : {"", "RGGB", "BGGR"}) {
        for (std::size_t plane = 0; plane < 3; ++plane) {
            const std::string turned = std::string(wrong) == "BGGR" ? "GRBG" : "GBRG";
            const auto refused =
                check(datasets, *wrong != '\0' ? std::optional<std::string>(wrong) : std::nullopt, plane);
            INFO("said to be " << wrong << ", plane " << plane);
            REQUIRE_FALSE(refused);
            INFO(refused.error().what);
            CHECK(refused.error().what.find("greens") != std::string::npos);
            CHECK(refused.error().what.find(turned + " or ") != std::string::npos);
            CHECK(refused.error().mend.find("pattern = \"" + turned + "\"") != std::string::npos);
        }
    }
    for (std::size_t plane = 0; plane < 3; ++plane) {
        const auto good = check(datasets, pattern, plane);
        if (!good) FAIL(one_line(good.error()));
        CHECK_FALSE(good->caveats.has(Caveat::pattern_doubtful));
    }
    const auto mono = check(datasets, "none", 0);
    REQUIRE_FALSE(mono);
    INFO(mono.error().what);
    CHECK(mono.error().what.find("GRBG or GBRG") != std::string::npos);
    CHECK(mono.error().mend.find("under [instrument]") != std::string::npos);
}
