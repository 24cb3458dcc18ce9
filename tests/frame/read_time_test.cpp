// SPDX-License-Identifier: MIT
// Keywords of time: FITS standard 4.0, section 9 (recalled). How programs use them otherwise: common
// practice, no source.
#include <catch2/catch.hpp>

#include "header_of.hpp"

using namespace emberline;
using test::facts_of;
using test::middle_of;
using test::remarks_on;

TEST_CASE("the middle is the start and half of the exposure, across midnight and a leap day", "[time]") {
    const auto facts = facts_of({"DATE-OBS= '2024-02-29T23:59:45.500'", "EXPTIME =                   30"});
    CHECK(middle_of(facts) == "2024-03-01T00:00:00.500Z");
    CHECK(facts.mid_exposure->source == "DATE-OBS + half of EXPTIME");
    CHECK(facts.exposure_s->value == 30.0);
    CHECK(facts.exposure_s->source == "EXPTIME");
    CHECK(facts.stacked_exposures->value == 1);
    CHECK(facts.remarks.size() == 1);  // about the gain
}

TEST_CASE("a start is read in each way that headers write it", "[time]") {
    struct Case {
        std::string first, second;
    };
    const Case cases[] = {
        {"DATE-OBS= '2024-02-03T21:04:05'", ""},
        {"DATE-OBS= '2024-02-03T21:04:05.0000000'", ""},
        {"DATE-OBS= '2024-02-03T21:04:05Z'", ""},
        {"DATE-OBS= '2024-02-03T22:04:05+01:00'", ""},
        {"DATE-OBS= '2024-02-03T14:04:05.000-0700' / start, LT", ""},
        {"DATE-OBS= '2024-02-03 21:04:05'", ""},
        {"DATE-OBS= '2024-02-03'", "TIME-OBS= '21:04:05'"},
        {"DATE-OBS= '2024-02-03'", "UT      = '21:04:05.0'"},
        {"DATE-OBS= '2024-02-03'", "UTSTART = '21:04:05'"},
        {"DATE-OBS= '2024-02-03'", "UT-OBS  = '21:04:05'"},
        {"DATE-BEG= '2024-02-03T21:04:05'", "DATE    = '2024-02-05T00:00:00'"},
        {"MJD-OBS =  60343.878 / not used", "DATE-OBS= '2024-02-03T21:04:05'"},
        {"MJD-OBS =  60343.87783564815", ""},
        {"MJD-BEG =  6.034387783564815D+04", ""},
        {"JD      =  2460344.377835648 / Julian Date at start of exposure", ""},
        {"DATE-OBS= '2024-02-03T22:04:05' / local", "UT-OBS  = '2024-02-03T21:04:05-0000'"},
        {"DATE-OBS= '2024-02-04T10:04:05'", "UT      = '21:04:05' / a telescope at +13 h"},
        {"DATE-OBS= '2024-02-03T11:04:05'", "UTC     = '21:04:05' / a telescope at -10 h"},
        {"DATE-OBS= '2024-02-03T21:04:05' / local clock", "UT      = '21:04:05'"},
        {"DATE-OBS= '2024-02-03T21:04:42'", "TIMESYS = 'TAI'"},
        {"DATE-OBS= '2024-02-03T21:05:14.184'", "TIMESYS = 'TT'"},
        {"DATE-OBS= '2024-02-03T21:04:23'", "TIMESYS = 'GPS'"},
        {"DATE-OBS= '2024-02-03'", "UT      = '21:04:05'"},
        {"DATE-OBS= '2024-02-03T21:04:05'", "TIMESYS = 'UTC(NTP)'"},
    };
    for (const Case& one : cases) {
        INFO(one.first + " and " + one.second);
        const auto facts = one.second.empty() ? facts_of({one.first, "EXPTIME = 60"})
                                              : facts_of({one.first, one.second, "EXPTIME = 60"});
        REQUIRE(facts.mid_exposure);
        const auto expected = sky::parse_instant("2024-02-03T21:04:35");
        // A double Julian date resolves 0.04 ms.
        CHECK(std::abs(sky::seconds_between(*expected, facts.mid_exposure->value)) < 1e-3);
        CHECK_FALSE(facts.caveats.has(Caveat::time_uncertain));
        CHECK(facts.mid_exposure->value.scale == TimeScale::utc);
    }
}

TEST_CASE("the old form of a date is in the twentieth century", "[time]") {
    const auto facts = facts_of({"DATE-OBS= '19/05/94'", "TIME-OBS= '15:41:16'", "EXPTIME = 2.3E-01"});
    CHECK(middle_of(facts) == "1994-05-19T15:41:16.115Z");
    CHECK(facts.mid_exposure->source == "DATE-OBS + TIME-OBS + half of EXPTIME");
}

TEST_CASE("a middle that the header states wins", "[time]") {
    const auto average = facts_of({"DATE-OBS= '2024-02-03T21:00:00'", "DATE-AVG= '2024-02-03T21:07:00'",
                                   "EXPTIME = 600", "NCOMBINE= 5"});
    CHECK(middle_of(average) == "2024-02-03T21:07:00.000Z");
    CHECK(average.mid_exposure->source == "DATE-AVG");
    CHECK_FALSE(average.caveats.has(Caveat::time_uncertain));

    const auto comment = facts_of({"DATE-OBS= '2024-02-03T21:00:00' / mid-exposure", "EXPTIME = 600"});
    CHECK(middle_of(comment) == "2024-02-03T21:00:00.000Z");
    CHECK(comment.mid_exposure->source == "DATE-OBS (its comment says the middle)");

    const auto end = facts_of({"DATE-OBS= '2024-02-03T21:00:00' / UTC at end of exposure", "EXPTIME = 60"});
    CHECK(middle_of(end) == "2024-02-03T20:59:30.000Z");
    CHECK(end.mid_exposure->source == "DATE-OBS - half of EXPTIME");

    // Three decimals of a day are 86 s: the start, written to the second, tells more.
    const auto coarse = facts_of({"MJD-MID = 60343.878", "DATE-OBS= '2024-02-03T21:04:05'", "EXPTIME = 60"});
    CHECK(middle_of(coarse) == "2024-02-03T21:04:35.000Z");
    CHECK(middle_of(facts_of({"MJD-AVG = 60343.87783564815", "EXPTIME = 60"})) == "2024-02-03T21:04:05.000Z");
}

TEST_CASE("clocks that contradict each other are remarked", "[time]") {
    const auto facts =
        facts_of({"DATE-OBS= '2024-02-03T21:04:05'", "MJD-OBS = 60343.90000000", "EXPTIME = 60"});
    CHECK(middle_of(facts) == "2024-02-03T21:04:35.000Z");
    CHECK(remarks_on(facts, "DATE-OBS and MJD-OBS differ by 1915 s: DATE-OBS was taken."));
    // A Julian date that stands for the end is no contradiction; a day without its time is no clock.
    for (const char* other : {"JD      = 2460344.3785417", "MJD-OBS = 60343.0", "MJD-OBS = 60343"}) {
        INFO(other);
        const auto fine = facts_of({"DATE-OBS= '2024-02-03T21:04:05'", other, "EXPTIME = 60"});
        CHECK_FALSE(remarks_on(fine, "differ"));
    }
    const auto average =
        facts_of({"DATE-OBS= '2024-02-03T21:04:05'", "DATE-AVG= '2024-02-03T22:04:05'", "EXPTIME = 60"});
    CHECK(remarks_on(average, "DATE-AVG and DATE-OBS differ"));
}

TEST_CASE("what is no time is left out, and said", "[time]") {
    for (const char* date :
         {"DATE-OBS= '2024-13-03T21:04:05'", "DATE-OBS= '2023-02-29T21:04:05'",
          "DATE-OBS= '1928-07-23T21:03:27'", "DATE-OBS= '2124-07-23T21:03:27'",
          "DATE-OBS= '1970-01-01T00:00:12'", "DATE-OBS= '2024-02-03T25:04:05'", "DATE-OBS= 'yesterday'",
          "DATE-OBS= '2024-02-03T21:04:05' / local time", "MJD-OBS = 0.0000", "MJD-OBS = 2460344.3778",
          "MJD-OBS = -1E300", "DATE-OBS= ''", "DATE-OBS=", "DATE-OBS= 20240203"}) {
        INFO(date);
        const auto facts = facts_of({date, "EXPTIME = 60"});
        CHECK_FALSE(facts.mid_exposure);
        CHECK((remarks_on(facts, "is not used") || remarks_on(facts, "No keyword says when")));
    }
    CHECK(remarks_on(facts_of({"EXPTIME = 60"}), "DATE-OBS is missing"));
    CHECK(remarks_on(facts_of({"DATE-OBS= '2024-02-03T21:04:05'", "TIMESYS = 'LOCAL'", "EXPTIME = 60"}),
                     "local time"));
    // A bare date leaves the hour open.
    CHECK_FALSE(facts_of({"DATE-OBS= '2024-02-03'", "EXPTIME = 60"}).mid_exposure);
}

TEST_CASE("a time that survives another's fault is taken", "[time]") {
    const auto facts =
        facts_of({"DATE-OBS= '1970-01-01T00:00:00'", "MJD-OBS = 60343.87783564815", "EXPTIME = 60"});
    CHECK(middle_of(facts) == "2024-02-03T21:04:35.000Z");
    CHECK(remarks_on(facts, "DATE-OBS = '1970-01-01T00:00:00' is not used"));
}

TEST_CASE("an exposure is read in each way that headers write it", "[exposure]") {
    const auto seconds = [](const std::string& card) {
        const auto facts = facts_of({card});
        return facts.exposure_s ? facts.exposure_s->value : -1.0;
    };
    CHECK(seconds("EXPTIME = '53.907456'          / Exposure time (seconds)") == 53.907456);
    CHECK(seconds("EXPTIME = 060.00") == 60.0);
    CHECK(seconds("EXPOSURE=   3.00000000000E+002 / [sec] Duration of exposure") == 300.0);
    CHECK(seconds("EXPTIME =   3.0D+02") == 300.0);
    CHECK(seconds("EXP     =                  15. / [s] Sub Exposure Time") == 15.0);
    CHECK(seconds("EXPTIME = '30s'") == 30.0);
    CHECK(seconds("EXPTIME =  30000 / [ms] exposure") == Approx(30.0));
    CHECK(seconds("EXPTIME =  1.5 / exposure in minutes") == Approx(90.0));
    CHECK(seconds("XPOSURE =  60.5") == 60.5);
    CHECK(facts_of({"XPOSURE = 0.001", "TIMEUNIT= 'd'"}).exposure_s->value == Approx(86.4));
    for (const char* card : {"EXPTIME = 0", "EXPTIME = -5", "EXPTIME = 'NaN'", "EXPTIME = 1E9",
                             "EXPTIME = ''", "EXPTIME = 'long'", "OBJECT  = 'none'"}) {
        INFO(card);
        CHECK(seconds(card) == -1.0);
        CHECK(remarks_on(facts_of({card}), "EXPTIME"));
    }
    // The next keyword, and then the campaign, fill in.
    CHECK(facts_of({"EXPTIME = 0", "EXPOSURE= 20"}).exposure_s->source == "EXPOSURE");
    frame::Instrument instrument;
    instrument.exposure_s = 45.0;
    CHECK(facts_of({"EXPTIME = 0"}, {instrument}).exposure_s->source ==
          "campaign.toml, instrument.exposure_s");
    CHECK(facts_of({"EXPTIME = 20"}, {instrument}).exposure_s->value == 20.0);
    instrument.override_header = true;
    CHECK(facts_of({"EXPTIME = 20"}, {instrument}).exposure_s->value == 45.0);
    CHECK(
        remarks_on(facts_of({"EXPTIME = 20", "EXPOSURE= 40"}), "EXPTIME = 20 s and EXPOSURE = 40 s differ"));
}

TEST_CASE("without an exposure the start stands, and the time is uncertain", "[time]") {
    const auto facts = facts_of({"DATE-OBS= '2024-02-03T21:04:05'"});
    CHECK(middle_of(facts) == "2024-02-03T21:04:05.000Z");
    CHECK(facts.caveats.has(Caveat::time_uncertain));
    const auto between = facts_of({"DATE-BEG= '2024-02-03T21:04:00'", "DATE-END= '2024-02-03T21:05:00'"});
    CHECK(middle_of(between) == "2024-02-03T21:04:30.000Z");
}

TEST_CASE("the end of an exposure is used only where light is spread over the interval", "[time]") {
    // Reading out took two seconds.
    const auto plain =
        facts_of({"DATE-OBS= '2024-02-03T21:00:00'", "DATE-END= '2024-02-03T21:01:02'", "EXPTIME = 60"});
    CHECK(middle_of(plain) == "2024-02-03T21:00:30.000Z");
    CHECK_FALSE(plain.caveats.has(Caveat::time_uncertain));
    const auto unsaid =
        facts_of({"DATE-OBS= '2024-02-03T21:00:00'", "DATE-END= '2024-02-03T22:00:00'", "EXPTIME = 60"});
    CHECK(middle_of(unsaid) == "2024-02-03T21:30:00.000Z");
    CHECK(unsaid.caveats.has(Caveat::time_uncertain));
    CHECK(remarks_on(unsaid, "taken for a stack"));
    const auto backwards =
        facts_of({"DATE-OBS= '2024-02-03T21:00:00'", "DATE-END= '2024-02-03T20:00:00'", "EXPTIME = 60"});
    CHECK(middle_of(backwards) == "2024-02-03T21:00:30.000Z");
    CHECK(remarks_on(backwards, "DATE-END lies"));
}

TEST_CASE("a stack's exposures are summed and its middle is that of the whole interval", "[stack]") {
    const auto full = facts_of({"DATE-OBS= '2024-02-03T21:00:00'", "DATE-END= '2024-02-03T21:11:00'",
                                "EXPTIME = 60", "NCOMBINE= 10"});
    CHECK(full.stacked_exposures->value == 10);
    CHECK(full.stacked_exposures->source == "NCOMBINE");
    CHECK(full.exposure_s->value == 600.0);
    CHECK(full.exposure_s->source == "EXPTIME × NCOMBINE");
    CHECK(middle_of(full) == "2024-02-03T21:05:30.000Z");
    CHECK_FALSE(full.caveats.has(Caveat::time_uncertain));

    const auto gaps = facts_of({"DATE-OBS= '2024-02-03T21:00:00'", "DATE-END= '2024-02-03T22:00:00'",
                                "LIVETIME= 600", "EXPTIME = 60", "STACKCNT= 10"});
    CHECK(gaps.exposure_s->value == 600.0);
    CHECK(gaps.exposure_s->source == "LIVETIME");
    CHECK(middle_of(gaps) == "2024-02-03T21:30:00.000Z");
    CHECK(gaps.caveats.has(Caveat::time_uncertain));

    const auto endless =
        facts_of({"DATE-OBS= '2024-02-03T21:00:00'", "TOTALEXP= 600.", "EXPTIME = 10", "SNAPSHOT= 60"});
    CHECK(middle_of(endless) == "2024-02-03T21:05:00.000Z");
    CHECK(endless.caveats.has(Caveat::time_uncertain));

    CHECK(facts_of({"EXPTIME = 10", "EXPOSURE= 600", "NCOMBINE= 60"}).exposure_s->value == 600.0);
    CHECK(facts_of({"EXPTIME = 10 / [s] single exposure", "NFRAMES = 60"}).exposure_s->value == 600.0);
    const auto sum = facts_of({"EXPTIME = 600 / total exposure", "NCOMBINE= 60"});
    CHECK(sum.exposure_s->value == 600.0);
    CHECK(remarks_on(sum, "sum of 60 exposures"));
    for (const char* count :
         {"NCOMBINE= 0", "NCOMBINE= -3", "NCOMBINE= 2.5", "NCOMBINE= 1E12", "NCOMBINE= 'x'"})
        CHECK(facts_of({count, "EXPTIME = 10"}).stacked_exposures->value == 1);
}
