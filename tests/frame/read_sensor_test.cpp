// SPDX-License-Identifier: MIT
// GAIN is e-/ADU at observatories and a setting in many other headers; EGAIN is preferred: common practice,
// no source. A stack's gain and read noise: sum g, mean N g, median 2/π N g; r √N.
#include <catch2/catch.hpp>
#include <cmath>

#include "header_of.hpp"

using namespace emberline;
using test::facts_of;
using test::remarks_on;

namespace {
frame::Instrument campaign_with_gain(double gain) {
    frame::Instrument instrument;
    instrument.gain_e_per_adu = gain;
    return instrument;
}
}  // namespace

TEST_CASE("EGAIN is believed before GAIN", "[gain]") {
    const auto facts =
        facts_of({"GAIN    =                  120 / The gain set", "EGAIN   = 1.00224268436432"});
    CHECK(facts.gain_e_per_adu->value == 1.00224268436432);
    CHECK(facts.gain_e_per_adu->source == "EGAIN");
    CHECK_FALSE(facts.caveats.has(Caveat::gain_assumed));
    const auto zero = facts_of({"EGAIN   = 0.0", "GAIN    = 1.9 / e-/ADU"});
    CHECK(zero.gain_e_per_adu->source == "GAIN");
    CHECK(remarks_on(zero, "EGAIN = 0 is no gain"));
}

TEST_CASE("GAIN counts where it reads like electrons per ADU", "[gain]") {
    for (const char* card :
         {"GAIN    = 1.9         / e-/ADU", "GAIN    = 2 / electrons per ADU", "GAIN    = 0.37"}) {
        INFO(card);
        const auto facts = facts_of({card});
        CHECK(facts.gain_e_per_adu->source == "GAIN");
        CHECK_FALSE(facts.caveats.has(Caveat::gain_assumed));
    }
}

TEST_CASE("a setting called GAIN is no gain", "[gain]") {
    for (const char* card :
         {"GAIN    =                  120 / Sensor gain", "GAIN    = 0", "GAIN    = 300",
          "GAIN    = 15.5 / camera gain setting", "GAIN    = 80 / Gain Value", "GAIN    = 110 / Sub Gain",
          "GAIN    = -1", "GAIN    = 26.1 / [dB]", "GAIN    = 45.5"}) {
        INFO(card);
        const auto facts = facts_of({card});
        CHECK(facts.gain_e_per_adu->value == 1.0);
        CHECK(facts.gain_e_per_adu->source == "assumed");
        CHECK(facts.caveats.has(Caveat::gain_assumed));
        CHECK(remarks_on(facts, "setting of the camera"));
        const auto filled = facts_of({card}, {campaign_with_gain(0.9)});
        CHECK(filled.gain_e_per_adu->value == 0.9);
        CHECK(filled.gain_e_per_adu->source == "campaign.toml, instrument.gain");
        CHECK_FALSE(filled.caveats.has(Caveat::gain_assumed));
    }
    CHECK(facts_of({"GAIN    = 4", "OFFSET  = 30"}).gain_e_per_adu->source == "assumed");
}

TEST_CASE("a doubtful GAIN yields to the campaign, a clear one does not", "[gain]") {
    CHECK(facts_of({"GAIN    = 2"}).gain_e_per_adu->value == 2.0);
    CHECK(facts_of({"GAIN    = 2"}).caveats.has(Caveat::gain_assumed));
    CHECK(facts_of({"GAIN    = 2"}, {campaign_with_gain(0.9)}).gain_e_per_adu->value == 0.9);
    const auto clear = facts_of({"GAIN    = 1.9 / e-/ADU"}, {campaign_with_gain(0.9)});
    CHECK(clear.gain_e_per_adu->value == 1.9);
    CHECK(remarks_on(clear, "though the campaign says 0.9"));
    frame::Instrument forced = campaign_with_gain(0.9);
    forced.override_header = true;
    CHECK(facts_of({"EGAIN   = 1.9"}, {forced}).gain_e_per_adu->value == 0.9);
}

TEST_CASE("read noise and saturation come from the header, the campaign, or a guess that is said",
          "[sensor]") {
    const auto header = facts_of({"RDNOISE = 5.0 / e-", "SATURATE= 4095"});
    CHECK(header.read_noise_e->value == 5.0);
    CHECK(header.read_noise_e->source == "RDNOISE");
    CHECK(header.saturation_adu->value == 4095.0);
    CHECK_FALSE(header.caveats.has(Caveat::read_noise_assumed));
    CHECK_FALSE(header.caveats.has(Caveat::saturation_assumed));
    CHECK(facts_of({"READNOIS= '7.5'"}).read_noise_e->value == 7.5);

    frame::Instrument instrument;
    instrument.read_noise_e = 6.0;
    instrument.saturation_adu = 50000.0;
    instrument.linear_to_adu = 40000.0;
    const auto filled = facts_of({"READNSE = 0.0", "SATURATE= 0"}, {instrument});
    CHECK(filled.read_noise_e->source == "campaign.toml, instrument.read_noise");
    CHECK(filled.saturation_adu->source == "campaign.toml, instrument.saturation");
    CHECK(filled.linear_to_adu->value == 40000.0);
    CHECK(facts_of({"RDNOISE = 5.0"}, {instrument}).read_noise_e->value == 5.0);
    instrument.override_header = true;
    CHECK(facts_of({"RDNOISE = 5.0"}, {instrument}).read_noise_e->value == 6.0);

    const auto guessed = facts_of({"BZERO   = 32768"});
    CHECK(guessed.saturation_adu->value == 65535.0);
    CHECK(guessed.caveats.has(Caveat::saturation_assumed));
    CHECK(guessed.caveats.has(Caveat::read_noise_assumed));
    CHECK(guessed.read_noise_e->source == "assumed");
    CHECK(facts_of({"BSCALE  = -1.0"}).saturation_adu->value == 65535.0);
    CHECK(facts_of({"BSCALE  = 0.0001"}).saturation_adu->value == Approx(3.2767));
    frame::FrameFacts eight_bits;
    eight_bits.pixel_type = "uint8";
    CHECK(facts_of({"BITPIX  = 8"}, {}, eight_bits).saturation_adu->value == 255.0);
}

TEST_CASE("a stack's gain and read noise are those of the stored pixels", "[stack]") {
    const auto stack = [](const char* how) {
        return facts_of({"EGAIN   = 0.5", "RDNOISE = 4.0", "NCOMBINE= 16", how});
    };
    const auto sum = stack("STACKMOD= 'sum'");
    CHECK(sum.gain_e_per_adu->value == 0.5);
    CHECK(sum.read_noise_e->value == Approx(16.0));
    const auto mean = stack("COMBINE = 'Average, sigma clipped'");
    CHECK(mean.gain_e_per_adu->value == 8.0);
    CHECK(mean.gain_e_per_adu->source == "EGAIN × 16 (mean of a stack)");
    CHECK_FALSE(mean.caveats.has(Caveat::gain_assumed));
    const auto median = stack("COMBINE = 'median'");
    // A median's variance is that of 0.69 times as many exposures: of photons as of read noise.
    CHECK(median.gain_e_per_adu->value == Approx(8.0 * 0.692).epsilon(0.01));
    CHECK(median.read_noise_e->value == Approx(16.0 * std::sqrt(0.692)).epsilon(0.01));
    const auto unsaid = stack("OBJECT  = 'DEMO SN 1'");
    CHECK(unsaid.gain_e_per_adu->value == 8.0);
    CHECK(unsaid.caveats.has(Caveat::gain_assumed));
    CHECK(remarks_on(unsaid, "does not say sum or mean"));
}

TEST_CASE("binning is read in each way that headers write it", "[sensor]") {
    for (const char* card : {"XBINNING= 2", "BINNING = '2*2     '", "BINNING = '2x2'", "CCDSUM  = '2 2'",
                             "XBINNING= '2'", "CCDXBIN = 2"}) {
        INFO(card);
        const auto facts = facts_of({card});
        REQUIRE(facts.binning);
        CHECK(facts.binning->value == 2);
    }
    for (const char* card : {"XBINNING= 0", "XBINNING= 1000", "BINNING = 'none'", "XBINNING= -2"})
        CHECK_FALSE(facts_of({card}).binning);
}
