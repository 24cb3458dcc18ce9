// SPDX-License-Identifier: MIT
// Keywords of stacks: common practice, no source. A median's variance from its order statistics, integrated
// here. The middle of several exposures: the mean of their middles, weighted by their lengths.
#include <fmt/format.h>

#include <catch2/catch.hpp>
#include <cmath>
#include <numbers>

#include "frame/read_stack.hpp"
#include "header_of.hpp"

using namespace emberline;
using frame::StackKind;
using test::facts_of;
using test::middle_of;
using test::remarks_on;

namespace {

// Of an odd sample of unit Gaussians: the middle order statistic has the density
// n!/(k!)² Φᵏ (1 − Φ)ᵏ φ, k = (n − 1)/2.
double median_variance(int n) {
    const int k = (n - 1) / 2;
    const double log_factor = std::lgamma(n + 1.0) - 2.0 * std::lgamma(k + 1.0);
    double sum = 0.0;
    const double step = 1e-3;
    for (double x = -8.0; x <= 8.0; x += step) {
        const double below = 0.5 * std::erfc(-x / std::numbers::sqrt2);
        const double above = 0.5 * std::erfc(x / std::numbers::sqrt2);
        const double density = std::exp(log_factor + k * std::log(below * above) - 0.5 * x * x) /
                               std::sqrt(2.0 * std::numbers::pi);
        sum += x * x * density * step;
    }
    return sum;
}

}  // namespace

TEST_CASE("a median counts as its order statistics say", "[stack]") {
    for (const int n : {3, 5, 7, 9, 15, 31, 101}) {
        INFO(n);
        CHECK(frame::median_efficiency(n) == Approx(1.0 / (n * median_variance(n))).epsilon(0.03));
    }
    CHECK(frame::median_efficiency(1) == 1.0);
    CHECK(frame::median_efficiency(2) == 1.0);
    CHECK(frame::median_efficiency(1e6) == Approx(2.0 / std::numbers::pi).epsilon(1e-5));
}

TEST_CASE("how many exposures, by each family of keywords", "[stack]") {
    for (const char* keyword : {"NCOMBINE", "STACKCNT", "NFRAMES", "SNAPSHOT", "NSTACK", "NSUBS", "NIMAGES",
                                "STACKED", "FRAMES", "NCOADDS"}) {
        INFO(keyword);
        const auto facts = facts_of({fmt::format("{:<8}= 20", keyword), "EXPTIME = 10"});
        CHECK(facts.stacked_exposures->value == 20);
        CHECK(facts.stacked_exposures->source == keyword);
    }
    // Flags and names under the same keywords are no counts.
    for (const char* card : {"STACKED =                    T", "FRAMES  = 'Light'", "NSTACK  = 0"})
        CHECK(facts_of({card, "EXPTIME = 10"}).stacked_exposures->source == "assumed");
    const auto ratio = facts_of({"TOTALEXP= 600.0", "EXPTIME = 10."});
    CHECK(ratio.stacked_exposures->value == 60);
    CHECK(ratio.stacked_exposures->source == "TOTALEXP over EXPTIME");
    CHECK(facts_of({"LIVETIME= 58.2", "EXPTIME = 60"}).stacked_exposures->value == 1);
}

TEST_CASE("how they were put together, by each habit", "[stack]") {
    struct Case {
        const char* card;
        StackKind kind;
    };
    const Case cases[] = {{"STACKMOD= 'mean'", StackKind::mean},
                          {"COMBINE = 'Average'", StackKind::mean},
                          {"STACKTYP= 'Winsorized Sigma Clipping'", StackKind::mean},
                          {"COMBTYPE= 'sum'", StackKind::sum},
                          {"STKMODE = 'Additive'", StackKind::sum},
                          {"STACKMTH= 'MEDIAN'", StackKind::median},
                          {"HISTORY 20 frames combined (median)", StackKind::median}};
    for (const Case& one : cases) {
        INFO(one.card);
        const auto facts = facts_of({"NCOMBINE= 20", "EXPTIME = 10", one.card});
        REQUIRE(facts.stack_kind);
        CHECK(facts.stack_kind->value == one.kind);
    }
    CHECK_FALSE(facts_of({"NCOMBINE= 20", "EXPTIME = 10"}).stack_kind);
    CHECK(facts_of({"NCOMBINE= 20 / frames averaged", "EXPTIME = 10"}).stack_kind->value == StackKind::mean);
    CHECK(facts_of({"COADDS  = 4", "EXPTIME = 10"}).stack_kind->value == StackKind::sum);
    CHECK(remarks_on(facts_of({"NCOMBINE= 20", "STACKMOD= 'maximum'"}), "is no measure"));
}

TEST_CASE("lines of history count where they speak of this picture's exposures", "[stack]") {
    const auto facts = facts_of({"EXPTIME = 10", "HISTORY stack of 20 frames, average, 3 rejected"});
    CHECK(facts.stacked_exposures->value == 20);
    CHECK(facts.stack_kind->value == StackKind::mean);
    CHECK(facts.dropped_exposures->value == 3);
    for (const char* line : {"HISTORY dark subtracted: master of 40 frames, median combined",
                             "HISTORY combined with the flat of 20 frames", "HISTORY stack of frames",
                             "HISTORY host template by a program, from 7 frames stacked"}) {
        INFO(line);
        CHECK(facts_of({"EXPTIME = 10", line}).stacked_exposures->source == "assumed");
    }
}

TEST_CASE("the campaign fills in what a header leaves out, and wins where it overrides", "[stack]") {
    frame::Instrument instrument;
    instrument.gain_e_per_adu = 0.5;
    instrument.offset_adu = 100.0;
    instrument.stacked = 20;
    instrument.stack = "sum";
    const auto silent = facts_of({"EXPTIME = 10"}, {instrument});
    CHECK(silent.stacked_exposures->value == 20);
    CHECK(silent.stacked_exposures->source == "campaign.toml, instrument.stacked");
    CHECK(silent.stack_kind->value == StackKind::sum);
    CHECK(silent.gain_e_per_adu->value == 0.5);
    CHECK(silent.exposure_s->value == 200.0);
    const auto said = facts_of({"EXPTIME = 10", "NCOMBINE= 10", "STACKMOD= 'mean'"}, {instrument});
    CHECK(said.stacked_exposures->value == 10);
    CHECK(said.gain_e_per_adu->value == 5.0);
    CHECK(remarks_on(said, "the campaign 20"));
    instrument.override_header = true;
    const auto won = facts_of({"EXPTIME = 10", "NCOMBINE= 10", "STACKMOD= 'mean'"}, {instrument});
    CHECK(won.stacked_exposures->value == 20);
    CHECK(won.stack_kind->value == StackKind::sum);
}

TEST_CASE("saturation of a mean is one exposure's, of a sum as many as the type holds", "[stack]") {
    frame::FrameFacts whole, real;
    whole.pixel_type = "uint16";
    real.pixel_type = "float32";
    const auto of = [](const char* how, const char* saturate, const frame::FrameFacts& seed) {
        return facts_of({"NCOMBINE= 10", how, saturate, "BZERO   = 32768", "EXPTIME = 10"}, {}, seed);
    };
    const char* mean = "STACKMOD= 'mean'";
    const char* sum = "STACKMOD= 'sum'";
    CHECK(of(mean, "SATURATE= 4000", whole).saturation_adu->value == 4000.0);
    CHECK(of(sum, "SATURATE= 4000", whole).saturation_adu->value == 40000.0);
    CHECK(of(sum, "SATURATE= 16000", whole).saturation_adu->value == 65535.0);
    CHECK(of(sum, "SATURATE= 16000", real).saturation_adu->value == 160000.0);
    // Below it some exposures were clipped where the star stood sharp on one pixel.
    CHECK(of(mean, "SATURATE= 4000", whole).linear_to_adu->value == 3000.0);
    CHECK(of(sum, "SATURATE= 16000", real).linear_to_adu->value == 120000.0);
    // No camera's: written for the sum.
    CHECK(of(sum, "SATURATE= 640000", real).saturation_adu->value == 640000.0);
}

TEST_CASE("the middle of a stack, by what its header tells", "[stack][time]") {
    const std::string begin = "DATE-OBS= '2024-02-03T21:00:00'";
    const auto stated = facts_of({begin, "DATE-END= '2024-02-03T21:10:00'", "DATE-AVG= '2024-02-03T21:04:00'",
                                  "EXPTIME = 10 / single", "NCOMBINE= 20"});
    CHECK(middle_of(stated) == "2024-02-03T21:04:00.000Z");
    CHECK_FALSE(stated.caveats.has(Caveat::time_uncertain));
    const auto gaps =
        facts_of({begin, "DATE-END= '2024-02-03T21:10:00'", "EXPTIME = 10 / single", "NCOMBINE= 20"});
    CHECK(middle_of(gaps) == "2024-02-03T21:05:00.000Z");
    CHECK(gaps.caveats.has(Caveat::time_uncertain));
    CHECK(remarks_on(gaps, "within 200 s"));
    const auto modified =
        facts_of({begin, "MJD-END =  60343.88194444444", "EXPTIME = 50 / single", "NCOMBINE= 10"});
    CHECK(middle_of(modified).substr(0, 19) == "2024-02-03T21:05:00");
    const auto elapsed = facts_of({begin, "TELAPSE = 240", "EXPTIME = 10 / single", "NCOMBINE= 20"});
    CHECK(middle_of(elapsed) == "2024-02-03T21:02:00.000Z");
    CHECK_FALSE(elapsed.caveats.has(Caveat::time_uncertain));
    const auto lost = facts_of({begin, "EXPTIME = 10 / single", "NCOMBINE= 20", "DROPPED = 10"});
    CHECK(middle_of(lost) == "2024-02-03T21:02:30.000Z");
    CHECK(lost.caveats.has(Caveat::time_uncertain));
    CHECK(remarks_on(lost, "by 50 s at most"));
}

TEST_CASE("one exposure or all of them: what makes exposures of an ordinary length", "[stack][time]") {
    CHECK(facts_of({"EXPTIME = 10", "NCOMBINE= 20"}).exposure_s->value == 200.0);
    CHECK(facts_of({"EXPTIME = 60", "NCOMBINE= 20"}).exposure_s->value == 1200.0);
    CHECK(facts_of({"EXPTIME = 600", "NCOMBINE= 60"}).exposure_s->value == 600.0);
    CHECK(facts_of({"EXPOINUS= 10000000", "NCOMBINE= 20"}).exposure_s->value == Approx(200.0));
}

TEST_CASE("a master's exposure is that of each of its frames", "[stack]") {
    const auto dark = facts_of({"IMAGETYP= 'Master Dark'", "NCOMBINE= 12", "EXPTIME = 60"});
    CHECK(dark.exposure_s->value == 60.0);
    const auto light = facts_of({"IMAGETYP= 'Light Frame'", "NCOMBINE= 12", "EXPTIME = 60"});
    CHECK(light.exposure_s->value == 720.0);
}
