// SPDX-License-Identifier: MIT
#include "night/campaign.hpp"

#include <catch2/catch.hpp>

using namespace emberline;

namespace {

constexpr const char* whole = R"([transient]
name = "DEMO SN 1"
ra  = "13:25:21.12"
dec = "+37:16:12.0"
nucleus_ra = 201.3417
nucleus_dec = 37.2681
discovered = 2024-02-03
exploded = 2024-01-30
distance_mpc = 10.0
colour = { "B-V" = 0.6 }

[site]
latitude = 51.1
longitude = -1.2
elevation = 95.0

[instrument]
aperture_mm = 280.0
gain = 0.9
bands = { "Green" = "V" }

[comparison]
check = "126"

[measure]
aperture_arcsec = 6.0
)";

constexpr const char* least = "[transient]\nname = \"A\"\nra = 10.0\ndec = -5.0\n";

}  // namespace

TEST_CASE("the example campaign is read as it stands", "[campaign]") {
    const auto campaign = night::parse_campaign(whole, "demo");
    REQUIRE(campaign);
    // 13h25m21.12s = 15 (13 + 25/60 + 21.12/3600) = 201.338 degrees; arithmetic.
    CHECK(campaign->position.ra.degrees() == Approx(201.338).epsilon(0).margin(1e-12));
    CHECK(campaign->position.dec.degrees() == Approx(37.27).epsilon(0).margin(1e-12));
    CHECK(campaign->discovered == "2024-02-03");
    CHECK(campaign->exploded == "2024-01-30");
    CHECK(campaign->colours.at("B-V") == 0.6);
    CHECK(campaign->site->longitude.degrees() == Approx(-1.2));
    CHECK(campaign->instruments.at(0).bands.at("Green") == "V");
    CHECK(campaign->check_label == "126");
    CHECK(campaign->measure.aperture_arcsec == 6.0);
    // 25 + 5 log10(10 Mpc) = 30: the definition of the distance modulus.
    CHECK(campaign->distance_modulus->value == Approx(30.0));
}

TEST_CASE("a misspelt setting is refused by line, with the nearest word", "[campaign]") {
    const auto campaign =
        night::parse_campaign(std::string(least) + "[site]\nlatitud = 51.0\nlongitude = 1.0\n", "");
    REQUIRE_FALSE(campaign);
    CHECK(campaign.error().kind == ProblemKind::request);
    const auto second = night::parse_campaign(std::string(least) + "[measure]\naperture_arcsek = 5.0\n", "");
    REQUIRE_FALSE(second);
    CHECK(second.error().where.find("line 6") != std::string::npos);
    CHECK(second.error().mend == "Did you mean 'aperture_arcsec'?");
}

TEST_CASE("broken TOML is refused by line and column", "[campaign]") {
    const auto campaign = night::parse_campaign("[transient]\nname = \"A\nra = 1\n", "");
    REQUIRE_FALSE(campaign);
    CHECK(campaign.error().where.find("line 2") != std::string::npos);
    CHECK(campaign.error().where.find("column") != std::string::npos);
}

TEST_CASE("values of the wrong kind or out of range are refused where they stand", "[campaign]") {
    struct Case {
        const char* more;
        const char* what;
    };
    const Case cases[] = {
        {"[site]\nlatitude = 91.0\nlongitude = 0.0\n", "91 is no latitude."},
        {"[site]\nlatitude = \"51.1\\tN\"\nlongitude = 0.0\n",
         "The text holds a line end, a tab or the like."},
        {"[instrument]\ngain = \"high\"\n", "This must be a number."},
        {"[instrument]\noverride = 1\n", "This must be true or false."},
        {"[instrument]\nbands = { \"x\" = \"Q\" }\n", "'Q' is not a band."},
        {"[report]\nobstype = \"EYE\"\n", "'EYE' is not an observation type."},
        {"[measure]\nannulus_inner_arcsec = 5.0\n", "The annulus needs an inner and a larger outer radius."},
        {"[observer]\ncode = 7\n", "This must be text."},
        {"[masters]\ndark = 60\n", "This must be text."},
        {"[masters]\ndark = [\"a.fits\", 60]\n", "Every entry of the list must be text."},
        {"[masters]\nflat = { Q = \"q.fits\" }\n", "'Q' is not a band."},
        {"[masters]\nbias = \"\"\n", "A file has no name."},
        // "\\b" and "\\t" of another system's paths are characters that no file's name has (TOML 1.0,
        // "String").
        {"[masters]\ndark = [\"masters\\bias.fits\"]\n", "The text holds a line end, a tab or the like."},
        {"[host]\ntemplate = { V = \"deep\\template.fits\" }\n",
         "The text holds a line end, a tab or the like."},
        // It was cut to 2 in silence.
        {"[measure]\nleast_comparison_stars = 2.5\n", "2.5 is no number of stars."},
    };
    for (const Case& c : cases) {
        const auto campaign = night::parse_campaign(std::string(least) + c.more, "");
        INFO(c.more);
        REQUIRE_FALSE(campaign);
        CHECK(campaign.error().what == c.what);
        CHECK(campaign.error().where.find("line ") != std::string::npos);
    }
}

TEST_CASE("masters are one file or a list of them, flats of one band or of all", "[campaign]") {
    const auto campaign =
        night::parse_campaign(std::string(least) +
                                  "[masters]\n"
                                  "bias = \"masters/bias.fits\"\n"
                                  "dark = [\"masters/dark_60s.fits\", \"/dark_120s.fits\"]\n"
                                  "flat = { B = \"b.fits\", V = [\"v1.fits\", \"v2.fits\"] }\n"
                                  "defects = \"d.fits\"\n",
                              "demo");
    REQUIRE(campaign);
    CHECK(campaign->remarks.empty());
    CHECK(campaign->masters.bias == std::vector<std::string>{"masters/bias.fits"});
    CHECK(campaign->masters.flat.at("V") == std::vector<std::string>{"v1.fits", "v2.fits"});
    const frame::MasterPaths paths = campaign->master_paths();
    CHECK(paths.dark == std::vector<std::string>{"demo/masters/dark_60s.fits", "/dark_120s.fits"});
    CHECK(paths.flat.at("B") == std::vector<std::string>{"demo/b.fits"});
    CHECK(paths.defects == std::vector<std::string>{"demo/d.fits"});
    const auto one = night::parse_campaign(std::string(least) + "[masters]\nflat = \"f.fits\"\n", "");
    REQUIRE(one);
    CHECK(one->masters.flat.at("") == std::vector<std::string>{"f.fits"});
    const auto none = night::parse_campaign(std::string(least) + "[masters]\n", "");
    REQUIRE(none);
    CHECK(none->masters.empty());
}

TEST_CASE("several instruments are told apart by name, and loose settings beside them are refused",
          "[campaign]") {
    const std::string two =
        std::string(least) +
        "[instrument.wide]\nmatch = { TELESCOP = \"W\" }\n[instrument.long]\ngain = 2.0\n";
    const auto campaign = night::parse_campaign(two, "");
    REQUIRE(campaign);
    REQUIRE(campaign->instruments.size() == 2);
    CHECK_FALSE(
        night::parse_campaign(std::string(least) + "[instrument]\ngain = 1.0\n[instrument.wide]\n", ""));
}

TEST_CASE("a folder without a campaign says how to make one", "[campaign]") {
    const auto campaign = night::read_campaign("/nonexistent-folder");
    REQUIRE_FALSE(campaign);
    CHECK(campaign.error().mend.find("emberline new") != std::string::npos);
}
