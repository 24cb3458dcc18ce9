// SPDX-License-Identifier: MIT
// Names of keywords beyond the FITS standard: common practice, no source.
#include <catch2/catch.hpp>

#include "header_of.hpp"

using namespace emberline;
using test::facts_of;
using test::remarks_on;

namespace {
std::string band_of(const frame::FrameFacts& facts) {
    return facts.band ? facts.band->value.name() : "none";
}
frame::Instrument with_bands(std::map<std::string, std::string> bands) {
    frame::Instrument instrument;
    instrument.bands = std::move(bands);
    return instrument;
}
}  // namespace

TEST_CASE("a filter that the trade knows needs no campaign", "[filter]") {
    CHECK(band_of(facts_of({"FILTER  = 'V       '"})) == "V");
    CHECK(band_of(facts_of({"FILTER  = 'R'"})) == "Rc");
    CHECK(band_of(facts_of({"FILTER  = 'r'"})) == "r");
    CHECK(band_of(facts_of({"INSFILTE= 'B'"})) == "B");
    CHECK(band_of(facts_of({"FILTER1 = 'Clear'", "FILTER2 = 'V'"})) == "V");
    const auto unknown = facts_of({"FILTER  = 'IRCUT'"});
    CHECK(band_of(unknown) == "none");
    CHECK(unknown.filter->value == "IRCUT");
    CHECK_FALSE(facts_of({"FILTER  = ''"}).filter);
    CHECK(facts_of({"FILTER1 = 33", "FILTER2 = 0", "FILTNAM1= 'F673N'"}).filter->value == "F673N");
}

TEST_CASE("the campaign's name for a filter comes first, whatever its case, unless both are named",
          "[filter]") {
    const auto green = with_bands({{" Green ", "V"}, {"v", "B"}});
    CHECK(band_of(facts_of({"FILTER  = 'GREEN'"}, {green})) == "V");
    CHECK(facts_of({"FILTER  = 'GREEN'"}, {green}).band->source == "FILTER, campaign.toml, instrument.bands");
    CHECK(band_of(facts_of({"FILTER  = 'V'"}, {green})) == "B");
    const auto both = with_bands({{"R", "Rc"}, {"r", "r"}});
    CHECK(band_of(facts_of({"FILTER  = 'r'"}, {both})) == "r");
    CHECK(band_of(facts_of({"FILTER  = 'R'"}, {both})) == "Rc");
    CHECK(band_of(facts_of({"FILTER  = 'V'"}, {with_bands({{"V", "no band"}})})) == "V");
}

TEST_CASE("the planes of a colour cube are red, green and blue", "[filter]") {
    const auto plane = [](int n, const frame::Instrument& instrument) {
        frame::FrameFacts seed;
        seed.plane = n;
        seed.planes = 3;
        return facts_of({"FILTER  = 'V'"}, {instrument}, seed);
    };
    CHECK(band_of(plane(0, {})) == "TR");
    CHECK(band_of(plane(1, {})) == "TG");
    CHECK(band_of(plane(2, {})) == "TB");
    CHECK(plane(1, {}).band->source == "plane 2 of a colour cube");
    CHECK(band_of(plane(0, with_bands({{"Red", "Rc"}}))) == "Rc");
    CHECK(band_of(plane(1, with_bands({{"g plane", "V"}}))) == "V");
}

TEST_CASE("the instrument that asks for most and matches is the frame's", "[instrument]") {
    frame::Instrument any, small, small_binned;
    any.name = "any";
    small.name = "small";
    small.match = {{"TELESCOP", "Small one"}};
    small_binned.name = "small-binned";
    small_binned.match = {{"telescop", "small ONE"}, {"XBINNING", "2"}};
    const std::vector<frame::Instrument> all{any, small, small_binned};
    CHECK(facts_of({"TELESCOP= 'small one '"}, all).instrument == "small");
    CHECK(facts_of({"TELESCOP= 'small one '", "XBINNING= 2.0"}, all).instrument == "small-binned");
    CHECK(facts_of({"TELESCOP= 'other'"}, all).instrument == "any");
    const auto none = facts_of({"TELESCOP= 'other'"}, {small});
    CHECK(none.instrument == "main");
    CHECK(remarks_on(none, "matches this header"));
}

TEST_CASE("a site is read from every keyword that headers use", "[site]") {
    const auto site = [](std::initializer_list<std::string> lines) {
        const auto facts = facts_of(lines);
        REQUIRE(facts.site);
        return facts.site->value;
    };
    const auto text = site({"SITELAT = '-31 16 24'", "SITELONG= '149 03 52'", "ALT-OBS = 1165.0"});
    CHECK(text.latitude.degrees() == Approx(-31.2733).margin(1e-4));
    CHECK(text.longitude.degrees() == Approx(149.0644).margin(1e-4));
    CHECK(text.elevation_m == 1165.0);
    CHECK(site({"LAT-OBS = 19.54", "LONG-OBS= 204.42"}).longitude.degrees() == Approx(-155.58));
    CHECK(site({"LATITUDE= '+46:52:00.4'", "LONGITUD= '96:27:11.8' / [degrees west]"}).longitude.degrees() ==
          Approx(-96.4533).margin(1e-4));
    // WGS84: a = 6378137 m, f = 1/298.257223563; on the equator X is a and the height.
    const auto equator = site({"OBSGEO-X= 0.0", "OBSGEO-Y= -6380137.0", "OBSGEO-Z= 0.0"});
    CHECK(equator.longitude.degrees() == Approx(-90.0));
    CHECK(equator.latitude.degrees() == Approx(0.0).margin(1e-9));
    CHECK(equator.elevation_m == Approx(2000.0).margin(1e-3));
    for (auto lines : {std::vector<std::string>{"SITELAT = 0.0", "SITELONG= 0.0"},
                       {"SITELAT = 91.0", "SITELONG= 10.0"},
                       {"SITELAT = ''", "SITELONG= ''"},
                       {"SITELAT = 51.0", "OBJECT  = 'no longitude'"}}) {
        INFO(lines[0]);
        CHECK_FALSE(facts_of({lines[0], lines[1]}).site);
    }
    CHECK_FALSE(facts_of({"OBSGEO-X= 0.0", "OBSGEO-Y= 0.0", "OBSGEO-Z= 0.0"}).site);
    CHECK_FALSE(facts_of({"OBSGEO-X= 1E308", "OBSGEO-Y= 1E308", "OBSGEO-Z= 1E308"}).site);
}

TEST_CASE("names, airmass and aperture are taken as they stand", "[facts]") {
    const auto facts = facts_of({"OBJECT  = 'DEMO SN 1'", "OBSERVER= 'A. Observer'", "TELESCOP= 'telescope'",
                                 "INSTRUME= 'camera'", "AIRMASS = 1.04162552350E+000", "APTDIA  = 392.0"});
    CHECK(facts.object->value == "DEMO SN 1");
    CHECK(facts.observer->value == "A. Observer");
    CHECK(facts.telescope->value == "telescope");
    CHECK(facts.camera->value == "camera");
    CHECK(facts.header_airmass->value == Approx(1.0416255));
    CHECK(facts.aperture_mm->source == "APTDIA");
    CHECK_FALSE(facts_of({"AIRMASS = 0.0"}).header_airmass);
    frame::Instrument instrument;
    instrument.aperture_mm = 280.0;
    const auto filled = facts_of({"APTDIA  = 0.0"}, {instrument});
    CHECK(filled.aperture_mm->value == 280.0);
    CHECK(filled.aperture_mm->source == "campaign.toml, instrument.aperture_mm");
}

TEST_CASE("an empty header gives facts that say what is missing", "[facts]") {
    const auto facts = frame::read_facts({}, {}, {});
    CHECK_FALSE(facts.mid_exposure);
    CHECK_FALSE(facts.exposure_s);
    CHECK_FALSE(facts.band);
    CHECK_FALSE(facts.site);
    CHECK(facts.gain_e_per_adu->source == "assumed");
    CHECK(remarks_on(facts, "DATE-OBS is missing"));
    CHECK(remarks_on(facts, "EXPTIME is missing"));
}

TEST_CASE("no header makes the reader fail", "[facts]") {
    // Values that no one should write, under every keyword that is looked at. Seed 20240203.
    const std::vector<std::string> keywords = {
        "DATE-OBS", "DATE-BEG", "DATE-AVG", "DATE-END", "UT-OBS",   "UT",       "TIME-OBS", "MJD-OBS",
        "MJD-AVG",  "JD",       "TIMESYS",  "TIMEUNIT", "EXPTIME",  "EXPOSURE", "XPOSURE",  "NCOMBINE",
        "STACKCNT", "FILTER",   "FILTER1",  "GAIN",     "EGAIN",    "OFFSET",   "RDNOISE",  "SATURATE",
        "BZERO",    "BSCALE",   "XBINNING", "BINNING",  "SITELAT",  "SITELONG", "OBSGEO-X", "OBSGEO-Y",
        "OBSGEO-Z", "AIRMASS",  "APTDIA",   "OBJECT",   "TELESCOP", "COMBINE",  "UTDATE",   "DATE-UTC"};
    const std::vector<std::string> values = {"0",
                                             "-1",
                                             "1E308",
                                             "-1E308",
                                             "'nan'",
                                             "'inf'",
                                             "''",
                                             "'   '",
                                             "T",
                                             "'2024-02-03'",
                                             "'24:00:00'",
                                             "'T'",
                                             "'-'",
                                             "99999999999999999999",
                                             "'2024-02-03T23:59:60'",
                                             "'2016-12-31T23:59:60.9'",
                                             "'0000-00-00T00:00:00'",
                                             "'2*'",
                                             "'*2'",
                                             "'9999-12-31T23:59:59'",
                                             "'2024-02-03T21:04:05'",
                                             "60343.9",
                                             "2460344.4",
                                             "1E-308",
                                             "'///'",
                                             "':'",
                                             "'2024-02-03T21:04:05+14:00'",
                                             "'21:04:05'",
                                             "3",
                                             "'-00:00:00'"};
    std::uint32_t state = 20240203U;
    const auto next = [&](std::size_t n) {
        state = state * 1664525U + 1013904223U;
        return static_cast<std::size_t>(state >> 8U) % n;
    };
    for (int trial = 0; trial < 20000; ++trial) {
        std::vector<frame::Card> cards;
        for (int k = 0; k < 14; ++k) {
            const std::string value = values[next(values.size())];
            const bool quoted = value.front() == '\'';
            cards.push_back({keywords[next(keywords.size())],
                             quoted ? value.substr(1, value.size() - 2) : value, next(3) == 0 ? "LT" : "",
                             quoted});
        }
        const auto facts = frame::read_facts(frame::Header(cards, ""), {}, {});
        if (facts.exposure_s) REQUIRE(facts.exposure_s->value > 0.0);
        if (facts.mid_exposure) {
            const double mjd = facts.mid_exposure->value.mjd();
            REQUIRE((mjd > 36000.0 && mjd < 90000.0));
        }
        if (facts.gain_e_per_adu) REQUIRE(facts.gain_e_per_adu->value > 0.0);
        if (facts.read_noise_e) REQUIRE(facts.read_noise_e->value > 0.0);
        if (facts.site) REQUIRE(std::abs(facts.site->value.longitude.degrees()) <= 180.0);
    }
}
