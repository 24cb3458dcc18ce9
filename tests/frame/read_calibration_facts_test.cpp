// SPDX-License-Identifier: MIT
#include <catch2/catch.hpp>

#include "header_of.hpp"

using namespace emberline;
using namespace emberline::frame;

TEST_CASE("the kind of an exposure is told from its header", "[calibration]") {
    using test::facts_of;
    const auto kind = [](const std::string& line) { return facts_of({line}).kind; };
    CHECK(kind("IMAGETYP= 'Light Frame'")->value == FrameKind::light);
    CHECK(kind("IMAGETYP= 'Bias Frame'")->value == FrameKind::bias);
    CHECK(kind("OBSTYPE = 'zero    '")->value == FrameKind::bias);
    CHECK(kind("IMAGETYP= 'DARK    '")->value == FrameKind::dark);
    CHECK(kind("FRAME   = 'Flat Dark'")->value == FrameKind::flat_dark);
    CHECK(kind("IMAGETYP= 'DARKFLAT'")->value == FrameKind::flat_dark);
    CHECK(kind("IMAGETYP= 'Master Flat'")->value == FrameKind::flat);
    CHECK(kind("IMAGETYP= 'Flat Field'")->source == "IMAGETYP");
    // A number, and a system of coordinates, tell nothing.
    CHECK_FALSE(kind("FRAME   =                   47 / Frame sequence number within the run"));
    CHECK_FALSE(kind("FRAME   = 'FK5     '           / Target coordinate system"));
}

TEST_CASE("temperature, gain setting and offset are read where they mean something", "[calibration]") {
    using test::facts_of;
    const auto cooled = facts_of({"CCD-TEMP=  -19.0 / C", "SET-TEMP=  -20.0"});
    CHECK(cooled.temperature_c->value == -19.0);
    CHECK(facts_of({"SET-TEMP=  -20.0"}).temperature_c->source == "SET-TEMP");
    CHECK_FALSE(facts_of({"CCD-TEMP=  180.2 / kelvin"}).temperature_c);
    const auto setting = facts_of({"GAIN    =  120 / sensor gain", "EGAIN   =  0.8", "OFFSET  = 30"});
    CHECK(setting.gain_setting->value == 120.0);
    CHECK_FALSE(facts_of({"GAIN    =  2.3 / e-/ADU"}).gain_setting);
    // The sign of PEDESTAL varies between programs: common practice, no source.
    CHECK(facts_of({"PEDESTAL= -100"}).offset_adu->value == 100.0);
    CHECK(facts_of({"PEDESTAL= 100"}).offset_adu->value == 100.0);
    CHECK_FALSE(facts_of({"PEDESTAL= 0"}).offset_adu);
    CHECK(facts_of({"PEDESTAL= 0", "CALSTAT = 'BDF'"}).offset_adu->value == 0.0);
    Instrument stated;
    stated.offset_adu = 512.0;
    CHECK(facts_of({"PEDESTAL= 0"}, {stated}).offset_adu->value == 512.0);
    // What the campaign says is of the camera: once a bias or a dark is off, nothing is left of it.
    CHECK(facts_of({"CALSTAT = 'BD'"}, {stated}).offset_adu->value == 0.0);
}

TEST_CASE("what was done to a frame before is told letter by letter", "[calibration]") {
    using test::facts_of;
    CHECK(facts_of({"CALSTAT = 'BDF'"}).calibrated->value == "BDF");
    CHECK(facts_of({"CALSTAT = 'DF      '"}).calibrated->value == "DF");
    CHECK(facts_of({"HISTORY Dark Subtracted, master_dark.fit"}).calibrated->value == "D");
    CHECK(facts_of({"HISTORY Flat fielded with V.fit", "HISTORY bias subtracted"}).calibrated->value == "BF");
    CHECK(facts_of({"FLATCOR = 'Jun 12 10:30 Flat field image is Flat.imh'"}).calibrated->value == "F");
    CHECK(facts_of({"DARKCORR= 'COMPLETE'", "FLATCORR= 'OMIT    '"}).calibrated->value == "D");
    CHECK_FALSE(facts_of({"CALSTAT = '        '"}).calibrated);
    CHECK_FALSE(facts_of({"HISTORY not dark subtracted", "HISTORY plate solved"}).calibrated);
    CHECK_FALSE(facts_of({"COMMENT flat fielding is a good thing"}).calibrated);
}
