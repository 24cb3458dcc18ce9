// SPDX-License-Identifier: MIT
#include "lightcurve/shape_hint.hpp"

#include <catch2/catch.hpp>
#include <cmath>

using namespace emberline;
using namespace emberline::lightcurve;
using Catch::Matchers::Contains;
using Catch::Matchers::EndsWith;

namespace {

Figure figure(double value, double err) {
    return {value, err, value - err, value + err};
}

std::vector<std::string> consistent(const ShapeHints& hints) {
    std::vector<std::string> names;
    for (const ShapeHint& hint : hints.hints) {
        if (hint.consistent) names.push_back(hint.klass);
    }
    return names;
}

std::vector<std::string> consistent(const std::vector<ShapeEvidence>& bands) {
    return consistent(shape_hints(bands));
}

using Names = std::vector<std::string>;

}  // namespace

TEST_CASE("the figures of known supernovae go with their class", "[shape_hint]") {
    // SN 2011fe, B: Δm15 1.103 ± 0.035 (Pereira et al. 2013, from memory); rates measured on its published
    // points. A stripped envelope fades alike.
    const ShapeEvidence sn2011fe{.band = "B",
                                 .delta_m15 = figure(1.103, 0.035),
                                 .plateau_length_d = {},
                                 .drop_mag = {},
                                 .early_rate_mag_per_day = ValueWithError{0.088, 0.001},
                                 .tail_rate_mag_per_day = ValueWithError{0.0150, 0.0004},
                                 .fade_100d_mag = ValueWithError{3.75, 0.03}};
    CHECK(consistent({sn2011fe}) == Names{"type Ia", "stripped envelope (Ib, Ic)"});
    // SN 2012aw, V: plateau to day 110, the drop's middle near day 130; tail 0.9 mag in 100 d (Bose et al.
    // 2013, from memory).
    const ShapeEvidence sn2012aw{.band = "V",
                                 .delta_m15 = {},
                                 .plateau_length_d = ValueWithError{131.0, 2.0},
                                 .drop_mag = ValueWithError{1.9, 0.2},
                                 .early_rate_mag_per_day = ValueWithError{0.006, 0.001},
                                 .tail_rate_mag_per_day = ValueWithError{0.0090, 0.0008},
                                 .fade_100d_mag = ValueWithError{0.7, 0.05}};
    CHECK(consistent({sn2012aw}) == Names{"type II with a plateau"});
    // SN 1979C, B: straight at 0.04 mag/d (Barbon et al. 1982, from memory).
    const ShapeEvidence sn1979c{.band = "B",
                                .delta_m15 = {},
                                .plateau_length_d = {},
                                .drop_mag = {},
                                .early_rate_mag_per_day = ValueWithError{0.040, 0.002},
                                .tail_rate_mag_per_day = {},
                                .fade_100d_mag = ValueWithError{3.8, 0.1}};
    CHECK(consistent({sn1979c}) == Names{"type II, linear"});
}

TEST_CASE("between plateau and line a shape goes with the line", "[shape_hint]") {
    // SN 2013ej, called II-P, II-L and both; figures measured on its published points (Huang et al. 2015).
    // The fade in 100 d and the rate after day 60 hold the drop from the plateau.
    const ShapeEvidence b{.band = "B",
                          .delta_m15 = figure(0.71, 0.03),
                          .plateau_length_d = {},
                          .drop_mag = {},
                          .early_rate_mag_per_day = ValueWithError{0.0547, 0.0016},
                          .tail_rate_mag_per_day = ValueWithError{0.037, 0.003},
                          .fade_100d_mag = ValueWithError{5.5, 0.2}};
    const ShapeEvidence v{.band = "V",
                          .delta_m15 = figure(0.22, 0.04),
                          .plateau_length_d = {},
                          .drop_mag = {},
                          .early_rate_mag_per_day = ValueWithError{0.0277, 0.0027},
                          .tail_rate_mag_per_day = ValueWithError{0.040, 0.003},
                          .fade_100d_mag = {}};
    CHECK(consistent({b, v}) == Names{"type II, linear"});
}

TEST_CASE("every sum of hints carries its caution", "[shape_hint]") {
    const std::vector<std::vector<ShapeEvidence>> cases{
        {},
        {{.band = "V"}},
        {{.band = "B", .delta_m15 = figure(1.1, 0.03)}},
        {{.band = "V", .delta_m15 = figure(6.0, 0.03)}},
    };
    for (const auto& bands : cases)
        CHECK_THAT(shape_hints(bands).sentence,
                   EndsWith("Photometry alone does not classify a supernova: a spectrum does."));
    CHECK(shape_hints({}).hints.empty());
    CHECK_THAT(shape_hints({}).sentence, Contains("do not tell"));
    CHECK_THAT(shape_hints(cases[2]).sentence,
               Contains("The shape goes with type Ia as well as with stripped"));
}

TEST_CASE("a hint says what was compared with what, and whose range that is", "[shape_hint]") {
    const auto hints = shape_hints({{.band = "B", .delta_m15 = figure(1.12, 0.03)}});
    REQUIRE_FALSE(hints.hints.empty());
    CHECK(hints.hints[0].klass == "type Ia");
    CHECK(hints.hints[0].sentence ==
          "Type Ia: Δm15(B) 1.12 ± 0.03 lies within 0.8 to 2 (Phillips 1993, Phillips "
          "et al. 1999; from memory).");
}

TEST_CASE("two sigma decide: an error brings a figure into a range, or takes its voice away",
          "[shape_hint]") {
    const auto ia = [](double delta_m15, double err) {
        const auto hints = shape_hints({{.band = "B", .delta_m15 = figure(delta_m15, err)}});
        return hints.hints.at(0);
    };
    CHECK(ia(2.05, 0.03).consistent);  // 2.05 − 2 · 0.03 is below 2
    CHECK_THAT(ia(2.05, 0.03).sentence, Contains("agrees within its error with"));
    CHECK_FALSE(ia(2.05, 0.02).consistent);
    CHECK_THAT(ia(2.05, 0.02).sentence, Contains("lies outside"));
    CHECK_FALSE(ia(1.2, 0.4).consistent);  // anything would do
    CHECK_THAT(ia(1.2, 0.4).sentence, Contains("too uncertain"));
    CHECK(shape_hints({{.band = "B", .delta_m15 = figure(std::nan(""), 0.1)}}).hints.empty());
}

TEST_CASE("one figure against a class outweighs others for it", "[shape_hint]") {
    ShapeEvidence evidence{.band = "B", .delta_m15 = figure(1.1, 0.03)};
    CHECK(consistent({evidence}) == Names{"type Ia", "stripped envelope (Ib, Ic)"});
    evidence.plateau_length_d = ValueWithError{110.0, 3.0};
    CHECK(consistent({evidence}).empty());
}

TEST_CASE("a figure that no class has is unlike any of them", "[shape_hint]") {
    // Fading ten times as fast as anything usual.
    const auto hints = shape_hints(
        {{.band = "B", .delta_m15 = figure(6.0, 0.1), .early_rate_mag_per_day = ValueWithError{0.4, 0.01}}});
    CHECK(consistent(hints).empty());
    CHECK_THAT(hints.sentence, Contains("unlike any of the usual classes"));
}

TEST_CASE("bands on the scale of V are compared as V, Sloan bands are not", "[shape_hint]") {
    CHECK(consistent({{.band = "TG", .delta_m15 = figure(0.65, 0.03)}}) ==
          Names{"type Ia", "stripped envelope (Ib, Ic)"});
    CHECK_THAT(shape_hints({{.band = "TG", .delta_m15 = figure(0.65, 0.03)}}).hints.at(0).sentence,
               Contains("Δm15(TG)"));
    CHECK(consistent({{.band = "g", .delta_m15 = figure(0.65, 0.03)}}).empty());
}
