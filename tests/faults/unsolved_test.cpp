// SPDX-License-Identifier: MIT
// Frames without a plate solution that serves, given to the program itself: solved and measured as if their
// header had told, or refused in one line; never measured at a wrong place.
#include <algorithm>
#include <catch2/catch.hpp>
#include <chrono>
#include <csignal>
#include <random>
#include <thread>

#include "faults/unsolved_frames.hpp"

using namespace emberline::testing;

namespace {

double sky_level(Pixels pixels) {
    std::nth_element(pixels.begin(), pixels.begin() + n_pixels / 2, pixels.end());
    return pixels[n_pixels / 2];
}

// An empty sky as deep and as noisy as the frames'.
Pixels empty_sky(const std::string& fits) {
    Pixels sorted = shorts_of(fits, n_pixels);
    std::sort(sorted.begin(), sorted.end());
    const double level = sorted[n_pixels / 2], noise = level - sorted[n_pixels * 16 / 100];
    std::mt19937 random(noise_seed);
    std::normal_distribution<double> sky(level, noise);
    Pixels pixels(n_pixels);
    for (short& pixel : pixels)
        pixel = static_cast<short>(std::lround(sky(random)));
    return pixels;
}

void add_light(Pixels& pixels, double x, double y, double peak, double sigma_px) {
    for (int j = -9; j <= 9; ++j) {
        for (int i = -9; i <= 9; ++i) {
            const int column = static_cast<int>(x) + i, row = static_cast<int>(y) + j;
            if (column < 0 || row < 0 || column >= side_px || row >= side_px) continue;
            short& pixel = pixels[static_cast<std::size_t>(row * side_px + column)];
            const double light = peak * std::exp(-0.5 * (std::pow(column - x, 2) + std::pow(row - y, 2)) /
                                                 (sigma_px * sigma_px));
            pixel = static_cast<short>(std::min(32767.0, pixel + std::round(light)));
        }
    }
}

// Marks of the chip as wide as a sharp star, on the same pixels of every frame.
void add_marks(Pixels& pixels) {
    std::mt19937 random(noise_seed + 1);
    std::uniform_real_distribution<double> place(12.0, side_px - 12.0), peak(3000.0, 20000.0);
    for (int i = 0; i < 45; ++i) {
        const double x = place(random), y = place(random);
        add_light(pixels, x, y, peak(random), 0.85);
    }
}

// Drawn out along the rows, under as much noise as before.
Pixels trailed(const std::string& fits, int length_px) {
    const Pixels sharp = shorts_of(fits, n_pixels), sky = empty_sky(fits);
    const double level = sky_level(sharp);
    Pixels out(n_pixels);
    for (int y = 0; y < side_px; ++y) {
        for (int x = 0; x < side_px; ++x) {
            double sum = 0.0;
            for (int k = 0; k < length_px; ++k)
                sum += sharp[static_cast<std::size_t>(y * side_px + std::min(side_px - 1, x + k))];
            const auto at = static_cast<std::size_t>(y * side_px + x);
            out[at] = static_cast<short>(std::lround(sum / length_px - level + sky[at]));
        }
    }
    return out;
}

}  // namespace

TEST_CASE("a frame without a plate solution is measured as if it had one", "[faults][unsolved]") {
    const TwoFrames frames;
    frames.second_becomes(unsolved(frames.bytes()));
    const Outcome outcome = measured_alike(frames.campaign);
    CHECK(outcome.out.find("matched with " + first_name) != std::string::npos);
    CHECK(frames.campaign.run({"measure", "--json"}).json().at("known") == 2);
    // Known from now on, and without another look at its stars.
    const Outcome again = frames.campaign.run({"measure"});
    CHECK(again.out.starts_with("2 frames: 0 measured, 2 known already, 0 refused.\n"));
}

TEST_CASE("where no frame is solved, the comparison stars carry the first", "[faults][unsolved]") {
    const TwoFrames frames;
    write_contents(frames.first, unsolved(contents(frames.first)));
    frames.second_becomes(unsolved(frames.bytes()));
    const Outcome outcome = measured_alike(frames.campaign);
    CHECK(outcome.out.find("comparison.csv") != std::string::npos);
}

TEST_CASE("frames are solved the same by one thread and by several, in any order", "[faults][unsolved]") {
    const auto fluxes_of = [](const Words& words) {
        const TwoFrames frames;
        write_contents(frames.first, unsolved(contents(frames.first)));
        frames.second_becomes(unsolved(frames.bytes()));
        const Outcome outcome = frames.campaign.run(words);
        REQUIRE(outcome.status == 0);
        return frames.campaign.run({"export", "--level", "frame"}).out;
    };
    const std::string one = fluxes_of({"measure", "--threads", "1"});
    CHECK(fluxes_of({"measure", "--threads", "4"}) == one);
}

TEST_CASE("a wrong plate solution in the header is found out, told and replaced", "[faults][unsolved]") {
    const TwoFrames frames;
    const std::string good = frames.bytes();
    const double dec = number_in(good, "CRVAL2");
    std::string turned = good, mirrored = good;
    for (const char* keyword : {"CD1_1", "CD1_2", "CD2_1", "CD2_2"})
        turned = with_number(turned, keyword, -number_in(good, keyword));
    for (const char* keyword : {"CD1_1", "CD2_1"})
        mirrored = with_number(mirrored, keyword, -number_in(good, keyword));
    const std::pair<const char*, std::string> wrong[] = {
        {"10′ north", with_number(good, "CRVAL2", dec + 10.0 / 60.0)},
        {"1′ south", with_number(good, "CRVAL2", dec - 1.0 / 60.0)},
        {"turned by 180°", turned},
        {"mirrored", mirrored},
        {"the other side of the sky", with_number(good, "CRVAL2", -dec)}};
    for (const auto& [name, fits] : wrong) {
        INFO(name);
        const TwoFrames own;
        own.second_becomes(fits);
        const Outcome outcome = measured_alike(own.campaign);
        CHECK(outcome.out.find(second_name + ": the plate solution in its header is wrong by up to") !=
              std::string::npos);
    }
}

TEST_CASE("a header that is right is believed, and nothing is said", "[faults][unsolved]") {
    const TwoFrames frames;
    const Outcome outcome = measured_alike(frames.campaign);
    CHECK(outcome.out.find("plate solution") == std::string::npos);
}

TEST_CASE("solving may be forbidden", "[faults][unsolved]") {
    const TwoFrames frames;
    frames.second_becomes(unsolved(frames.bytes()));
    frames.settings("\n[plate]\nsolve = false\n");
    second_refused(frames.campaign, "no plate solution");
}

TEST_CASE("an unsolved frame without stars is refused", "[faults][unsolved]") {
    const TwoFrames frames;
    const std::string fits = unsolved(frames.bytes());
    frames.second_becomes(with_pixels(fits, pixels_of(empty_sky(fits))));
    second_refused(frames.campaign, "plate solution");
}

TEST_CASE("an unsolved frame of three stars is refused", "[faults][unsolved]") {
    const TwoFrames frames;
    const std::string fits = unsolved(frames.bytes());
    Pixels pixels = empty_sky(fits);
    add_light(pixels, 80.3, 90.2, 9000.0, 1.3);
    add_light(pixels, 210.8, 150.1, 6000.0, 1.3);
    add_light(pixels, 120.4, 230.7, 3000.0, 1.3);
    frames.second_becomes(with_pixels(fits, pixels_of(pixels)));
    second_refused(frames.campaign, "3 stars");
}

TEST_CASE("an unsolved frame of trails is measured at the right place or refused", "[faults][unsolved]") {
    const TwoFrames frames;
    const std::string fits = unsolved(frames.bytes());
    frames.second_becomes(with_pixels(fits, pixels_of(trailed(fits, 24))));
    const Outcome outcome = frames.campaign.run({"measure"});
    INFO(outcome.out << outcome.err);
    CHECK(outcome.status == 1);
    // Trails of 24 px do not fit into any aperture: it must not be used.
    CHECK(outcome.out.find(second_name) != std::string::npos);
    const auto found = magnitudes(frames.campaign);
    CHECK(found.contains(first_name));
    CHECK((outcome.refused().size() == 1 ||
           outcome.out.find("Measured but not used:\n  " + second_name) != std::string::npos));
}

TEST_CASE("an unsolved frame of another field is refused", "[faults][unsolved]") {
    const TwoFrames frames;
    const Rehearsed other({"--nights", "1", "--seed", "77"});
    const std::string fits = unsolved(frames.bytes());
    frames.second_becomes(with_pixels(fits, pixels_of(shorts_of(contents(other.first_frame()), n_pixels))));
    second_refused(frames.campaign, "No plate solution was found for its");
}

TEST_CASE("a frame of the neighbourhood says where it points", "[faults][unsolved]") {
    // Half of the stars are shared with the first frame; the transient is not on it.
    const TwoFrames frames;
    const std::string fits = unsolved(frames.bytes());
    const Pixels whole = shorts_of(fits, n_pixels);
    Pixels shifted = empty_sky(fits);
    constexpr int by_px = 165;
    for (int y = 0; y < side_px; ++y) {
        for (int x = 0; x + by_px < side_px; ++x) {
            shifted[static_cast<std::size_t>(y * side_px + x)] =
                whole[static_cast<std::size_t>(y * side_px + x + by_px)];
        }
    }
    frames.second_becomes(with_pixels(fits, pixels_of(shifted)));
    second_refused(frames.campaign, "lies off the frame. By its stars, matched with " + first_name);
}

TEST_CASE("an unsolved frame without a defined pixel is refused", "[faults][unsolved]") {
    const TwoFrames frames;
    std::string fits = with_card(unsolved(frames.bytes()), "BITPIX", "                 -32");
    fits = with_card(fits, "BZERO", "                   0");
    frames.second_becomes(with_pixels(fits, pixels_of(std::vector<float>(n_pixels, std::nanf("")))));
    second_refused(frames.campaign, "No pixel of the picture is defined");
}

TEST_CASE("marks of the chip never make a plate solution", "[faults][unsolved]") {
    const TwoFrames frames;
    Pixels first = shorts_of(contents(frames.first), n_pixels);
    add_marks(first);
    write_contents(frames.first, with_pixels(contents(frames.first), pixels_of(first)));
    const std::string fits = unsolved(frames.bytes());
    Pixels marks_alone = empty_sky(fits);
    add_marks(marks_alone);
    frames.second_becomes(with_pixels(fits, pixels_of(marks_alone)));
    second_refused(frames.campaign, "plate solution");
}

TEST_CASE("stars that have moved are found among marks that have not", "[faults][unsolved]") {
    const TwoFrames frames;
    for (const std::string& path : {frames.first, frames.second}) {
        Pixels pixels = shorts_of(contents(path), n_pixels);
        add_marks(pixels);
        write_contents(path, with_pixels(contents(path), pixels_of(pixels)));
    }
    frames.second_becomes(unsolved(frames.bytes()));
    const Outcome outcome = frames.campaign.run({"measure"});
    INFO(outcome.out << outcome.err);
    CHECK(outcome.status == 0);
    const auto found = magnitudes(frames.campaign);
    REQUIRE(found.size() == 2);
    // A mark may fall into an annulus or beside a comparison star.
    for (const auto& [frame, magnitude] : expected_magnitudes())
        CHECK(std::abs(found.at(frame) - magnitude) < 0.03);
}

TEST_CASE("two copies of one unsolved frame count once", "[faults][unsolved]") {
    const TwoFrames frames;
    frames.second_becomes(unsolved(frames.bytes()));
    write_contents(frames.campaign.path("frames/2024-03-14/copy.fits"), frames.bytes());
    const Outcome outcome = frames.campaign.run({"measure"});
    INFO(outcome.out << outcome.err);
    CHECK(outcome.status == 0);
    CHECK(outcome.out.starts_with("3 frames: 2 measured, 1 known already, 0 refused.\n"));
    CHECK(magnitudes(frames.campaign).size() == 2);
}

TEST_CASE("a frame that is renamed or overwritten is followed", "[faults][unsolved]") {
    const TwoFrames frames;
    const std::string good = frames.bytes();
    frames.campaign.measure();
    const std::string moved = frames.campaign.path("frames/2024-03-14/V_022.fits");
    std::filesystem::rename(frames.second, moved);
    const Outcome renamed = frames.campaign.run({"measure"});
    INFO(renamed.out << renamed.err);
    CHECK(renamed.out.starts_with("2 frames: 0 measured, 2 known already, 0 refused.\n"));
    CHECK(renamed.out.find("1 file bears another name") != std::string::npos);
    auto found = magnitudes(frames.campaign);
    CHECK(found.size() == 2);
    CHECK(found.contains("frames/2024-03-14/V_022.fits"));
    // Overwritten by another exposure of the night: a minute later, a little fainter.
    const std::string later = with_card(good, "DATE-OBS", "'2024-03-15T02:10:00.000'");
    write_contents(moved, later);
    CHECK(frames.campaign.run({"measure"})
              .out.starts_with("2 frames: 1 measured, 1 known already, 0 refused.\n"));
    CHECK(magnitudes(frames.campaign).size() == 2);
    // And back again.
    write_contents(moved, good);
    CHECK(frames.campaign.run({"measure"})
              .out.starts_with("2 frames: 1 measured, 1 known already, 0 refused.\n"));
    found = magnitudes(frames.campaign);
    REQUIRE(found.size() == 2);
    CHECK(std::abs(found.at("frames/2024-03-14/V_022.fits") - expected_magnitudes().at(second_name)) <
          alike_mag);
}

TEST_CASE("stopped or killed while it solves, the program goes on from there to the same end",
          "[faults][unsolved]") {
    constexpr int many = 110;
    Words quick = two_frames;
    quick.emplace_back("--no-host");
    const Rehearsed campaign(quick);
    const std::string fits = unsolved(contents(campaign.path(second_name)));
    for (int i = 0; i < many; ++i) {
        write_contents(
            campaign.path(fmt::format("frames/2024-03-14/more_{:03}.fits", i)),
            with_card(fits, "DATE-OBS", fmt::format("'2024-03-15T02:{:02}:{:02}.000'", i / 60, i % 60)));
    }
    const std::string log = campaign.path("campaign.ledger-wal");
    constexpr std::uintmax_t one_batch = 600000;  // bytes; the two solved frames take less
    for (const int signal : {SIGINT, SIGKILL}) {
        std::filesystem::remove(campaign.path("campaign.ledger"));
        std::filesystem::remove(log);
        Process measuring({"measure", "-j", "1", "-q", "-c", campaign.path()});
        std::error_code none_yet;
        while (measuring.running()) {
            const auto bytes = std::filesystem::file_size(log, none_yet);
            if (!none_yet && bytes > one_batch) break;
            std::this_thread::sleep_for(std::chrono::microseconds(200));
        }
        REQUIRE(measuring.running());
        measuring.signal(signal);
        CHECK(measuring.wait().status == (signal == SIGINT ? 130 : 128 + SIGKILL));
        const auto rest = campaign.run({"measure", "--json"}).json();
        // Killed, it may have been in the middle of a batch.
        CHECK(rest.at("known").get<int>() >= (signal == SIGINT ? 3 : 1));
        CHECK(rest.at("measured").get<int>() > 0);
        CHECK(rest.at("measured").get<int>() + rest.at("known").get<int>() == many + 2);
        CHECK(rest.at("solved") == rest.at("measured"));
    }
    const std::string in_two = campaign.run({"export", "--level", "frame"}).out;
    std::filesystem::remove(campaign.path("campaign.ledger"));
    CHECK(campaign.run({"measure", "--json"}).json().at("solved") == many);
    CHECK(lines_of(in_two).size() == many + 3);
    CHECK(campaign.run({"export", "--level", "frame"}).out == in_two);
}
