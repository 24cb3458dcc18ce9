// SPDX-License-Identifier: MIT
// Invented stacks, whose exposures, gain and times are known. A mean of N exposures holds N g electrons an
// ADU, a sum g, a median 2/π N g or so of them by its noise (design of the noise; tests of frame/read_stack).
#include <fmt/format.h>
#include <unistd.h>

#include <algorithm>
#include <catch2/catch.hpp>
#include <cmath>
#include <filesystem>
#include <fstream>

#include "frame/frame.hpp"
#include "frame/read_stack.hpp"
#include "frame/write_frame.hpp"
#include "night/measure_frame.hpp"
#include "real_series.hpp"
#include "rehearsal/campaign_text.hpp"
#include "rehearsal/live_stack.hpp"
#include "sky/time_scales.hpp"

using namespace emberline;
using frame::StackKind;
using rehearsal::StackHeader;
namespace fs = std::filesystem;

namespace {

constexpr int exposures = 16;

// A field, its exposures, and the campaign that goes with it. Seed 31.
class Field {
  public:
    Field() {
        rehearsal::RehearsalOptions options{.seed = 31,
                                            .nights = 1,
                                            .frames = 1,
                                            .exposure_s = 10.0,
                                            .host = false,
                                            .cloud = false,
                                            .trailing = false,
                                            .width_px = 420,
                                            .height_px = 320};
        invented = *rehearsal::invent_campaign(options);
        planned = invented.frames[0];
        folder_ = fs::temp_directory_path() / fmt::format("emberline-settle-{}", ::getpid());
        fs::create_directories(folder_);
        std::ofstream(folder_ / "comparison.csv") << rehearsal::comparison_csv(invented);
        std::ofstream(folder_ / "campaign.toml") << rehearsal::campaign_toml(invented);
        campaign = *night::read_campaign(folder_.string());
        sequence = *standard::read_sequence(campaign.path(campaign.catalog));
        parts = rehearsal::expose_parts(invented, planned, {.exposures = exposures, .drift_px = 3.0});
    }
    ~Field() {
        std::error_code ignored;
        fs::remove_all(folder_, ignored);
    }
    [[nodiscard]] rehearsal::InventedStack stack(StackKind kind, StackHeader header,
                                                 bool interpolated = false, bool whole = true) const {
        return rehearsal::put_together(invented, planned,
                                       {.exposures = exposures,
                                        .kind = kind,
                                        .drift_px = 3.0,
                                        .interpolated = interpolated,
                                        .whole_numbers = whole,
                                        .header = header},
                                       parts);
    }
    [[nodiscard]] photometry::FrameFluxes measured(const std::vector<float>& adu, bool whole,
                                                   const std::vector<frame::Card>& cards,
                                                   std::optional<double> offset_adu) const {
        const std::string path = (folder_ / "frame.fits").string();
        const std::vector<std::uint16_t> integers(adu.begin(), adu.end());
        const int width = invented.instrument.width_px, height = invented.instrument.height_px;
        if (whole) {
            REQUIRE(frame::write_frame(path, width, height, std::span(integers), cards));
        } else {
            REQUIRE(frame::write_frame(path, width, height, std::span<const float>(adu), cards));
        }
        auto with = campaign;
        with.instruments.front().offset_adu = offset_adu;
        const auto frames = frame::open_frames(path, with.instruments);
        REQUIRE(frames);
        auto fluxes = night::measure_frame(frames->front(), "f", "f", sequence, with);
        if (!fluxes) FAIL(one_line(fluxes.error()));
        return std::move(*fluxes);
    }
    [[nodiscard]] photometry::FrameFluxes measured(const rehearsal::InventedStack& stack, bool whole = true,
                                                   std::optional<double> offset_adu = {}) const {
        return measured(stack.adu, whole, stack.cards, offset_adu);
    }

    rehearsal::InventedCampaign invented;
    rehearsal::PlannedFrame planned;
    night::Campaign campaign;
    standard::Sequence sequence;
    std::vector<rehearsal::StackExposure> parts;

  private:
    fs::path folder_;
};

const Field& field() {
    static const Field one;
    return one;
}

bool remarks_on(const photometry::FrameFluxes& fluxes, const std::string& words) {
    return std::any_of(fluxes.remarks.begin(), fluxes.remarks.end(),
                       [&](const std::string& r) { return r.find(words) != std::string::npos; });
}

constexpr double offset_adu = 300.0, gain = 0.9;  // the invented camera's

}  // namespace

TEST_CASE("a header that tells all is believed, silently", "[stack]") {
    for (const StackKind kind : {StackKind::mean, StackKind::sum, StackKind::median}) {
        const auto stack = field().stack(kind, StackHeader::all);
        const auto fluxes = field().measured(stack);
        const double scale = frame::stack_scale(kind, exposures).gain;
        CHECK(fluxes.gain_e_per_adu == Approx(gain * scale));
        CHECK_FALSE(fluxes.caveats.has(Caveat::stack_inferred));
        CHECK_FALSE(fluxes.caveats.has(Caveat::gain_assumed));
        CHECK_FALSE(remarks_on(fluxes, "scatter by"));
        CHECK(fluxes.exposure_s == Approx(stack.exposure_s));
    }
}

TEST_CASE("a count alone: the noise tells a sum from a mean", "[stack]") {
    const auto sum = field().measured(field().stack(StackKind::sum, StackHeader::count));
    CHECK(sum.gain_e_per_adu == Approx(gain));
    CHECK(sum.caveats.has(Caveat::stack_inferred));
    CHECK_FALSE(sum.caveats.has(Caveat::gain_assumed));
    CHECK(remarks_on(sum, "The noise fits a sum of 16"));
    const auto mean = field().measured(field().stack(StackKind::mean, StackHeader::count), true, offset_adu);
    CHECK(mean.gain_e_per_adu == Approx(gain * exposures));
    CHECK(mean.exposure_s == Approx(160.0));
}

TEST_CASE("silence: level and noise count what was averaged", "[stack]") {
    for (const bool interpolated : {false, true}) {
        for (const bool whole : {true, false}) {
            INFO(fmt::format("interpolated {}, whole {}", interpolated, whole));
            const auto stack = field().stack(StackKind::mean, StackHeader::silent, interpolated, whole);
            const auto fluxes = field().measured(stack, whole, offset_adu);
            // Blocks of sky give a variance to some per cent where pixels are correlated.
            CHECK(fluxes.gain_e_per_adu == Approx(gain * exposures).epsilon(interpolated ? 0.25 : 0.1));
            CHECK(fluxes.caveats.has(Caveat::stack_inferred));
            CHECK(fluxes.caveats.has(Caveat::time_uncertain));
            CHECK(fluxes.exposure_s == Approx(160.0).epsilon(interpolated ? 0.25 : 0.13));
            // Pauses of a second between exposures are not in the header.
            CHECK(std::abs(sky::seconds_between(stack.middle_of_light, fluxes.mid_exposure)) < 25.0);
            CHECK(remarks_on(fluxes, "exposures averaged"));
            // Without the offset, stars must tell: within a factor of two.
            const auto blind = field().measured(stack, whole);
            CHECK(blind.gain_e_per_adu > gain * exposures / 2.0);
            CHECK(blind.gain_e_per_adu < gain * exposures * 2.0);
            CHECK(blind.caveats.has(Caveat::stack_inferred));
        }
    }
}

TEST_CASE("silence: a sum is told by the light that no telescope gathers in the time", "[stack]") {
    const auto stack = field().stack(StackKind::sum, StackHeader::silent);
    const auto fluxes = field().measured(stack, true, offset_adu);
    CHECK(fluxes.gain_e_per_adu == Approx(gain));
    CHECK(fluxes.read_noise_e == Approx(6.0 * std::sqrt(16.0)).epsilon(0.1));
    CHECK(fluxes.caveats.has(Caveat::stack_inferred));
    CHECK(fluxes.exposure_s == Approx(160.0).margin(11.0));
    const auto blind = field().measured(stack);
    CHECK(blind.gain_e_per_adu == Approx(gain));
    CHECK(blind.caveats.has(Caveat::time_uncertain));
    CHECK(remarks_on(blind, "times the light"));
    CHECK(blind.exposure_s > 60.0);
    CHECK(blind.exposure_s < 400.0);
}

TEST_CASE("a single exposure stays one, with a gain or read noise that is somewhat wrong too", "[stack]") {
    const auto& single = field().parts[0].frame;
    const std::vector<float> adu(single.adu.begin(), single.adu.end());
    std::vector<frame::Card> cards = field().stack(StackKind::mean, StackHeader::silent).cards;
    const auto with = [&](const char* keyword, double value) {
        auto changed = cards;
        for (frame::Card& card : changed) {
            if (card.keyword == keyword) card.value = fmt::format("{}", value);
        }
        return changed;
    };
    for (const bool whole : {true, false}) {
        for (const std::optional<double> offset :
             {std::optional<double>{}, std::optional<double>{offset_adu}}) {
            for (const auto& [keyword, value] : {std::pair{"EGAIN", 0.9},
                                                 {"EGAIN", 0.5},
                                                 {"EGAIN", 1.6},
                                                 {"RDNOISE", 4.0},
                                                 {"RDNOISE", 9.0}}) {
                INFO(fmt::format("{} = {}, whole {}, offset {}", keyword, value, whole, offset.has_value()));
                const auto fluxes = field().measured(adu, whole, with(keyword, value), offset);
                CHECK(fluxes.gain_e_per_adu == Approx(std::string(keyword) == "EGAIN" ? value : gain));
                CHECK_FALSE(fluxes.caveats.has(Caveat::stack_inferred));
                CHECK_FALSE(fluxes.caveats.has(Caveat::time_uncertain));
                CHECK(fluxes.exposure_s == 10.0);
                CHECK_FALSE(remarks_on(fluxes, "exposures"));
            }
        }
    }
}

TEST_CASE("a picture from 0 to 1 is taken for parts of 65535", "[stack]") {
    auto stack = field().stack(StackKind::mean, StackHeader::all, true, false);
    for (float& adu : stack.adu)
        adu /= 65535.0F;
    const auto fluxes = field().measured(stack, false);
    CHECK(fluxes.gain_e_per_adu == Approx(gain * exposures * 65535.0));
    CHECK(remarks_on(fluxes, "from 0 to 1"));
    CHECK(fluxes.stars.size() > 3);
}

TEST_CASE("a header that the noise contradicts strongly is named, and nothing is changed", "[stack]") {
    const auto& single = field().parts[0].frame;
    const std::vector<float> adu(single.adu.begin(), single.adu.end());
    std::vector<frame::Card> cards = field().stack(StackKind::mean, StackHeader::silent).cards;
    cards.push_back({"NCOMBINE", "50", "", false});
    cards.push_back({"STACKMOD", "mean", "", true});
    const auto fluxes = field().measured(adu, true, cards, offset_adu);
    CHECK(fluxes.gain_e_per_adu == Approx(gain * 50));
    CHECK(remarks_on(fluxes, "nothing was changed"));
    CHECK_FALSE(fluxes.caveats.has(Caveat::stack_inferred));
}

TEST_CASE("an offset above the sky is none of this picture's", "[stack]") {
    const auto stack = field().stack(StackKind::mean, StackHeader::silent);
    const auto fluxes = field().measured(stack, true, 5000.0);
    CHECK(fluxes.gain_e_per_adu > gain * exposures / 2.0);
    CHECK(fluxes.gain_e_per_adu < gain * exposures * 2.0);
}

TEST_CASE("the campaign says how many exposures are stacked, and how, or is refused", "[stack][campaign]") {
    const auto with = [](const std::string& keys) {
        return night::parse_campaign(
            "[transient]\nname = \"X\"\nra = 10.0\ndec = 20.0\n[instrument]\n" + keys, "");
    };
    const auto good = with("stacked = 20\nstack = \"sum\"\noffset = 300\n");
    REQUIRE(good);
    CHECK(good->instruments.front().stacked == 20);
    CHECK(good->instruments.front().stack == "sum");
    CHECK(good->instruments.front().offset_adu == 300.0);
    for (const char* bad : {"stacked = 0\n", "stacked = 2.5\n", "stack = \"maximum\"\n", "stack = 3\n"}) {
        INFO(bad);
        CHECK_FALSE(with(bad));
    }
    // What changes the electrons changes the fluxes.
    CHECK(night::flux_settings(*good, field().sequence) !=
          night::flux_settings(*with("stacked = 10\nstack = \"sum\"\noffset = 300\n"), field().sequence));
}

// Raw frames of a real camera, shifted by whole pixels and averaged; its offset is its bias frames' level,
// its read noise a guess. Warm pixels and dust that no dark or flat took away make it noisier than photons
// do.
TEST_CASE("real frames averaged in silence are told from single ones", "[stack][real]") {
    const std::string data = test::datasets_or_warn();
    if (data.empty()) return;
    auto campaign = *night::read_campaign(data + "/supernova_at_core");
    campaign.instruments.front().offset_adu = 594.0;
    campaign.instruments.front().read_noise_e = 13.0;
    const auto sequence = *standard::read_sequence(campaign.path(campaign.catalog));
    std::vector<double> sum;
    std::vector<frame::Card> cards;
    frame::PixelBox whole;
    std::optional<frame::PixelPosition> first;
    int n = 0;
    for (const auto& entry : fs::directory_iterator(data + "/supernova_at_core/lights")) {
        const std::string path = entry.path().string();
        if (path.find("_V_") == std::string::npos) continue;
        const auto frames = *frame::open_frames(path, campaign.instruments);
        const auto single = night::measure_frame(frames[0], "f", "f", sequence, campaign);
        REQUIRE(single);
        CHECK_FALSE(single->caveats.has(Caveat::stack_inferred));
        const auto cutout = *frames[0].read_whole();
        const auto place = *frames[0].wcs()->pixel(campaign.position);
        if (!first) {
            first = place;
            whole = cutout.box;
            sum.assign(cutout.adu.size(), 0.0);
            for (const char* keyword :
                 {"DATE-OBS", "EXPTIME", "FILTER", "EGAIN", "CTYPE1", "CTYPE2", "CRVAL1", "CRVAL2", "CRPIX1",
                  "CRPIX2", "CD1_1", "CD1_2", "CD2_1", "CD2_2"})
                if (const auto* card = frames[0].header().find(keyword)) cards.push_back(*card);
        }
        const int dx = static_cast<int>(std::lround(place.x - first->x));
        const int dy = static_cast<int>(std::lround(place.y - first->y));
        std::size_t k = 0;
        for (int y = 0; y < whole.height; ++y) {
            for (int x = 0; x < whole.width; ++x)
                sum[k++] += static_cast<double>(cutout.at(std::clamp(x + dx, 0, whole.width - 1),
                                                          std::clamp(y + dy, 0, whole.height - 1)));
        }
        ++n;
    }
    REQUIRE(n == 8);
    std::vector<float> mean;
    for (const double v : sum)
        mean.push_back(static_cast<float>(v / n));
    const fs::path path = fs::temp_directory_path() / fmt::format("emberline-real-stack-{}.fits", ::getpid());
    REQUIRE(
        frame::write_frame(path.string(), whole.width, whole.height, std::span<const float>(mean), cards));
    const auto frames = *frame::open_frames(path.string(), campaign.instruments);
    const auto stacked = night::measure_frame(frames[0], "f", "f", sequence, campaign);
    fs::remove(path);
    REQUIRE(stacked);
    WARN(fmt::format("8 real frames averaged: {:.2f} of 2.58 × 8 e-/ADU", stacked->gain_e_per_adu));
    CHECK(stacked->caveats.has(Caveat::stack_inferred));
    CHECK(stacked->gain_e_per_adu > 2.58 * n / 2.5);
    CHECK(stacked->gain_e_per_adu < 2.58 * n * 1.3);
}
