// SPDX-License-Identifier: MIT
#include "night/judge_linearity.hpp"

#include <fmt/format.h>

#include <unistd.h>
#include <algorithm>
#include <catch2/catch.hpp>
#include <cmath>
#include <filesystem>
#include <functional>

#include "frame/write_frame.hpp"
#include "night/measure_frame.hpp"
#include "numerics/random.hpp"
#include "real_series.hpp"

using namespace emberline;
namespace fs = std::filesystem;

namespace {

// A tangent plane north up, 1.2 arcsec a pixel.
constexpr int side_px = 300;
constexpr double scale_deg = 1.2 / 3600.0;
constexpr double sky_adu = 800.0, scatter_adu = 22.0, sigma_px = 1.25;

struct Star {
    double x, y, mag;
};
// On a grid, their magnitudes spread evenly.
std::vector<Star> stars_of(int n, double brightest, double range) {
    std::vector<Star> list;
    for (int i = 0; i < n; ++i) {
        const double share = n > 1 ? static_cast<double>((i * 7) % n) / (n - 1) : 0.0;
        list.push_back({60.3 + 60.0 * (i % 4), 55.7 + 60.0 * (i / 4), brightest + range * share});
    }
    return list;
}

struct Sky {
    standard::Sequence sequence;
    night::Campaign campaign;
    std::vector<float> adu;
    std::string path;
    Sky() {
        path = (fs::temp_directory_path() / fmt::format("emberline-linearity-{}.fits", ::getpid())).string();
    }
    ~Sky() { fs::remove(path); }
    Sky(const Sky&) = delete;
    Sky& operator=(const Sky&) = delete;

    void fill(const std::vector<Star>& list, double brightest_peak_adu, double full_adu = 65535.0) {
        campaign.position = {Angle::degrees(150.0), Angle::degrees(20.0)};
        std::string table = "label,ra,dec,V,V_err,role\n";
        numerics::Random random(20240321);
        adu.assign(static_cast<std::size_t>(side_px * side_px), 0.0F);
        std::vector<double> light(adu.size(), sky_adu);
        for (std::size_t i = 0; i < list.size(); ++i) {
            const Star& s = list[i];
            const double dec = 20.0 + scale_deg * (s.y - 150.0);
            const double ra = 150.0 - scale_deg * (s.x - 150.0) / std::cos(dec * 0.017453292519943295);
            table += fmt::format("s{},{:.8f},{:.8f},{:.3f},0.02,comparison\n", i, ra, dec,
                                 s.mag + random.gaussian(0.0, 0.02));
            const double peak = brightest_peak_adu * std::pow(10.0, -0.4 * (s.mag - 11.0));
            for (int y = 0; y < side_px; ++y) {
                for (int x = 0; x < side_px; ++x) {
                    const double r2 = (x - s.x) * (x - s.x) + (y - s.y) * (y - s.y);
                    if (r2 < 400.0)
                        light[static_cast<std::size_t>(y * side_px + x)] +=
                            peak * std::exp(-0.5 * r2 / (sigma_px * sigma_px));
                }
            }
        }
        for (std::size_t i = 0; i < adu.size(); ++i) {
            const double noise = std::sqrt(scatter_adu * scatter_adu + (light[i] - sky_adu) / 1.6);
            adu[i] = static_cast<float>(
                std::clamp(std::round(light[i] + random.gaussian(0.0, noise)), 0.0, full_adu));
        }
        sequence = standard::parse_sequence(table, "test").value();
    }

    // What was found; empty when it was measured.
    [[nodiscard]] std::string found(const std::function<double(double)>& change = {}) const {
        std::vector<std::uint16_t> saved;
        for (const float v : adu) {
            const double c = change ? change(static_cast<double>(v)) : static_cast<double>(v);
            saved.push_back(static_cast<std::uint16_t>(std::clamp(std::round(c), 0.0, 65535.0)));
        }
        const auto number = [](std::string keyword, double value) {
            return frame::Card{std::move(keyword), fmt::format("{:.10g}", value), "", false};
        };
        const auto text = [](std::string keyword, std::string value) {
            return frame::Card{std::move(keyword), std::move(value), "", true};
        };
        const std::vector<frame::Card> cards{text("DATE-OBS", "2024-03-14T21:00:00"),
                                             number("EXPTIME", 60.0),
                                             text("FILTER", "V"),
                                             number("EGAIN", 1.6),
                                             number("RDNOISE", 6.0),
                                             text("CTYPE1", "RA---TAN"),
                                             text("CTYPE2", "DEC--TAN"),
                                             number("CRPIX1", 151.0),
                                             number("CRPIX2", 151.0),
                                             number("CRVAL1", 150.0),
                                             number("CRVAL2", 20.0),
                                             number("CD1_1", -scale_deg),
                                             number("CD1_2", 0.0),
                                             number("CD2_1", 0.0),
                                             number("CD2_2", scale_deg)};
        REQUIRE(frame::write_frame(path, side_px, side_px, saved, cards));
        const auto frames = frame::open_frames(path, {});
        REQUIRE(frames);
        const auto fluxes = night::measure_frame(frames->front(), "f", "f", sequence, campaign);
        return fluxes ? std::string() : fluxes.error().what;
    }
};

bool has(const std::string& text, const char* part) {
    return text.find(part) != std::string::npos;
}

}  // namespace

TEST_CASE("a square root is told by its magnitudes, and what it was is said", "[linearity]") {
    Sky sky;
    sky.fill(stars_of(12, 11.0, 3.0), 40000.0);
    CHECK(sky.found().empty());
    const std::string found = sky.found([](double v) { return std::sqrt(v * 65535.0); });
    CHECK(has(found, "no longer counts light"));
    CHECK(has(found, "over 12 comparison stars"));
}

TEST_CASE("levels multiplied, cut or coarse are linear; 256 of them are not", "[linearity]") {
    Sky sky;
    sky.fill(stars_of(12, 11.0, 3.0), 40000.0);
    CHECK(sky.found([](double v) { return 0.37 * v; }).empty());
    CHECK(sky.found([](double v) { return 1.5 * v; }).empty());
    CHECK(sky.found([](double v) { return 16.0 * std::floor(v / 16.0); }).empty());
    CHECK(sky.found([](double v) { return v - 770.0; }).empty());
    CHECK(has(sky.found([](double v) { return 257.0 * std::round((v - 700.0) / 60.0); }), "levels"));
}

TEST_CASE("few stars, one wrong star, stars all alike or cut off: nobody is refused", "[linearity]") {
    for (const int n : {3, 4, 6}) {
        Sky few;
        few.fill(stars_of(n, 11.0, 3.0), 40000.0);
        CHECK(few.found().empty());
    }
    Sky wrong;
    wrong.fill(stars_of(6, 11.0, 2.5), 40000.0);
    wrong.sequence.stars.front().magnitudes.begin()->second.value += 2.0;
    CHECK(wrong.found().empty());
    Sky alike;
    alike.fill(stars_of(12, 12.0, 0.2), 40000.0);
    CHECK(alike.found().empty());
    // A converter of 12 bits whose header does not say so: half the stars end at 4095.
    Sky cut;
    cut.fill(stars_of(12, 11.0, 3.0), 20000.0, 4095.0);
    CHECK(cut.found().empty());
}

TEST_CASE("no real frame is refused for not counting light", "[linearity][real]") {
    const std::string data = test::datasets_or_warn();
    if (data.empty()) return;
    for (const auto& [series, folder] :
         {std::pair{"supernova_at_core", "lights"}, {"star_with_transit", "frames"}}) {
        const auto campaign = night::read_campaign(data + "/" + series);
        REQUIRE(campaign);
        const auto sequence = standard::read_sequence(campaign->path(campaign->catalog));
        REQUIRE(sequence);
        int measured = 0;
        for (const auto& entry : fs::directory_iterator(fs::path(data) / series / folder)) {
            INFO(entry.path().filename().string());
            const auto frames = frame::open_frames(entry.path().string(), campaign->instruments);
            if (!frames) continue;
            const auto fluxes = night::measure_frame(frames->front(), "f", "f", *sequence, *campaign);
            measured += fluxes ? 1 : 0;
            if (!fluxes) CHECK_FALSE(has(fluxes.error().what, "counts light"));
        }
        CHECK(measured > 10);
    }
}
