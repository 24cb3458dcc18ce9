// SPDX-License-Identifier: MIT
// tests/faults/unsolved_frames — rehearsed frames whose header has lost its plate solution, and what the
// program should make of them.
#pragma once

#include <fmt/format.h>

#include <catch2/catch.hpp>
#include <cmath>
#include <filesystem>
#include <map>
#include <sstream>
#include <string>

#include "program/frame_bytes.hpp"
#include "program/rehearsed.hpp"

namespace emberline::testing {

inline constexpr int side_px = 300;
inline constexpr std::size_t n_pixels = side_px * side_px;
inline constexpr unsigned noise_seed = 20240314;
// The two frames differ by drift: their fluxes come from other pixels, and a solution's own error moves an
// aperture by a few hundredths of a pixel. Far below one frame's random error of 0.01 mag.
inline constexpr double alike_mag = 0.002;

inline const Words plate_cards = {"CTYPE1", "CTYPE2", "CRVAL1", "CRVAL2", "CRPIX1", "CRPIX2",
                                  "CUNIT1", "CUNIT2", "CD1_1",  "CD1_2",  "CD2_1",  "CD2_2"};
inline const Words two_frames = {"--nights", "1", "--drift-px", "14", "--clear", "--no-flip", "--no-trails"};
inline const std::string first_name = "frames/2024-03-14/V_001.fits",
                         second_name = "frames/2024-03-14/V_002.fits";

inline std::string unsolved(const std::string& fits) {
    return without_cards(fits, plate_cards);
}

inline double number_in(const std::string& fits, const std::string& keyword) {
    for (std::size_t at = 0; at + card_bytes <= fits.size(); at += card_bytes) {
        if (fits.compare(at, keyword.size() + 1, keyword + " ") == 0)
            return std::stod(fits.substr(at + 10, 20));
    }
    FAIL("no card " << keyword);
    return 0.0;
}

inline std::string with_number(std::string fits, const std::string& keyword, double value) {
    return with_card(std::move(fits), keyword, fmt::format("{:20.12E}", value));
}

// Magnitudes by frame, as the program's table has them.
inline std::map<std::string, double> magnitudes(const Rehearsed& campaign) {
    const Outcome table = campaign.run({"export", "--level", "frame"});
    REQUIRE(table.status == 0);
    std::map<std::string, double> found;
    const auto lines = lines_of(table.out);
    for (std::size_t i = 1; i < lines.size(); ++i) {
        std::istringstream stream(lines[i]);
        Words fields;
        for (std::string field; std::getline(stream, field, ',');)
            fields.push_back(field);
        if (!fields.at(7).empty()) found[fields.at(0)] = std::stod(fields.at(7));
    }
    return found;
}

inline const std::map<std::string, double>& expected_magnitudes() {
    static const std::map<std::string, double> all = [] {
        const Rehearsed campaign(two_frames);
        campaign.measure();
        return magnitudes(campaign);
    }();
    return all;
}

// Both frames measured, with the magnitudes that the right headers give.
inline Outcome measured_alike(const Rehearsed& campaign) {
    Outcome outcome = campaign.run({"measure"});
    INFO(outcome.out << outcome.err);
    CHECK(outcome.status == 0);
    const auto found = magnitudes(campaign);
    REQUIRE(found.size() == 2);
    for (const auto& [frame, magnitude] : expected_magnitudes()) {
        INFO(frame);
        REQUIRE(found.contains(frame));
        CHECK(std::abs(found.at(frame) - magnitude) < alike_mag);
    }
    return outcome;
}

// The second frame refused in one line that says `what`; the first is measured all the same.
inline void second_refused(const Rehearsed& campaign, const std::string& what) {
    const Outcome outcome = campaign.run({"measure"});
    INFO(outcome.out << outcome.err);
    CHECK(outcome.status == 1);
    CHECK(outcome.err.empty());
    CHECK(outcome.out.starts_with("2 frames: 1 measured, 0 known already, 1 refused.\n"));
    REQUIRE(outcome.refused().size() == 1);
    const std::string line = outcome.refused().front();
    CHECK(line.starts_with(second_name));
    INFO(line);
    CHECK(line.find(what) != std::string::npos);
    CHECK(line.ends_with('.'));
    CHECK(magnitudes(campaign).size() == 1);
}

using Pixels = std::vector<short>;

struct TwoFrames {
    Rehearsed campaign{two_frames};
    std::string first = campaign.path(first_name), second = campaign.path(second_name);
    [[nodiscard]] std::string bytes() const { return contents(second); }
    void second_becomes(const std::string& fits) const { write_contents(second, fits); }
    void settings(const std::string& more) const {
        write_contents(campaign.path("campaign.toml"), contents(campaign.path("campaign.toml")) + more);
    }
};

}  // namespace emberline::testing
