// SPDX-License-Identifier: MIT
#include <algorithm>
#include <catch2/catch.hpp>
#include <cmath>
#include <functional>

#include "program/frame_bytes.hpp"
#include "program/rehearsed.hpp"

using namespace emberline::testing;

namespace {

constexpr std::size_t pixels = 300 * 300;
const Words clear_night = {"--nights", "1", "--clear", "--no-trails", "--no-host"};

// The first frame of two with every pixel changed; unsigned pixels lie in the file less 32768.
void change_first(const Rehearsed& campaign, const std::function<double(double)>& change) {
    const std::string fits = contents(campaign.first_frame());
    std::vector<short> stored = shorts_of(fits, pixels);
    for (short& v : stored) {
        const double adu = std::clamp(std::round(change(v + 32768.0)), 0.0, 65535.0);
        v = static_cast<short>(adu - 32768.0);
    }
    write_contents(campaign.first_frame(), with_pixels(fits, pixels_of(stored)));
}

// One is refused, for what it is, and the night goes on with the other.
void is_refused(const Rehearsed& campaign, const std::string& what) {
    const Outcome outcome = campaign.run({"measure"});
    INFO(outcome.out << outcome.err);
    CHECK(outcome.status == 1);
    const auto refused = outcome.refused();
    REQUIRE(refused.size() == 1);
    CHECK(refused.front().find("V_001.fits") != std::string::npos);
    CHECK(refused.front().find(what) != std::string::npos);
    CHECK(refused.front().find("as the camera gave it") != std::string::npos);
}

}  // namespace

TEST_CASE("a stretched picture is refused with the slope of its magnitudes", "[faults][processed]") {
    const Rehearsed campaign(clear_night);
    change_first(campaign, [](double adu) { return std::sqrt(adu * 65535.0); });
    is_refused(campaign, "One magnitude of the catalogue is 0.");
}

TEST_CASE("who insists on a processed picture has it measured, and flagged", "[faults][processed]") {
    const Rehearsed campaign(clear_night);
    change_first(campaign, [](double adu) { return std::sqrt(adu * 65535.0); });
    write_contents(campaign.path("campaign.toml"),
                   contents(campaign.path("campaign.toml")) + "\n[measure]\nrefuse_processed = false\n");
    const Outcome outcome = campaign.run({"measure"});
    INFO(outcome.out << outcome.err);
    CHECK(outcome.refused().empty());
    CHECK(outcome.out.find("processed") != std::string::npos);
}

TEST_CASE("a picture of 256 levels in 16 bits is refused", "[faults][processed]") {
    const Rehearsed campaign(clear_night);
    change_first(campaign, [](double adu) { return 257.0 * std::round((adu - 350.0) / 40.0); });
    is_refused(campaign, "levels");
}

TEST_CASE("bytes are refused before anything is measured", "[faults][processed]") {
    const Rehearsed campaign(clear_night);
    const std::string fits = contents(campaign.first_frame());
    std::string bytes;
    for (const short v : shorts_of(fits, pixels))
        bytes += static_cast<char>(std::clamp((v + 32768) / 100, 0, 255));
    std::string saved = with_pixels(fits, bytes);
    saved = with_card(saved, "BITPIX", "                   8");
    saved = with_card(saved, "BZERO", "                 0.0");
    write_contents(campaign.first_frame(), saved);
    is_refused(campaign, "8-bit picture");
}

TEST_CASE("pixels multiplied, shifted or cut at the bottom still count light", "[faults][processed]") {
    for (const auto& change : std::vector<std::function<double(double)>>{
             [](double adu) { return 1.7 * adu; }, [](double adu) { return adu + 1000.0; },
             [](double adu) { return adu - 330.0; },
             [](double adu) { return 16.0 * std::floor(adu / 16.0); }}) {
        const Rehearsed campaign(clear_night);
        change_first(campaign, change);
        const Outcome outcome = campaign.run({"measure"});
        INFO(outcome.out << outcome.err);
        CHECK(outcome.status == 0);
    }
}
