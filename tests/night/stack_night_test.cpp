// SPDX-License-Identifier: MIT
// Stacks of rehearsed nights against their frames: the same light, the same errors, and a header that says
// so.
#include "night/stack_night.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <catch2/catch.hpp>
#include <cmath>
#include <cstdlib>
#include <filesystem>
#include <set>

#include "frame/row_writer.hpp"
#include "frame/write_frame.hpp"
#include "night/choose_stack.hpp"
#include "night/measure_frame.hpp"
#include "night/solve_campaign.hpp"
#include "numerics/robust.hpp"
#include "rehearsal/rehearse.hpp"
#include "sky/time_scales.hpp"
#include "temporary_folder.hpp"

using namespace emberline;

namespace {

class RehearsedNight {
  public:
    explicit RehearsedNight(const rehearsal::RehearsalOptions& options) {
        REQUIRE(rehearsal::rehearse(folder_ / "c", options));
        campaign = night::read_campaign(folder_ / "c").value();
        sequence = standard::read_sequence(campaign.path(campaign.catalog)).value();
        for (int i = 1; i <= options.frames; ++i) {
            const std::string path =
                campaign.path(fmt::format("frames/2024-03-14/{}_{:03d}.fits", options.bands.front(), i));
            auto frames = frame::open_frames(path, campaign.instruments).value();
            candidates.push_back({path, frame::fingerprint(path).value(), std::move(frames.front()), {}});
        }
    }
    RehearsedNight(const RehearsedNight&) = delete;
    RehearsedNight& operator=(const RehearsedNight&) = delete;

    // Saved anew as parts of the full range, 0 to 1, as many programs do with floating-point pictures.
    void save_from_0_to_1() {
        constexpr float full_adu = 65535.0F;
        const std::set<std::string> of_the_pixels{"SIMPLE", "BITPIX", "NAXIS", "NAXIS1",
                                                  "NAXIS2", "EXTEND", "BZERO", "BSCALE"};
        for (night::StackCandidate& one : candidates) {
            const frame::FrameFacts& facts = one.frame.facts();
            auto pixels = one.frame.read(frame::PixelBox{0, 0, facts.width_px, facts.height_px}).value();
            for (float& adu : pixels.adu)
                adu /= full_adu;
            std::vector<frame::Card> cards;
            for (const frame::Card& card : one.frame.header().cards()) {
                if (!of_the_pixels.contains(card.keyword)) cards.push_back(card);
            }
            const std::string path = one.path + "_unit.fits";
            REQUIRE(frame::write_cube(path, facts.width_px, facts.height_px, 1, pixels.adu, cards));
            auto frames = frame::open_frames(path, campaign.instruments).value();
            one = {path, frame::fingerprint(path).value(), std::move(frames.front()), {}};
        }
    }

    // On disk and opened again, as any reader has it.
    [[nodiscard]] frame::Frame reopened(const night::NightStack& stack) const {
        const std::string path = folder_ / "stack.fits";
        auto writer =
            frame::RowWriter::create(path, stack.width_px, stack.height_px,
                                     {{"", -32, stack.cards}, {"VARIANCE", -32, stack.variance_cards}})
                .value();
        REQUIRE(writer->write(0, 0, stack.adu));
        REQUIRE(writer->write(1, 0, stack.variance_adu2));
        REQUIRE(writer->finish());
        return frame::open_frames(path, campaign.instruments).value().front();
    }
    [[nodiscard]] photometry::FrameFluxes measured(const frame::Frame& frame, const std::string& name,
                                                   const std::string& print) const {
        auto fluxes = night::measure_frame(frame, name, print, sequence, campaign);
        if (!fluxes) FAIL(one_line(fluxes.error()));
        return std::move(*fluxes);
    }
    [[nodiscard]] night::NightMeasurement value(const std::vector<photometry::FrameFluxes>& frames) const {
        auto solved = night::solve_campaign(frames, sequence, campaign, {});
        REQUIRE(solved);
        REQUIRE(solved->solution.nights.size() == 1);
        return solved->solution.nights.front();
    }

    night::Campaign campaign;
    standard::Sequence sequence;
    std::vector<night::StackCandidate> candidates;

  private:
    test::TemporaryFolder folder_;
};

rehearsal::RehearsalOptions cloudy_turned_night(std::uint64_t seed) {
    rehearsal::RehearsalOptions options;
    options.seed = seed;
    options.nights = 1;
    options.frames = 8;
    options.width_px = 420;
    options.height_px = 360;
    options.field.drift_px = 12.0;
    return options;
}

}  // namespace

TEST_CASE("a stack's header is read back to its own gain, noise, exposure and middle", "[night][stack]") {
    const RehearsedNight night(cloudy_turned_night(3));
    const auto stack = night::stack_night(night.candidates, night.sequence, night.campaign);
    REQUIRE(stack);
    REQUIRE(stack->used.size() + stack->left_out.size() == 8);
    REQUIRE(stack->used.size() >= 6);
    const frame::Frame read = night.reopened(*stack);
    const frame::FrameFacts& facts = read.facts();
    CHECK(facts.gain_e_per_adu->value == Approx(stack->gain_e_per_adu).epsilon(1e-12));
    CHECK(facts.read_noise_e->value == Approx(stack->read_noise_e).epsilon(1e-12));
    CHECK(facts.exposure_s->value == Approx(60.0 * static_cast<double>(stack->used.size())).epsilon(1e-12));
    // Written to the microsecond.
    CHECK(std::abs(sky::seconds_between(facts.mid_exposure->value, stack->mid_exposure)) < 2e-6);
    CHECK(facts.band->value == stack->band);
    REQUIRE(facts.stack_of.size() == stack->used.size());
    double weight = 0.0;
    for (std::size_t i = 0; i < stack->used.size(); ++i) {
        CHECK(facts.stack_of[i] == stack->used[i].fingerprint);
        weight += stack->used[i].weight;
    }
    CHECK(weight == Approx(1.0).epsilon(1e-12));
    const auto fluxes = night.measured(read, "stack", "print");
    CHECK(fluxes.gain_e_per_adu == Approx(stack->gain_e_per_adu).epsilon(1e-12));
    CHECK(fluxes.caveats.has(Caveat::measured_on_stack));
    CHECK_FALSE(fluxes.caveats.has(Caveat::gain_assumed));
}

// What went wrong: the gain in the stack's header is that of its pixels, from 0 to 1, and was brought to such
// pixels once more when the stack was measured: 65535 times too many electrons, so that it was refused as a
// picture that no longer counts light.
TEST_CASE("frames saved from 0 to 1 give a stack of the same gain as they, and it is read as it is written",
          "[night][stack]") {
    RehearsedNight night(cloudy_turned_night(3));
    const auto in_adu = night::stack_night(night.candidates, night.sequence, night.campaign);
    REQUIRE(in_adu);
    night.save_from_0_to_1();
    const auto stack = night::stack_night(night.candidates, night.sequence, night.campaign);
    REQUIRE(stack);
    REQUIRE(stack->used.size() == in_adu->used.size());
    // The same frames in another unit; weights by scatters, which float keeps to 1e-3.
    CHECK(stack->gain_e_per_adu == Approx(65535.0 * in_adu->gain_e_per_adu).epsilon(1e-2));
    const frame::Frame read = night.reopened(*stack);
    CHECK(read.facts().saturation_adu->value <= 1.0);
    const auto fluxes = night.measured(read, "stack", "print");
    CHECK(fluxes.gain_e_per_adu == Approx(stack->gain_e_per_adu).epsilon(1e-12));
}

TEST_CASE("the variance plane is what sums over a stack's empty sky scatter by", "[night][stack]") {
    auto options = cloudy_turned_night(4);
    options.host = false;
    const RehearsedNight night(options);
    const auto stack = night::stack_night(night.candidates, night.sequence, night.campaign);
    REQUIRE(stack);
    constexpr int side = 8;
    const auto at = [&](int x, int y) {
        return static_cast<std::size_t>(y) * static_cast<std::size_t>(stack->width_px) +
               static_cast<std::size_t>(x);
    };
    // Neighbouring squares' differences: slopes of the sky drop out, and stars are few.
    std::vector<double> pulls;
    for (int y = 40; y + side <= stack->height_px - 40; y += side) {
        for (int x = 40; x + 2 * side <= stack->width_px - 40; x += 2 * side) {
            double difference = 0.0, variance = 0.0;
            for (int v = y; v < y + side; ++v) {
                for (int u = x; u < x + side; ++u) {
                    difference += static_cast<double>(stack->adu[at(u, v)]) -
                                  static_cast<double>(stack->adu[at(u + side, v)]);
                    variance += static_cast<double>(stack->variance_adu2[at(u, v)]) +
                                static_cast<double>(stack->variance_adu2[at(u + side, v)]);
                }
            }
            pulls.push_back(difference / std::sqrt(variance));
        }
    }
    REQUIRE(pulls.size() > 500);
    const double scatter = numerics::mad_to_sigma * numerics::median_absolute_deviation(pulls, 0.0);
    CAPTURE(scatter);
    // Some 700 squares tell it to 4 per cent; resampling takes some 5 per cent at a square's edge, and faint
    // stars and their wings add as much.
    CHECK(scatter == Approx(1.0).margin(0.2));
}

TEST_CASE("the transient is as bright in a stack as in its frames", "[night][stack]") {
    for (const std::uint64_t seed : {5U, 6U}) {
        const RehearsedNight night(cloudy_turned_night(seed));
        const auto stack = night::stack_night(night.candidates, night.sequence, night.campaign);
        REQUIRE(stack);
        std::vector<photometry::FrameFluxes> single;
        for (const auto& one : night.candidates) {
            const bool used = std::any_of(stack->used.begin(), stack->used.end(),
                                          [&](const night::StackMember& m) { return m.path == one.path; });
            if (used) single.push_back(night.measured(one.frame, one.path, one.fingerprint));
        }
        const auto by_frames = night.value(single);
        const auto by_stack = night.value({night.measured(night.reopened(*stack), "stack", "print")});
        REQUIRE(by_frames.magnitude_mag);
        REQUIRE(by_stack.magnitude_mag);
        CAPTURE(seed, *by_frames.magnitude_mag, *by_stack.magnitude_mag, *by_frames.random_err_mag);
        // The same photons, weighted in another way: half of their own noise, and 2 mmag.
        CHECK(std::abs(*by_stack.magnitude_mag - *by_frames.magnitude_mag) <
              0.002 + 2.0 * *by_frames.random_err_mag);
        CHECK(*by_stack.random_err_mag == Approx(*by_frames.random_err_mag).epsilon(0.4));
        // Both together count once.
        auto both = single;
        both.push_back(night.measured(night.reopened(*stack), "stack", "print"));
        CHECK(night.value(both).n_frames == by_frames.n_frames);
    }
}

TEST_CASE("a stack needs two frames that are not copies of one", "[night][stack]") {
    const RehearsedNight night(cloudy_turned_night(3));
    const auto none = night::stack_night({}, night.sequence, night.campaign);
    REQUIRE_FALSE(none);
    const std::vector<night::StackCandidate> twice{night.candidates[1], night.candidates[1]};
    const auto one = night::stack_night(twice, night.sequence, night.campaign);
    REQUIRE_FALSE(one);
    CHECK(one.error().what.find("needs two") != std::string::npos);
    const std::atomic<bool> stop{true};
    const auto stopped = night::stack_night(night.candidates, night.sequence, night.campaign, {}, &stop);
    REQUIRE_FALSE(stopped);
    CHECK(stopped.error().kind == ProblemKind::interrupted);
}

TEST_CASE("the stack counts where single frames show too little, else the frames", "[night][stack]") {
    night::StackEvidence e;
    e.frames = 10;
    e.stacked = 10;
    e.frames_signal_to_noise = 50.0;
    e.stack_signal_to_noise = 52.0;
    e.frames_place_err_fwhm = 0.02;
    e.stack_place_err_fwhm = 0.01;
    CHECK_FALSE(night::choose(e, 3.0).stack);
    auto faint = e;
    faint.frames_signal_to_noise = 2.0;
    faint.stack_signal_to_noise = 4.0;
    CHECK(night::choose(faint, 3.0).stack);
    faint.stack_signal_to_noise = 1.5;  // not deeper
    CHECK_FALSE(night::choose(faint, 3.0).stack);
    auto astray = e;
    astray.frames_place_err_fwhm = 0.15;
    CHECK(night::choose(astray, 3.0).stack);
    auto unmeasured = e;
    unmeasured.stacked_unmeasured = 6;
    CHECK(night::choose(unmeasured, 3.0).stack);
    auto alone = e;
    alone.frames = 0;
    CHECK(night::choose(alone, 3.0).stack);
    for (const auto& one : {e, faint, astray, unmeasured, alone})
        CHECK(night::choose(one, 3.0).reason.ends_with('.'));
}

TEST_CASE("a stack that holds a frame set aside is not used", "[night][stack]") {
    photometry::FrameFluxes frame, stack;
    frame.frame = "a.fits";
    frame.fingerprint = "a";
    stack.frame = "stack.fits";
    stack.fingerprint = "s";
    stack.stack_of = {"a", "b"};
    const auto chosen = night::choose_stacks({&stack}, {{"a", "a.fits"}}, 3.0);
    REQUIRE(chosen.refusals.contains(&stack));
    CHECK(chosen.refusals.at(&stack).find("a.fits") != std::string::npos);
    CHECK(night::choose_stacks({&stack}, {}, 3.0).refusals.empty());
}

TEST_CASE("twenty-four rehearsed nights: stack and frames agree without bias", "[.long][night][stack]") {
    std::vector<double> differences, ratios, clipped;
    for (std::uint64_t seed = 101; seed < 125; ++seed) {
        const RehearsedNight night(cloudy_turned_night(seed));
        const auto stack = night::stack_night(night.candidates, night.sequence, night.campaign);
        if (!stack) {
            WARN(seed << ": " << one_line(stack.error()));
            continue;
        }
        std::vector<photometry::FrameFluxes> single;
        for (const auto& one : night.candidates) {
            if (std::any_of(stack->used.begin(), stack->used.end(),
                            [&](const night::StackMember& m) { return m.path == one.path; }))
                single.push_back(night.measured(one.frame, one.path, one.fingerprint));
        }
        const auto by_frames = night.value(single);
        const auto by_stack = night.value({night.measured(night.reopened(*stack), "stack", "print")});
        if (!by_frames.magnitude_mag || !by_stack.magnitude_mag) {
            WARN(seed << ": a limit");
            continue;
        }
        differences.push_back(*by_stack.magnitude_mag - *by_frames.magnitude_mag);
        ratios.push_back(*by_stack.random_err_mag / *by_frames.random_err_mag);
        clipped.push_back(static_cast<double>(stack->clipped_pixels));
    }
    REQUIRE(differences.size() >= 20);
    double mean = 0.0, square = 0.0;
    for (const double d : differences)
        mean += d / static_cast<double>(differences.size());
    for (const double d : differences)
        square += (d - mean) * (d - mean) / static_cast<double>(differences.size() - 1);
    WARN(fmt::format(
        "{} nights: stack − frames {:+.2f} ± {:.2f} mmag, scatter {:.2f} mmag; errors' ratio {:.3f}; "
        "clipped {:.0f}",
        differences.size(), 1e3 * mean, 1e3 * std::sqrt(square / static_cast<double>(differences.size())),
        1e3 * std::sqrt(square), numerics::median(ratios), numerics::median(clipped)));
    CHECK(std::abs(mean) < 0.002);
    CHECK(numerics::median(ratios) == Approx(1.0).margin(0.25));
}
