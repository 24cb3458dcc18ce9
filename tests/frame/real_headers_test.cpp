// SPDX-License-Identifier: MIT
// Headers that cameras and observatories wrote, from the folder of open data in $EMBERLINE_DATASETS. What is
// asserted was read off the headers themselves; the names of files and the heliocentric dates that other
// programs wrote are independent of ours.
#include <catch2/catch.hpp>
#include <cstdlib>
#include <filesystem>
#include <fstream>

#include "frame/frame.hpp"
#include "header_of.hpp"
#include "sky/barycentre.hpp"

using namespace emberline;
using test::middle_of;
using test::remarks_on;

namespace {

std::optional<std::string> datasets() {
    const char* folder = std::getenv("EMBERLINE_DATASETS");
    if (folder != nullptr && *folder != '\0') return std::string(folder);
    WARN("SKIPPED: EMBERLINE_DATASETS is not set, so the headers of real frames were not read.");
    return std::nullopt;
}

// A header as a text file, a card a line.
frame::FrameFacts facts_of_text(const std::string& path, int planes = 1) {
    std::ifstream file(path);
    REQUIRE(file);
    std::string raw;
    for (std::string line; std::getline(file, line);) {
        line.resize(80, ' ');
        raw += line;
    }
    frame::FrameFacts seed;
    seed.pixel_type = "uint16";
    seed.planes = planes;
    return frame::read_facts(frame::parse_header(raw), {}, seed);
}

frame::FrameFacts facts_of_frame(const std::string& path, const std::vector<frame::Instrument>& instruments) {
    const auto frames = frame::open_frames(path, instruments);
    INFO(path);
    if (!frames) FAIL(one_line(frames.error()));
    return frames->front().facts();
}

std::vector<std::string> files_in(const std::string& folder) {
    std::vector<std::string> out;
    for (const auto& entry : std::filesystem::directory_iterator(folder))
        out.push_back(entry.path().string());
    std::sort(out.begin(), out.end());
    return out;
}

}  // namespace

TEST_CASE("headers of seven cameras give their facts", "[real][facts]") {
    const auto root = datasets();
    if (!root) return;
    const std::string folder = *root + "/headers/real_camera_headers/";

    const auto mono = facts_of_text(folder + "camera1_mono.hdr.txt");
    CHECK(middle_of(mono) == "2018-07-04T14:05:33.000Z");
    CHECK(mono.exposure_s->value == 300.0);
    CHECK(mono.filter->value == "SII");
    CHECK_FALSE(mono.band);
    CHECK(mono.site->value.latitude.degrees() == Approx(-31.2733).margin(1e-4));
    CHECK(mono.site->value.longitude.degrees() == Approx(149.0644).margin(1e-4));
    CHECK(mono.site->value.elevation_m == 1165.0);
    CHECK(mono.aperture_mm->value == 392.0);
    CHECK(mono.header_airmass->value == Approx(1.0416).margin(1e-4));
    CHECK(mono.caveats.has(Caveat::gain_assumed));
    CHECK_FALSE(remarks_on(mono, "differ"));

    const auto grabbed = facts_of_text(folder + "camera2_mono_sip.hdr.txt");
    CHECK(middle_of(grabbed) == "2019-04-29T20:25:30.822Z");
    CHECK_FALSE(grabbed.filter);

    const auto colour = facts_of_text(folder + "camera3_osc_b.hdr.txt");
    CHECK(middle_of(colour) == "2018-09-17T21:06:46.000Z");
    CHECK(colour.gain_e_per_adu->value == 1.00224268436432);
    CHECK(colour.gain_e_per_adu->source == "EGAIN");
    CHECK(colour.stacked_exposures->source == "SNAPSHOT");
    // Its Julian date is that of the end, which is no contradiction.
    CHECK_FALSE(remarks_on(colour, "differ"));

    const auto local = facts_of_text(folder + "camera4_osc_bayerpat_rggb.hdr.txt");
    CHECK(middle_of(local) == "2021-03-02T20:19:15.455Z");
    CHECK(local.gain_e_per_adu->source == "EGAIN");

    const auto seven_decimals = facts_of_text(folder + "camera5_osc_m57_tan.hdr.txt");
    CHECK(middle_of(seven_decimals) == "2020-05-30T00:23:04.097Z");
    CHECK(seven_decimals.gain_e_per_adu->value == Approx(3.99));
    CHECK(seven_decimals.site->value.longitude.degrees() == Approx(3.7167).margin(1e-4));

    const auto short_name = facts_of_text(folder + "camera6_osc_bayerpat_gbrg.hdr.txt");
    CHECK(middle_of(short_name) == "2023-06-10T21:38:26.942Z");
    CHECK(short_name.exposure_s->source == "EXP");
    CHECK(short_name.binning->value == 2);
    CHECK(short_name.gain_e_per_adu->source == "assumed");
    CHECK(remarks_on(short_name, "GAIN = 110"));

    const auto live = facts_of_text(folder + "camera7_osc_bayerpat_grbg_sip.hdr.txt", 3);
    CHECK(live.stacked_exposures->value == 187);
    CHECK(live.exposure_s->value == 1870.0);
    CHECK(live.exposure_s->source == "TOTALEXP");
    CHECK(live.caveats.has(Caveat::time_uncertain));
    CHECK(middle_of(live) == "2025-05-13T23:04:10.752Z");
    CHECK(remarks_on(live, "when the file was made"));
    CHECK(live.band->value.name() == "TR");
    CHECK(live.gain_e_per_adu->value == 187.0);
}

TEST_CASE("observatories' headers give their facts", "[real][facts]") {
    const auto root = datasets();
    if (!root) return;
    const auto ut = facts_of_frame(*root + "/headers/files/a8280271.fits", {});
    CHECK(middle_of(ut) == "2013-07-13T00:58:48.020Z");
    CHECK(ut.mid_exposure->source == "DATE-OBS + UT + half of EXPTIME");
    CHECK(ut.gain_e_per_adu->value == 1.9);
    CHECK(ut.gain_e_per_adu->source == "GAIN");
    CHECK(ut.read_noise_e->value == 5.0);
    CHECK_FALSE(remarks_on(ut, "differ"));

    const auto sip = facts_of_frame(*root + "/headers/files/sip-wcs.fit", {});
    CHECK(middle_of(sip) == "2011-09-01T02:10:05.000Z");
    CHECK(sip.band->value.name() == "B");
    CHECK(sip.site->value.longitude.degrees() == Approx(-96.4533).margin(1e-4));
    CHECK_FALSE(remarks_on(sip, "differ"));

    // 10:33:45 and 10:35:37.5.
    const auto clocks = facts_of_frame(*root + "/headers/files/fixed-1890.fits", {});
    CHECK(remarks_on(clocks, "DATE-OBS and MJD-OBS differ by 112 s"));

    // TAI, and a text for the exposure: 32 s behind in 2000.
    for (const char* name : {"reprojected_sdss_g.fits", "ngc6976_irg_cube.fits"}) {
        INFO(name);
        const auto tai = facts_of_frame(*root + "/headers/frames/" + name, {});
        CHECK(tai.exposure_s->value == 53.907456);
        CHECK(middle_of(tai) == "2000-09-27T02:50:39.964Z");
    }
    const auto cube = frame::open_frames(*root + "/headers/frames/ngc6976_irg_cube.fits", {});
    REQUIRE(cube);
    REQUIRE(cube->size() == 3);
    CHECK((*cube)[2].facts().band->value.name() == "TB");

    const auto mosaic = facts_of_frame(*root + "/mosaic/solved.fits.fz", {});
    CHECK(middle_of(mosaic) == "2016-09-09T08:15:34.200Z");
    CHECK(mosaic.site->value.longitude.degrees() == Approx(-155.58));
    CHECK_FALSE(facts_of_frame(*root + "/mosaic/noheader.fits", {}).mid_exposure);
    CHECK_FALSE(facts_of_frame(*root + "/mosaic/pole.fits", {}).site);
}

TEST_CASE("frames with a local DATE-OBS begin when their names say", "[real][time]") {
    const auto root = datasets();
    if (!root) return;
    frame::Instrument instrument;
    instrument.saturation_adu = 4095.0;
    instrument.bands = {{"Clear", "CV"}};
    std::size_t seen = 0;
    for (const std::string& path : files_in(*root + "/star_with_transit/frames")) {
        INFO(path);
        const auto facts = facts_of_frame(path, {instrument});
        // The name ends in YYMMDDhhmmss of the start, UTC.
        const std::string name = std::filesystem::path(path).filename().string();
        const std::string stamp = name.substr(name.find("1712"), 12);
        const auto start = sky::parse_instant("20" + stamp.substr(0, 2) + "-" + stamp.substr(2, 2) + "-" +
                                              stamp.substr(4, 2) + "T" + stamp.substr(6, 2) + ":" +
                                              stamp.substr(8, 2) + ":" + stamp.substr(10, 2));
        REQUIRE(start);
        REQUIRE(facts.mid_exposure);
        CHECK(facts.exposure_s->value == 60.0);
        // The name is cut to the second.
        CHECK(sky::seconds_between(*start, facts.mid_exposure->value) == Approx(30.5).margin(0.51));
        CHECK(facts.band->value.name() == "CV");
        CHECK(facts.saturation_adu->source == "campaign.toml, instrument.saturation");
        CHECK_FALSE(remarks_on(facts, "differ"));
        CHECK_FALSE(facts.caveats.has(Caveat::time_uncertain));
        ++seen;
    }
    CHECK(seen == 71);
}

TEST_CASE("the middles of a supernova's frames are those of another program", "[real][time]") {
    const auto root = datasets();
    if (!root) return;
    frame::Instrument instrument;
    instrument.gain_e_per_adu = 2.58;
    instrument.saturation_adu = 50000.0;
    std::size_t seen = 0;
    for (const std::string& path : files_in(*root + "/supernova_at_core/lights")) {
        INFO(path);
        const auto frames = frame::open_frames(path, {instrument});
        REQUIRE(frames);
        const frame::FrameFacts& facts = frames->front().facts();
        const frame::Header& header = frames->front().header();
        CHECK(facts.gain_e_per_adu->value == Approx(2.58));
        CHECK(facts.gain_e_per_adu->source == "EGAIN");
        CHECK(facts.binning->value == 2);
        CHECK(facts.saturation_adu->value == 50000.0);
        CHECK(facts.exposure_s->value == (facts.band->value.name() == "B" ? 180.0 : 120.0));
        CHECK(facts.site->value.longitude.degrees() == Approx(-70.97));
        CHECK_FALSE(remarks_on(facts, "differ"));
        // JD-HELIO: "Heliocentric Julian Date at exposure midpoint". That program's target was not set: its
        // correction, 399.5 s falling by 5.2 s a day, is that of right ascension and declination zero and
        // not the 434.3 s of the place pointed at. Its dates show 0.04 ms.
        const SkyPosition unset{};
        const double hjd = sky::hjd_utc(facts.mid_exposure->value, unset, facts.site->value);
        CHECK(std::abs(hjd - *header.number("JD-HELIO")) * seconds_per_day < sky::light_time_accuracy_s);
        ++seen;
    }
    CHECK(seen == 15);
}
