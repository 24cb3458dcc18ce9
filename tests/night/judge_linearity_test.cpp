// SPDX-License-Identifier: MIT
#include <fmt/format.h>
#include <catch2/catch.hpp>
#include <filesystem>

#include "frame/frame.hpp"
#include "night/measure_frame.hpp"
#include "real_series.hpp"

using namespace emberline;
namespace fs = std::filesystem;

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
            if (!fluxes) CHECK(fluxes.error().what.find("counts light") == std::string::npos);
        }
        CHECK(measured > 10);
    }
}
