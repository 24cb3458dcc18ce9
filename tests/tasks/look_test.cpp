// SPDX-License-Identifier: MIT
#include "tasks/look.hpp"
#include "night/star_noise.hpp"

#include <catch2/catch.hpp>
#include <cmath>
#include <filesystem>
#include <fstream>
#include <map>

#include "night/flip_step.hpp"
#include "quantities/delimited_table.hpp"
#include "tasks/look_campaign.hpp"

using namespace emberline;
using namespace emberline::test;
using Catch::Contains;

namespace {

// Electrons' worth of ADU added to pixels of a plain 16-bit FITS file, by its own header (FITS standard 4.0,
// sections 4.4.1 and 5.2: big-endian, BZERO 32768).
constexpr std::size_t block_bytes = 2880, card_bytes = 80;
template <class Level>
void change_pixels(const std::string& path, int width, int height, const Level& level) {
    std::string fits = read_text_file(path).value();
    std::size_t end = 0;
    while (fits.compare(end, card_bytes, "END" + std::string(card_bytes - 3, ' ')) != 0)
        end += card_bytes;
    const std::size_t data = (end / block_bytes + 1) * block_bytes;
    for (int y = 0; y < height; ++y) {
        for (int x = 0; x < width; ++x) {
            const std::size_t i = data + 2 * (static_cast<std::size_t>(y) * static_cast<std::size_t>(width) +
                                              static_cast<std::size_t>(x));
            const int stored =
                (static_cast<unsigned char>(fits[i]) << 8) | static_cast<unsigned char>(fits[i + 1]);
            const double adu = static_cast<double>(stored ^ 0x8000);
            const int now =
                static_cast<int>(std::lround(std::clamp(level(x, y, adu), 0.0, 65535.0))) ^ 0x8000;
            fits[i] = static_cast<char>(now >> 8);
            fits[i + 1] = static_cast<char>(now & 0xff);
        }
    }
    std::ofstream(path, std::ios::binary) << fits;
}

// Moffat 1969, A&A 3, 455: I(r) = F (β − 1)/(π α²) (1 + r²/α²)^(−β); by integration the light within r is
// F (1 − (1 + r²/α²)^(1 − β)), and the FWHM is 2 α √(2^(1/β) − 1).
struct Moffat {
    double x = 0.0, y = 0.0, flux_adu = 0.0, fwhm_px = 0.0, beta = 0.0;
    [[nodiscard]] double alpha_px() const { return 0.5 * fwhm_px / std::sqrt(std::exp2(1.0 / beta) - 1.0); }
    [[nodiscard]] double within(double r) const {
        const double q = r / alpha_px();
        return 1.0 - std::pow(1.0 + q * q, 1.0 - beta);
    }
    // Of a pixel: the mean over 9 × 9 points of it.
    [[nodiscard]] double pixel_adu(int i, int j) const {
        constexpr int points = 9;
        const double a = alpha_px(), peak = flux_adu * (beta - 1.0) / (3.14159265358979 * a * a);
        double sum = 0.0;
        for (int u = 0; u < points; ++u) {
            for (int v = 0; v < points; ++v) {
                const double dx = i + (u + 0.5) / points - 0.5 - x, dy = j + (v + 0.5) / points - 0.5 - y;
                sum += peak * std::pow(1.0 + (dx * dx + dy * dy) / (a * a), -beta);
            }
        }
        return sum / (points * points);
    }
};

void check_agrees(const Measured& campaign, const tasks::MeasuredFrame& frame) {
    REQUIRE(frame.measured);
    const auto k = night::aperture_in_use(frame.fluxes, *frame.measured);
    REQUIRE(k);
    for (const photometry::StarFlux& one : frame.fluxes.stars) {
        const tasks::LookedStar seen = campaign.seen(frame, star(one.label));
        INFO(frame.fluxes.frame << " " << frame.fluxes.band.name() << " star " << one.label);
        CHECK(seen.aperture_px == frame.fluxes.apertures[*k].radius_px);
        if (!std::isfinite(one.flux_e[*k])) {
            CHECK_FALSE(std::isfinite(seen.flux_e.value));
            continue;
        }
        // The same steps on the same pixels: rounding alone.
        CHECK(seen.flux_e.value == Approx(one.flux_e[*k]).epsilon(1e-9));
        const double err = std::sqrt(night::noise_terms(frame.fluxes, one, *k).variance_e2(one.flux_e[*k]));
        CHECK(seen.flux_e.err == Approx(err).epsilon(1e-6));
        CHECK(seen.caveats == one.caveats[*k]);
        CHECK(seen.peak_adu == one.peak_adu);
    }
}

double truth_of(const Measured& campaign, const std::string& frame) {
    std::istringstream lines(read_text_file(campaign.path("truth.csv")).value());
    for (std::string line; std::getline(lines, line);) {
        if (line.rfind(frame + ",", 0) != 0) continue;
        std::istringstream fields(line);
        std::string field;
        for (int i = 0; i < 7; ++i)
            std::getline(fields, field, ',');
        return std::stod(field);
    }
    FAIL("no truth of " << frame);
    return 0.0;
}

}  // namespace

TEST_CASE("a star looked at has the ledger's own flux, error and flags, the transient too", "[look]") {
    const Measured campaign(small());
    const tasks::MeasuredFrame frame = campaign.frame("V_001.fits");
    check_agrees(campaign, frame);
    const tasks::LookedStar transient = campaign.seen(frame, star("transient"));
    CHECK(transient.role == "transient");
    CHECK(transient.magnitude->value == *frame.measured->magnitude_mag);
    // The light of truth.csv is all of it; the circle holds the share that the frame's profile says.
    const tasks::LookedStar bright = campaign.seen(frame, star(frame.measured->comparison_labels.front()));
    REQUIRE(bright.profile);
    const Moffat shape{.fwhm_px = bright.profile->fwhm_px, .beta = bright.profile->moffat_beta};
    const double all_e = transient.flux_e.value / shape.within(transient.aperture_px);
    // The wings of a fitted profile are known to a percent or two.
    CHECK(all_e == Approx(truth_of(campaign, frame.fluxes.frame))
                       .margin(4.0 * transient.flux_e.err + 0.02 * transient.flux_e.value));
    CHECK(bright.role == "comparison");
    REQUIRE(bright.residual_mag);
    // The catalogue is wrong by 0.03 mag, one sigma, as rehearsed.
    CHECK(std::abs(*bright.residual_mag) < 0.12);
    CHECK(bright.magnitude->value ==
          Approx(bright.catalogue_mag->value + *bright.residual_mag).margin(1e-12));
    const tasks::LookedStar check = campaign.seen(frame, star(frame.measured->check.label));
    CHECK(check.role == "check");
    // The check star's magnitude in the ledger is reckoned elsewhere, by the same zero point and colour.
    CHECK(check.magnitude->value == Approx(*frame.measured->check.magnitude_mag).margin(0.002));
}

TEST_CASE("pixels that vary together, sharp stars and a mosaic's colours agree with the ledger too",
          "[look]") {
    rehearsal::RehearsalOptions options = small();
    options.frames = 1;
    options.pattern = "RGGB";
    options.width_px = 600;
    options.height_px = 480;
    SECTION("mosaic") {}
    SECTION("interpolated") {
        options.debayered = true;
    }
    const Measured campaign(options);
    for (const char* band : {"TR", "TG"})
        check_agrees(campaign, campaign.frame("colour_001.fits", band));
    const auto several = tasks::find_measured(campaign.workspace(), campaign.ledger(), "colour_001.fits", "");
    REQUIRE_FALSE(several);
    CHECK_THAT(several.error().mend, Contains("TR, TG, TB"));
}

TEST_CASE("a frame solved here is looked at by the solution that it was measured with", "[look]") {
    rehearsal::RehearsalOptions options = small();
    options.comparison_stars = 12;
    options.field.solved = 1;
    const Measured campaign(options);
    const tasks::MeasuredFrame frame = campaign.frame("V_002.fits");
    REQUIRE(frame.fluxes.plate == "solved");
    check_agrees(campaign, frame);
}

TEST_CASE("a drawn star's profile and growth come out as they were drawn", "[look]") {
    const Moffat drawn{.x = 120.3, .y = 90.6, .flux_adu = 250000.0, .fwhm_px = 4.2, .beta = 3.1};
    const Moffat far{.x = 300.0, .y = 52.0, .flux_adu = 60000.0, .fwhm_px = 4.2, .beta = 3.1};
    const Moffat beside{.x = 309.0, .y = 52.0, .flux_adu = 40000.0, .fwhm_px = 4.2, .beta = 3.1};
    rehearsal::RehearsalOptions options = small();
    options.frames = 1;
    options.flip = false;
    const Measured campaign(options, [&](const std::string& folder) {
        for (const auto& entry : std::filesystem::recursive_directory_iterator(folder + "/frames")) {
            if (!entry.is_regular_file()) continue;
            change_pixels(entry.path(), 420, 360, [&](int x, int y, double adu) {
                if (std::hypot(x - drawn.x, y - drawn.y) < 60.0) adu += drawn.pixel_adu(x, y);
                if (std::hypot(x - far.x, y - far.y) < 60.0)
                    adu += far.pixel_adu(x, y) + beside.pixel_adu(x, y);
                return adu;
            });
        }
    });
    const tasks::MeasuredFrame frame = campaign.frame("V_001.fits");
    const tasks::LookedStar seen = campaign.seen(frame, at(122.0, 88.0));
    CHECK(seen.label.empty());
    // Photons of 2e5 e- leave a centre uncertain by some thousandths of a pixel.
    CHECK(seen.position.x == Approx(drawn.x).margin(0.03));
    CHECK(seen.position.y == Approx(drawn.y).margin(0.03));
    REQUIRE(seen.profile);
    CHECK(seen.profile->fwhm_px == Approx(drawn.fwhm_px).epsilon(0.01));
    CHECK(seen.profile->elongation < 1.02);
    CHECK(seen.profile->moffat_beta == Approx(drawn.beta).margin(0.15));
    REQUIRE(seen.growth.size() >= 12);
    // The wings reach into the annulus, whose mean is taken for sky: the share of a circle is that of the
    // light above the annulus' mean.
    const double ring_area =
        3.14159265358979 * (seen.outer_px * seen.outer_px - seen.inner_px * seen.inner_px);
    const double wing_per_px = (drawn.within(seen.outer_px) - drawn.within(seen.inner_px)) / ring_area;
    // Pixels average the image over their square, and a circle takes a pixel's light as even over it: twice a
    // smear of variance 1/12 an axis. To second order I + (1/12) ∇²I, whose integral over the circle is
    // (2 π r / 12) dI/dr by Gauss' theorem.
    const auto smear = [&](double r) {
        const double a = drawn.alpha_px(), q = 1.0 + r * r / (a * a);
        const double slope = -2.0 * drawn.beta * r / (a * a) * std::pow(q, -drawn.beta - 1.0) *
                             (drawn.beta - 1.0) / (3.14159265358979 * a * a);
        return 2.0 * 3.14159265358979 * r / 12.0 * slope;
    };
    const auto above = [&](double r) {
        return drawn.within(r) + smear(r) - wing_per_px * 3.14159265358979 * r * r;
    };
    const double last_px = seen.growth.back().radius_px;
    for (const tasks::GrowthPoint& point : seen.growth) {
        INFO("radius " << point.radius_px);
        CHECK(point.share == Approx(above(point.radius_px) / above(last_px)).margin(4.0 * point.err + 0.002));
        CHECK(point.err < 0.01);
    }
    CHECK(seen.growth.back().share == 1.0);
    CHECK(seen.growth.back().err == 0.0);
    const double gain = frame.fluxes.gain_e_per_adu;
    CHECK(seen.flux_e.value == Approx(gain * drawn.flux_adu * above(seen.aperture_px))
                                   .margin(4.0 * seen.flux_e.err + 0.003 * seen.flux_e.value));
    // Rings and curve: the drawn profile, sampled by pixels.
    const double peak = drawn.pixel_adu(120, 91);
    CHECK(seen.peak_adu - seen.sky_adu == Approx(peak).epsilon(0.02));
    REQUIRE(seen.rings.size() > 8);
    for (const tasks::RadialPoint& ring : seen.rings) {
        if (ring.radius_px < 1.0 || ring.radius_px > 10.0) continue;
        const double a = drawn.alpha_px();
        const double there = drawn.flux_adu * (drawn.beta - 1.0) / (3.14159265358979 * a * a) *
                             std::pow(1.0 + ring.radius_px * ring.radius_px / (a * a), -drawn.beta);
        CHECK(ring.adu == Approx(there).margin(0.03 * there + 4.0 * seen.sky_noise_adu));
    }
    CHECK(seen.fitted.front().adu == Approx(drawn.pixel_adu(120, 91)).epsilon(0.1));
    REQUIRE(seen.magnitude);
    CHECK(seen.magnitude->value ==
          Approx(frame.measured->zero_point_mag - 2.5 * std::log10(seen.flux_e.value)).margin(1e-9));
    CHECK(seen.remarks.size() == 1);  // its colour
    // Nine pixels away another shines; the brighter one is taken, and the company told.
    const tasks::LookedStar crowded = campaign.seen(frame, at(300.0, 54.0));
    CHECK(crowded.position.x == Approx(far.x).margin(0.3));
    const auto told = std::find_if(crowded.remarks.begin(), crowded.remarks.end(), [](const std::string& r) {
        return r.rfind("Something else shines", 0) == 0;
    });
    REQUIRE(told != crowded.remarks.end());
    CHECK(std::abs(std::stod(told->substr(std::string("Something else shines ").size())) - 9.0) < 1.5);
}

TEST_CASE("growth's errors are what many stars of one light scatter by", "[look]") {
    constexpr int columns = 9, rows = 7, step_px = 44;
    std::vector<Moffat> stars;
    for (int j = 0; j < rows; ++j) {
        for (int i = 0; i < columns; ++i)
            stars.push_back({30.0 + i * step_px, 30.0 + j * step_px, 9000.0, 4.0, 3.2});
    }
    rehearsal::RehearsalOptions options = small();
    options.frames = 1;
    options.flip = false;
    const Measured campaign(options, [&](const std::string& folder) {
        for (const auto& entry : std::filesystem::recursive_directory_iterator(folder + "/frames")) {
            if (!entry.is_regular_file()) continue;
            // The star's own photons: without their noise its light would be too even. A sum of twelve
            // uniform numbers is a Gaussian near enough.
            unsigned state = 12345;
            const auto gauss = [&] {
                double sum = -6.0;
                for (int k = 0; k < 12; ++k) {
                    state = state * 1664525U + 1013904223U;
                    sum += state / 4294967296.0;
                }
                return sum;
            };
            change_pixels(entry.path(), 420, 360, [&](int x, int y, double adu) {
                for (const Moffat& one : stars) {
                    if (std::abs(x - one.x) > 22.0 || std::abs(y - one.y) > 22.0) continue;
                    const double light = one.pixel_adu(x, y);
                    adu += light + gauss() * std::sqrt(light / 0.9);
                }
                return adu;
            });
        }
    });
    const tasks::MeasuredFrame frame = campaign.frame("V_001.fits");
    REQUIRE(frame.fluxes.gain_e_per_adu == Approx(0.9).epsilon(0.2));
    std::map<std::size_t, std::vector<double>> shares, errs;
    for (const Moffat& one : stars) {
        const auto seen = campaign.look(frame, at(one.x, one.y));
        if (!seen || !seen->label.empty() ||
            std::hypot(seen->position.x - one.x, seen->position.y - one.y) > 1.0)
            continue;
        bool alone = true;  // of those that the rehearsal has drawn itself
        for (const std::string& remark : seen->remarks)
            alone = alone && remark.rfind("Its colour", 0) == 0;
        if (!alone) continue;
        for (std::size_t k = 0; k + 1 < seen->growth.size(); ++k) {
            shares[k].push_back(seen->growth[k].share);
            errs[k].push_back(seen->growth[k].err);
        }
    }
    REQUIRE(shares[0].size() > 25);
    double ratio = 0.0;
    for (const auto& [k, values] : shares) {
        double mean = 0.0, square = 0.0, err = 0.0;
        for (const double v : values)
            mean += v / static_cast<double>(values.size());
        for (const double v : values)
            square += (v - mean) * (v - mean) / static_cast<double>(values.size() - 1);
        for (const double e : errs[k])
            err += e / static_cast<double>(errs[k].size());
        INFO("circle " << k << ": scatter " << std::sqrt(square) << ", error " << err);
        ratio += std::sqrt(square) / err / static_cast<double>(shares.size());
        CHECK(std::sqrt(square) / err > 0.55);
        CHECK(std::sqrt(square) / err < 1.7);
    }
    CHECK(ratio == Approx(1.0).margin(0.25));
}

TEST_CASE("the edge, saturated cores, undefined pixels and empty sky are told in words", "[look]") {
    const Moffat hot{.x = 100.0, .y = 100.0, .flux_adu = 3e6, .fwhm_px = 4.0, .beta = 3.2};
    const Moffat rim{.x = 3.0, .y = 200.0, .flux_adu = 90000.0, .fwhm_px = 4.0, .beta = 3.2};
    rehearsal::RehearsalOptions options = small();
    options.frames = 1;
    options.flip = false;
    const Measured campaign(options, [&](const std::string& folder) {
        for (const auto& entry : std::filesystem::recursive_directory_iterator(folder + "/frames")) {
            if (!entry.is_regular_file()) continue;
            change_pixels(entry.path(), 420, 360, [&](int x, int y, double adu) {
                return adu + hot.pixel_adu(x, y) + rim.pixel_adu(x, y);
            });
        }
    });
    const tasks::MeasuredFrame frame = campaign.frame("V_001.fits");
    const tasks::LookedStar saturated = campaign.seen(frame, at(101.0, 99.0));
    CHECK(saturated.saturated);
    CHECK(saturated.caveats.has(Caveat::saturated));
    CHECK_FALSE(saturated.profile);
    CHECK_FALSE(saturated.magnitude);
    CHECK_THAT(saturated.remarks.front(), Contains("saturated"));
    const tasks::LookedStar cut = campaign.seen(frame, at(4.0, 200.0));
    CHECK(cut.caveats.has(Caveat::edge));
    CHECK_FALSE(cut.magnitude);
    const auto off = campaign.look(frame, at(-20.0, 100.0));
    REQUIRE_FALSE(off);
    CHECK(off.error().kind == ProblemKind::request);
    const auto label = campaign.look(frame, star("999"));
    REQUIRE_FALSE(label);
    CHECK_THAT(label.error().what, Contains("999"));

    // An empty place, found by trying: most of the sky is.
    int empty = 0;
    for (int x = 140; x < 400; x += 60) {
        const auto seen = campaign.look(frame, at(x, 300.0));
        if (seen) continue;
        ++empty;
        CHECK_THAT(seen.error().what,
                   Contains("Nothing stands out there") && Contains("mag would show 3 times"));
    }
    CHECK(empty > 0);

    std::ofstream(campaign.path(frame.fluxes.frame), std::ios::app) << std::string(2880, 'x');
    const auto changed = campaign.look(frame, star("transient"));
    REQUIRE_FALSE(changed);
    CHECK_THAT(changed.error().what, Contains("something else than when it was measured"));
    std::filesystem::remove(campaign.path(frame.fluxes.frame));
    CHECK_FALSE(campaign.look(frame, star("transient")));
}

TEST_CASE("a frame's mark is read strictly", "[look]") {
    const auto id = tasks::parse_frame_id("0123456789abcdef0123456789abcdef-2");
    REQUIRE(id);
    CHECK(id->plane == 2);
    CHECK(id->text() == "0123456789abcdef0123456789abcdef-2");
    for (const char* wrong :
         {"", "-1", "abc", "abc-", "abc-3", "abc-x", "ABC-0", "../abc-0", "template-V", "abc-00"}) {
        INFO(wrong);
        CHECK_FALSE(tasks::parse_frame_id(wrong));
    }
}
