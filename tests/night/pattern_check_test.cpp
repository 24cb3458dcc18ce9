// SPDX-License-Identifier: MIT
#include "night/pattern_check.hpp"

#include <fmt/format.h>

#include <catch2/catch.hpp>
#include <cmath>

#include "numerics/random.hpp"

using namespace emberline;
using namespace emberline::night;
using frame::Colour;
using frame::ColourPattern;

namespace {

constexpr const char* words[] = {"RGGB", "BGGR", "GRBG", "GBRG"};

// A frame of stars in stored pixels. Light of red, green and blue pixels: common practice, no source.
struct Scene {
    std::optional<ColourPattern> pattern;  // none: a camera without colour
    int stars = 20;
    double fwhm_px = 3.0;
    double star_adu = 30000.0, sky_adu = 300.0, read_noise_adu = 6.0;
    std::array<double, 3> response{0.75, 1.0, 0.6};
    std::array<double, 3> sky_response{0.9, 1.0, 0.7};
    double colour_effect = 0.35;  // of B−V on red and, the other way, on blue, mag per mag
    std::array<double, 4> offset_adu{};
    std::array<double, 4> gain{1.0, 1.0, 1.0, 1.0};
    double gradient_adu_per_px = 0.0;
    int hot_pixels = 0;
    int neighbours = 0;  // other stars in each box
    bool interpolated = false;
    bool one_colour_filled = false;  // the red plane of a debayered picture: a quarter seen, the rest between
    std::uint64_t seed = 1;
};

struct Exposed {
    PhaseLevels levels;
    std::vector<std::optional<double>> colours;
};

void add_star(std::vector<double>& light, int side, double x0, double y0, double flux, double sigma,
              const auto& response_at) {
    for (int y = 0; y < side; ++y) {
        for (int x = 0; x < side; ++x) {
            const auto part = [sigma](double d) {
                return 0.5 * (std::erf((d + 0.5) / (sigma * std::sqrt(2.0))) -
                              std::erf((d - 0.5) / (sigma * std::sqrt(2.0))));
            };
            light[static_cast<std::size_t>(y * side + x)] +=
                flux * response_at(x, y) * part(x - x0) * part(y - y0);
        }
    }
}

Exposed expose(const Scene& scene) {
    numerics::Random random(scene.seed);
    const int half = static_cast<int>(std::ceil(5.0 * scene.fwhm_px)) + 2, side = 2 * half + 1;
    const double sigma = scene.fwhm_px / 2.3548;
    std::vector<StarInStored> stars;
    std::vector<double> truth;
    for (int n = 0; n < scene.stars; ++n) {
        const int left = static_cast<int>(random.uniform() * 1000.0);
        const int below = static_cast<int>(random.uniform() * 1000.0);
        const auto star_response = [&](double colour) {
            return [&, colour](int x, int y) {
                if (!scene.pattern) return 1.0;
                const auto c = scene.pattern->at(left + x, below + y);
                const double effect = c == Colour::red ? 1.0 : c == Colour::blue ? -1.0 : 0.0;
                return scene.response[static_cast<std::size_t>(c)] *
                       std::pow(10.0, 0.4 * scene.colour_effect * effect * (colour - 0.7));
            };
        };
        const double colour = 0.2 + 1.2 * random.uniform();
        std::vector<double> light(static_cast<std::size_t>(side * side));
        for (int y = 0; y < side; ++y) {
            for (int x = 0; x < side; ++x) {
                const double r =
                    scene.pattern
                        ? scene.sky_response[static_cast<std::size_t>(scene.pattern->at(left + x, below + y))]
                        : 1.0;
                light[static_cast<std::size_t>(y * side + x)] =
                    r * (scene.sky_adu + scene.gradient_adu_per_px * (x + 0.5 * y));
            }
        }
        const double x0 = half + random.uniform() - 0.5, y0 = half + random.uniform() - 0.5;
        add_star(light, side, x0, y0, scene.star_adu * (0.3 + random.uniform()), sigma,
                 star_response(colour));
        for (int k = 0; k < scene.neighbours; ++k) {
            add_star(light, side, side * random.uniform(), side * random.uniform(),
                     scene.star_adu * 0.3 * random.uniform(), sigma,
                     star_response(0.2 + 1.2 * random.uniform()));
        }
        frame::Cutout cutout{{left, below, side, side}, {}};
        for (int y = 0; y < side; ++y) {
            for (int x = 0; x < side; ++x) {
                const std::size_t k = static_cast<std::size_t>(((left + x) & 1) + 2 * ((below + y) & 1));
                const double mean = light[static_cast<std::size_t>(y * side + x)];
                const double v =
                    mean + std::sqrt(mean + scene.read_noise_adu * scene.read_noise_adu) * random.gaussian();
                cutout.adu.push_back(
                    static_cast<float>(std::round(1000.0 + scene.offset_adu[k] + scene.gain[k] * v)));
            }
        }
        for (int k = 0; k < scene.hot_pixels; ++k) {
            cutout.at(left + static_cast<int>(random.uniform() * side),
                      below + static_cast<int>(random.uniform() * side)) += 4000.0F;
        }
        if (scene.interpolated) {
            // The mean of a pixel and its neighbours, as a grey picture of interpolated colours has it.
            const frame::Cutout raw = cutout;
            for (int y = below + 1; y < below + side - 1; ++y) {
                for (int x = left + 1; x < left + side - 1; ++x) {
                    float sum = 0.0F;
                    for (const auto& [dx, dy, w] :
                         {std::tuple(-1, -1, 1.0F), std::tuple(0, -1, 2.0F), std::tuple(1, -1, 1.0F),
                          std::tuple(-1, 0, 2.0F), std::tuple(0, 0, 4.0F), std::tuple(1, 0, 2.0F),
                          std::tuple(-1, 1, 1.0F), std::tuple(0, 1, 2.0F), std::tuple(1, 1, 1.0F)})
                        sum += w * raw.at(x + dx, y + dy);
                    cutout.at(x, y) = sum / 16.0F;
                }
            }
        }
        if (scene.one_colour_filled) {
            const frame::Cutout raw = cutout;
            for (int y = below + 1; y < below + side - 1; ++y) {
                for (int x = left + 1; x < left + side - 1; ++x) {
                    const int dx = x & 1, dy = y & 1;
                    cutout.at(x, y) = 0.25F * (raw.at(x - dx, y - dy) + raw.at(x + dx, y - dy) +
                                               raw.at(x - dx, y + dy) + raw.at(x + dx, y + dy));
                }
            }
        }
        stars.push_back({fmt::format("{}", n), {left + x0, below + y0}, std::move(cutout)});
        truth.push_back(colour);
    }
    Exposed exposed{measure_phases(stars, scene.fwhm_px, 60000.0), {}};
    for (const StarPhases& star : exposed.levels.stars)
        exposed.colours.emplace_back(truth[static_cast<std::size_t>(std::stoi(star.label))]);
    return exposed;
}

Result<PatternVerdict> judge(const std::optional<ColourPattern>& stated, const Scene& scene,
                             bool with_colours = true) {
    Exposed exposed = expose(scene);
    if (!with_colours) exposed.colours.assign(exposed.colours.size(), std::nullopt);
    return judge_pattern(stated, exposed.levels, exposed.colours, "m.fits");
}

// "good", "doubtful", or what is wrong and what to do.
std::string said(const Result<PatternVerdict>& verdict) {
    if (!verdict) return verdict.error().what + " " + verdict.error().mend;
    if (verdict->caveats.has(Caveat::pattern_doubtful)) {
        CHECK(verdict->remarks.size() == 1);
        return "doubtful";
    }
    CHECK(verdict->remarks.empty());
    return "good";
}

bool has(const std::string& text, const std::string& part) {
    return text.find(part) != std::string::npos;
}

std::optional<ColourPattern> of(const char* word) {
    return frame::parse_colour_pattern(word);
}

}  // namespace

TEST_CASE("the shares of a star's light are what each colour sees of it", "[pattern]") {
    Scene scene{.pattern = of("GRBG"), .colour_effect = 0.0, .seed = 11};
    const PhaseLevels levels = expose(scene).levels;
    REQUIRE(levels.stars.size() >= 15);
    // Responses 1, 0.75, 0.6, 1 over their mean.
    const double mean = (1.0 + 0.75 + 0.6 + 1.0) / 4.0;
    const double expected[] = {1.0 / mean, 0.75 / mean, 0.6 / mean, 1.0 / mean};
    for (std::size_t k = 0; k < 4; ++k) {
        double sum = 0.0;
        for (const StarPhases& star : levels.stars)
            sum += star.share[k] / static_cast<double>(levels.stars.size());
        // 20 stars of some 4 000 e in the window of each phase: three times their noise.
        CHECK(sum == Approx(expected[k]).margin(0.012));
    }
    // Sky 300 ADU times 1, 0.9, 0.7, 1, less the mean 270.
    CHECK(levels.sky_adu[0] == Approx(30.0).margin(1.0));
    CHECK(levels.sky_adu[1] == Approx(0.0).margin(1.0));
    CHECK(levels.sky_adu[2] == Approx(-60.0).margin(1.0));
    CHECK(levels.sky_adu[3] == Approx(30.0).margin(1.0));
}

TEST_CASE("a mosaic with its own pattern is let alone", "[pattern]") {
    for (const char* word : words) {
        for (const double fwhm : {1.6, 2.0, 3.0, 5.0}) {
            for (std::uint64_t seed = 100; seed < 105; ++seed) {
                INFO(word << ", FWHM " << fwhm << " px, seed " << seed);
                CHECK(said(judge(of(word), {.pattern = of(word), .fwhm_px = fwhm, .seed = seed})) == "good");
                CHECK(said(judge(of(word), {.pattern = of(word), .stars = 6, .fwhm_px = fwhm, .seed = seed},
                                 false)) == "good");
            }
        }
    }
}

TEST_CASE("a wrong pattern is refused, and the right one is named", "[pattern]") {
    for (const char* truth : words) {
        for (const char* stated : words) {
            if (std::string(truth) == stated) continue;
            INFO(truth << " said to be " << stated);
            const Scene scene{.pattern = of(truth), .seed = 21};
            CHECK(has(said(judge(of(stated), scene)), fmt::format("pattern = \"{}\"", truth)));
            // Without the stars' colours red and blue are not told apart: two patterns are named where greens
            // contradict each other, and nothing is noticed where they do not.
            const std::string blind = said(judge(of(stated), scene, false));
            const bool same_greens = of(truth)->at(0, 0) == Colour::green
                                         ? of(stated)->at(0, 0) == Colour::green
                                         : of(stated)->at(0, 0) != Colour::green;
            if (same_greens) {
                CHECK(blind == "good");
            } else {
                CHECK(has(blind, truth));
                CHECK(has(blind, " or "));
            }
        }
    }
}

TEST_CASE("a mosaic measured as one colour is refused with the setting that mends it", "[pattern]") {
    for (const char* word : words) {
        for (const double fwhm : {2.0, 3.0, 6.0}) {
            INFO(word << ' ' << fwhm);
            const std::string text =
                said(judge(std::nullopt, {.pattern = of(word), .fwhm_px = fwhm, .seed = 31}));
            CHECK(has(text, "one colour"));
            CHECK(has(text, word));
            // On sharper stars the sampling hides what their colours tell of red and blue.
            if (fwhm >= 3.0) CHECK(has(text, fmt::format("pattern = \"{}\" under [instrument]", word)));
        }
    }
}

TEST_CASE("a mono frame said to be a mosaic is refused, interpolated or not", "[pattern]") {
    for (const bool interpolated : {false, true}) {
        const std::string text = said(judge(of("RGGB"), {.interpolated = interpolated, .seed = 41}));
        CHECK(has(text, "alike"));
        CHECK(has(text, "pattern = \"none\""));
    }
    const std::string grey =
        said(judge(of("RGGB"), {.pattern = of("RGGB"), .interpolated = true, .seed = 42}));
    CHECK(has(grey, "interpolated"));
}

TEST_CASE("ordinary mono frames raise no alarm", "[pattern]") {
    const std::pair<const char*, Scene> scenes[] = {
        {"plain", {}},
        {"few stars", {.stars = 5}},
        {"two stars", {.stars = 2}},
        {"sharp", {.fwhm_px = 1.3}},
        {"sharp and few", {.stars = 6, .fwhm_px = 1.3}},
        {"wide", {.fwhm_px = 6.0}},
        {"odd columns 4 ADU up", {.offset_adu = {0.0, 4.0, 0.0, 4.0}}},
        {"odd columns 4 ADU up, two stars", {.stars = 2, .offset_adu = {0.0, 4.0, 0.0, 4.0}}},
        {"odd rows 20 ADU up", {.offset_adu = {0.0, 0.0, 20.0, 20.0}}},
        {"columns by two amplifiers", {.gain = {1.0, 1.02, 1.0, 1.02}}},
        {"gradient", {.gradient_adu_per_px = 5.0}},
        {"hot pixels", {.hot_pixels = 20}},
        {"crowded", {.neighbours = 12}},
        {"crowded and sharp", {.fwhm_px = 1.6, .neighbours = 25}},
        {"faint stars", {.star_adu = 1500.0}},
        {"bright sky", {.star_adu = 20000.0, .sky_adu = 20000.0}},
        {"smoothed", {.interpolated = true}},
        {"red of a debayered picture", {.one_colour_filled = true}},
        {"sharp, red of a debayered picture", {.fwhm_px = 2.2, .one_colour_filled = true}}};
    for (auto [name, scene] : scenes) {
        for (std::uint64_t seed = 200; seed < 212; ++seed) {
            scene.seed = seed;
            INFO(name << ", seed " << seed);
            CHECK(said(judge(std::nullopt, scene)) == "good");
        }
    }
}

TEST_CASE("a mosaic with offsets of columns, hot pixels or neighbours keeps its pattern", "[pattern]") {
    const std::pair<const char*, Scene> scenes[] = {{"odd columns", {.offset_adu = {0.0, 6.0, 0.0, 6.0}}},
                                                    {"odd rows", {.offset_adu = {0.0, 0.0, 20.0, 20.0}}},
                                                    {"gains", {.gain = {1.0, 1.02, 1.0, 1.02}}},
                                                    {"gradient", {.gradient_adu_per_px = 5.0}},
                                                    {"hot pixels", {.hot_pixels = 20}},
                                                    {"crowded", {.neighbours = 12}},
                                                    {"no star", {.star_adu = 50.0}},
                                                    {"faint", {.star_adu = 2500.0}}};
    for (auto [name, scene] : scenes) {
        scene.pattern = of("GBRG");
        for (std::uint64_t seed = 300; seed < 306; ++seed) {
            scene.seed = seed;
            INFO(name << ", seed " << seed);
            CHECK(said(judge(of("GBRG"), scene)) == "good");
        }
    }
}

// Gains of the colours set so that the sky and the mean star are grey: only the stars' own colours are left.
TEST_CASE("a mosaic whose colours are evened out is known by its stars, or doubted", "[pattern]") {
    const Scene even{.pattern = of("RGGB"),
                     .stars = 25,
                     .response = {1.0, 1.0, 1.0},
                     .sky_response = {1.0, 1.0, 1.0},
                     .colour_effect = 0.6,
                     .seed = 51};
    CHECK(said(judge(of("RGGB"), even)) == "good");
    CHECK(has(said(judge(of("BGGR"), even)), "pattern = \"RGGB\""));
    CHECK(said(judge(std::nullopt, even)) == "doubtful");
    CHECK(said(judge(of("GRBG"), even)) == "doubtful");
}

TEST_CASE("with too few stars the sky raises no more than a doubt", "[pattern]") {
    const Scene scene{.pattern = of("RGGB"), .stars = 3, .seed = 61};
    CHECK(said(judge(std::nullopt, scene)) == "doubtful");
    CHECK(said(judge(of("GRBG"), scene)) == "doubtful");
    CHECK(said(judge(of("RGGB"), scene)) == "good");
    // Nothing to see at all.
    CHECK(said(judge_pattern(of("RGGB"), {}, {}, "m.fits")) == "good");
}
