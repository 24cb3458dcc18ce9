// SPDX-License-Identifier: MIT
#include "rehearsal/rehearse.hpp"

#include <catch2/catch.hpp>
#include <cmath>
#include <cstdlib>
#include <filesystem>
#include <fstream>
#include <functional>
#include <map>
#include <set>

#include "expected_table.hpp"
#include "frame/frame.hpp"
#include "night/campaign.hpp"
#include "rehearsal/plate.hpp"
#include "sky/barycentre.hpp"
#include "sky/horizon.hpp"
#include "sky/time_scales.hpp"
#include "standard/sequence.hpp"
#include "temporary_folder.hpp"

using namespace emberline;
using namespace emberline::rehearsal;
using test::number;
using test::text;

namespace {

namespace fs = std::filesystem;

using Scratch = test::TemporaryFolder;

RehearsalOptions small() {
    RehearsalOptions options;
    options.nights = 4;
    options.frames = 2;
    options.bands = {"B", "V"};
    options.width_px = 260;
    options.height_px = 240;
    return options;
}

std::map<std::string, std::string> files_in(const fs::path& folder) {
    std::map<std::string, std::string> files;
    for (const auto& entry : fs::recursive_directory_iterator(folder)) {
        if (!entry.is_regular_file()) continue;
        std::ifstream stream(entry.path(), std::ios::binary);
        files[fs::relative(entry.path(), folder).string()] = {std::istreambuf_iterator<char>(stream), {}};
    }
    return files;
}

DelimitedTable table_at(const std::string& path) {
    auto table = read_table(path);
    REQUIRE(table);
    return *table;
}

}  // namespace

TEST_CASE("truth.csv and the frames' headers tell the same times, places and facts", "[rehearse]") {
    const Scratch scratch;
    const RehearsalOptions options = small();
    std::size_t calls = 0;
    const auto summary = rehearse(scratch / "demo", options, [&](std::size_t done, std::size_t of) {
        CHECK(done == ++calls);
        CHECK(of == 16);
    });
    REQUIRE(summary);
    CHECK(summary->frames == 16);
    CHECK(calls == 16);
    CHECK(summary->decline_mag_per_day == 0.05);

    const auto campaign = invent_campaign(options);
    REQUIRE(campaign);
    const SkyPosition& place = campaign->sky.transient.position;
    const DelimitedTable truth = table_at(scratch / "demo/truth.csv");
    CHECK(truth.columns == std::vector<std::string>{"frame", "night", "band", "jd_utc_mid", "bjd_tdb",
                                                    "true_mag", "true_flux_e", "cloud_mag", "airmass"});
    REQUIRE(truth.rows.size() == 16);
    double earlier_jd = 0.0;
    for (std::size_t i = 0; i < truth.rows.size(); ++i) {
        const TableRow& row = truth.rows[i];
        const std::string name = text(truth, row, "frame");
        INFO(name);
        const auto frames = frame::open_frames((scratch / ("demo" + std::string("/") + name)), {});
        REQUIRE(frames);
        REQUIRE(frames->size() == 1);
        const frame::FrameFacts& facts = frames->front().facts();
        REQUIRE(facts.mid_exposure);
        // truth.csv has six decimals of a day, headers a millisecond.
        CHECK(facts.mid_exposure->value.jd() ==
              Approx(number(truth, row, "jd_utc_mid")).margin(1e-6).epsilon(0));
        CHECK(facts.band->value.name() == text(truth, row, "band"));
        CHECK(facts.exposure_s->value == 60.0);
        CHECK(facts.gain_e_per_adu->value == Approx(0.9));
        CHECK(facts.read_noise_e->value == Approx(6.0));
        CHECK(facts.site->value.longitude.degrees() == Approx(-1.2).margin(1e-3));
        CHECK(facts.width_px == 260);
        CHECK(facts.height_px == 240);

        const Instant middle = facts.mid_exposure->value;
        CHECK(number(truth, row, "bjd_tdb") ==
              Approx(sky::bjd_tdb(middle, place, campaign->site)).margin(1e-6).epsilon(0));
        CHECK(text(truth, row, "night") == sky::night_of(middle, -1.2));
        const double airmass = number(truth, row, "airmass");
        CHECK(airmass == Approx(*sky::airmass(middle, place, campaign->site)).margin(1e-4));
        CHECK(airmass < 2.2);
        CHECK(sky::horizontal(middle, sky::sun(middle), campaign->site).altitude.degrees() < -12.0);
        const double days = number(truth, row, "bjd_tdb") - campaign->sky.transient.peak_bjd_tdb;
        const double first_mag = text(truth, row, "band") == "B" ? 13.5 : 13.0;
        CHECK(number(truth, row, "true_mag") == Approx(first_mag + 0.05 * days).margin(2e-5));
        CHECK(number(truth, row, "jd_utc_mid") > earlier_jd);
        earlier_jd = number(truth, row, "jd_utc_mid");

        const auto& wcs = frames->front().wcs();
        REQUIRE(wcs);
        const auto said = wcs->pixel(place);
        REQUIRE(said);
        const auto meant = Plate(campaign->instrument, campaign->frames[i].pointing).by_header(place);
        CHECK(said->x == Approx(meant.x).margin(1e-4));
        CHECK(said->y == Approx(meant.y).margin(1e-4));
        const bool second_half = i % 4 >= 2;
        CHECK(std::cos(wcs->position_angle_of_y().radians()) * (second_half ? -1.0 : 1.0) > 0.99);
    }
}

TEST_CASE("the campaign and the sequence of a rehearsal are read as an observer's own", "[rehearse]") {
    const Scratch scratch;
    RehearsalOptions options = small();
    options.nights = 1;
    REQUIRE(rehearse(scratch / "demo", options));
    const auto campaign = night::read_campaign(scratch / "demo");
    if (!campaign) FAIL(one_line(campaign.error()));
    CHECK(campaign->name == "DEMO SN 1");
    CHECK(sexagesimal_hours(campaign->position.ra, 2) == "13:25:21.12");
    CHECK(sexagesimal_degrees(campaign->position.dec, 1) == "+37:16:12.0");
    REQUIRE(campaign->nucleus);
    CHECK(separation(*campaign->nucleus, campaign->position).arcseconds() == Approx(16.0).margin(0.01));
    CHECK(campaign->site->latitude.degrees() == Approx(51.1));
    CHECK(campaign->site->longitude.degrees() == Approx(-1.2));
    CHECK(campaign->site->elevation_m == Approx(95.0));
    CHECK(campaign->observer_code == "XYZ");
    CHECK(campaign->colours.at("B-V") == Approx(0.5));
    CHECK(campaign->remarks.empty());

    const auto sequence = standard::read_sequence(scratch / "demo/comparison.csv");
    REQUIRE(sequence);
    CHECK(sequence->stars.size() == 11);
    CHECK(sequence->remarks.empty());
    int checks = 0;
    for (const auto& star : sequence->stars)
        checks += star.role == standard::Role::check ? 1 : 0;
    CHECK(checks == 1);
    const DelimitedTable truth = table_at(scratch / "demo/truth_stars.csv");
    CHECK(truth.rows.size() == 22);
    for (const TableRow& row : truth.rows) {
        const auto* star = sequence->find(text(truth, row, "label"));
        REQUIRE(star != nullptr);
        const auto magnitude = star->magnitude(*parse_band(text(truth, row, "band")));
        REQUIRE(magnitude);
        CHECK(magnitude->value == Approx(number(truth, row, "catalogue_mag")).margin(1e-9));
        CHECK(magnitude->err == Approx(number(truth, row, "catalogue_err")).margin(1e-9));
        CHECK(std::abs(magnitude->value - number(truth, row, "true_mag")) < 5.0 * magnitude->err);
    }

    options.host = false;
    options.transient_colour_known = false;
    REQUIRE(rehearse(scratch / "plain", options));
    const auto plain = night::read_campaign(scratch / "plain");
    REQUIRE(plain);
    CHECK_FALSE(plain->nucleus);
    CHECK(plain->colours.empty());
}

TEST_CASE("one seed gives the same bytes, another seed other ones", "[rehearse]") {
    const Scratch scratch;
    RehearsalOptions options = small();
    options.nights = 2;
    REQUIRE(rehearse(scratch / "one", options));
    REQUIRE(rehearse(scratch / "two", options));
    const auto one = files_in(scratch / "one");
    CHECK(one.size() == 13);
    CHECK(one == files_in(scratch / "two"));
    options.seed += 1;
    REQUIRE(rehearse(scratch / "other", options));
    const auto other = files_in(scratch / "other");
    CHECK(other.at("comparison.csv") != one.at("comparison.csv"));
    CHECK(other.at("truth.csv") != one.at("truth.csv"));
}

TEST_CASE("a rehearsal never writes into a folder that holds anything", "[rehearse]") {
    const Scratch scratch;
    RehearsalOptions options = small();
    options.nights = 1;
    fs::create_directory(scratch / "empty");
    CHECK(rehearse(scratch / "empty", options));
    const auto again = rehearse(scratch / "empty", options);
    REQUIRE_FALSE(again);
    CHECK(again.error().kind == ProblemKind::request);
    CHECK(again.error().what == "The folder is not empty.");

    std::ofstream(scratch / "file") << "mine";
    const auto on_file = rehearse(scratch / "file", options);
    REQUIRE_FALSE(on_file);
    CHECK(on_file.error().kind == ProblemKind::request);
    const auto under_file = rehearse(scratch / "file/demo", options);
    REQUIRE_FALSE(under_file);
    CHECK(under_file.error().kind == ProblemKind::storage);
    CHECK(files_in(scratch.path()).at("file") == "mine");
}

TEST_CASE("options that make no campaign are refused before anything is written", "[rehearse]") {
    const Scratch scratch;
    const auto refused = [&](const std::function<void(RehearsalOptions&)>& spoil) {
        RehearsalOptions options = small();
        spoil(options);
        const auto result = rehearse(scratch / "demo", options);
        return !result && result.error().kind == ProblemKind::request && !result.error().mend.empty() &&
               !fs::exists(scratch / "demo");
    };
    CHECK(refused([](auto& o) { o.nights = 0; }));
    CHECK(refused([](auto& o) { o.frames = -1; }));
    CHECK(refused([](auto& o) { o.frames = 20000; }));
    CHECK(refused([](auto& o) { o.bands = {}; }));
    CHECK(refused([](auto& o) { o.bands = {"V", "V"}; }));
    CHECK(refused([](auto& o) { o.bands = {"purple"}; }));
    CHECK(refused([](auto& o) { o.exposure_s = 0.0; }));
    CHECK(refused([](auto& o) { o.exposure_s = std::nan(""); }));
    CHECK(refused([](auto& o) { o.width_px = 3; }));
    CHECK(refused([](auto& o) { o.night_spacing_days = 0.2; }));
    CHECK(refused([](auto& o) { o.fwhm_arcsec = -1.0; }));
    CHECK(refused([](auto& o) { o.pattern = "RGBX"; }));
    CHECK(refused([](auto& o) { o.debayered = true; }));
    CHECK(refused([](auto& o) { o.vignetting = 1.0; }));
    CHECK(refused([](auto& o) { o.dead_pixels = -1; }));
    CHECK(refused([](auto& o) { o.amp_glow_e_per_s = std::nan(""); }));
    CHECK(refused([](auto& o) { o.hot_pixels = -5; }));
    CHECK(refused([](auto& o) { o.calibration = CalibrationOptions{.bias = -1}; }));
    CHECK(refused([](auto& o) { o.stack = StackOptions{.exposures = 0}; }));
    CHECK(refused([](auto& o) { o.stack = StackOptions{.exposures = 900}; }));
    CHECK(refused([](auto& o) { o.processed_share = 0.5; }));
    CHECK_FALSE(rehearse("", small()));
}

TEST_CASE("long campaigns run into summer and still find the darkest and highest hours", "[rehearse]") {
    RehearsalOptions options = small();
    options.nights = 40;
    options.frames = 1;
    const auto campaign = invent_campaign(options);
    REQUIRE(campaign);
    std::set<std::string> nights;
    for (const PlannedFrame& frame : campaign->frames)
        nights.insert(frame.night);
    CHECK(nights.size() == 40);
    CHECK(*nights.begin() == "2024-03-14");
}

TEST_CASE("bands with no sequence of their own, and other systems, make campaigns too", "[rehearse]") {
    const Scratch scratch;
    for (const auto& bands : {std::vector<std::string>{"TG", "TB"}, {"g", "r", "i"}, {"Ic"}, {"CV"}}) {
        RehearsalOptions options = small();
        options.nights = 1;
        options.bands = bands;
        const std::string folder = scratch / bands.front().c_str();
        REQUIRE(rehearse(folder, options));
        const auto sequence = standard::read_sequence(folder + "/comparison.csv");
        const auto campaign = night::read_campaign(folder);
        REQUIRE(sequence);
        REQUIRE(campaign);
        for (const std::string& name : bands) {
            const Band band = *parse_band(name);
            const auto index = usual_colour(band);
            REQUIRE(index);
            INFO(name);
            CHECK(campaign->colours.contains(index->name()));
            for (const auto& star : sequence->stars) {
                CHECK(star.magnitude(sequence_band(band)));
                CHECK(star.colour(*index));
            }
        }
        // The transient is of its magnitude in the first band, and seen.
        const DelimitedTable truth = table_at(folder + "/truth.csv");
        CHECK(number(truth, truth.rows[0], "true_mag") == Approx(13.5).margin(0.1));
        CHECK(number(truth, truth.rows[0], "true_flux_e") > 1000.0);
    }
}

TEST_CASE("a colour camera's rehearsal: one file, three bands, and the truth of each", "[rehearse]") {
    const Scratch scratch;
    for (const bool top_down : {false, true}) {
        RehearsalOptions options = small();
        options.nights = 1;
        options.pattern = "GRBG";
        options.top_down = top_down;
        options.transient_colour_known = false;
        const std::string folder = scratch / (top_down ? "top" : "bottom");
        REQUIRE(rehearse(folder, options));
        const auto campaign = invent_campaign(options);
        const auto read = night::read_campaign(folder);
        REQUIRE(campaign);
        REQUIRE(read);
        CHECK(read->colours.empty());
        const DelimitedTable truth = table_at(folder + "/truth.csv");
        REQUIRE(truth.rows.size() == 6);
        std::map<std::string, double> mags;
        for (std::size_t i = 0; i < truth.rows.size(); ++i) {
            const TableRow& row = truth.rows[i];
            const std::string name = text(truth, row, "band");
            CHECK(name == std::vector<std::string>{"TR", "TG", "TB"}[i % 3]);
            CHECK(text(truth, row, "frame") == campaign->frames[i / 3].path);
            CHECK(number(truth, row, "true_flux_e") > 1000.0);
            mags[name] = number(truth, row, "true_mag");
        }
        // The transient's colours, B−V = 0.5 and V−Rc along the straight line in 1/wavelength.
        const Band red = *parse_band("Rc");
        CHECK(mags.at("TB") - mags.at("TG") == Approx(0.5).margin(2e-5));
        CHECK(mags.at("TG") - mags.at("TR") == Approx(-0.5 * colour_slope(red)).margin(2e-5));
        CHECK(mags.at("TG") == Approx(13.5).margin(0.1));
        const auto sequence = standard::read_sequence(folder + "/comparison.csv");
        REQUIRE(sequence);
        for (const char* name : {"B", "V", "Rc"})
            CHECK(sequence->stars.front().magnitude(*parse_band(name)));

        const auto frames = frame::open_frames(folder + "/" + campaign->frames[0].path, {});
        REQUIRE(frames);
        REQUIRE(frames->size() == 3);
        std::set<std::string> bands;
        const SkyPosition& place = campaign->sky.transient.position;
        const auto meant = Plate(campaign->instrument, campaign->frames[0].pointing).by_header(place);
        for (const auto& one : *frames) {
            bands.insert(one.facts().band->value.name());
            CHECK(one.facts().pattern->value == "GRBG");
            CHECK_FALSE(one.facts().filter);
            const auto said = one.wcs()->pixel(place);
            REQUIRE(said);
            const auto stored = one.facts().lattice->stored(*said);
            CHECK(stored.x == Approx(meant.x).margin(1e-4));
            CHECK(stored.y == Approx(meant.y).margin(1e-4));
        }
        CHECK(bands == std::set<std::string>{"TR", "TG", "TB"});
    }
    RehearsalOptions options = small();
    options.nights = 1;
    options.pattern = "RGGB";
    options.debayered = true;
    REQUIRE(rehearse(scratch / "cubes", options));
    const auto planes = frame::open_frames(scratch / "cubes/frames/2024-03-14/colour_001.fits", {});
    REQUIRE(planes);
    REQUIRE(planes->size() == 3);
    CHECK(planes->front().facts().planes == 3);
    CHECK_FALSE(planes->front().facts().pattern);
    CHECK_FALSE(planes->front().facts().lattice);
}

TEST_CASE("calibration exposures lie beside the frames, told apart by their headers", "[rehearse]") {
    const Scratch scratch;
    RehearsalOptions options = small();
    options.nights = 1;
    options.vignetting = 0.3;
    options.calibration = CalibrationOptions{.bias = 2, .dark = 3, .flat = 4, .flat_level = 0.5};
    REQUIRE(rehearse(scratch / "demo", options));
    std::map<std::string, int> kinds;
    for (const auto& [name, bytes] : files_in(scratch / "demo/calibration")) {
        INFO(name);
        const auto frames =
            frame::open_frames((scratch / ("demo/calibration" + std::string("/") + name)), {});
        REQUIRE(frames);
        const frame::FrameFacts& facts = frames->front().facts();
        REQUIRE(facts.kind);
        const std::string folder = fs::path(name).parent_path().string();
        ++kinds[folder];
        CHECK(facts.width_px == 260);
        if (folder == "bias") CHECK(facts.kind->value == frame::FrameKind::bias);
        if (folder == "dark") {
            CHECK(facts.kind->value == frame::FrameKind::dark);
            CHECK(facts.exposure_s->value == 60.0);
        }
        if (folder.starts_with("flat_")) {
            CHECK(facts.kind->value == frame::FrameKind::flat);
            CHECK("flat_" + facts.band->value.name() == folder);
        }
        CHECK(facts.temperature_c->value == -10.0);
        CHECK(facts.gain_setting->value == 120.0);
    }
    CHECK(kinds == std::map<std::string, int>{{"bias", 2}, {"dark", 3}, {"flat_B", 4}, {"flat_V", 4}});
    CHECK(night::read_campaign(scratch / "demo"));
}

TEST_CASE("stacks and processed pictures are written with the truth of what they are", "[rehearse]") {
    const Scratch scratch;
    RehearsalOptions options = small();
    options.nights = 2;
    options.bands = {"V"};
    options.exposure_s = 20.0;
    options.stack = StackOptions{};
    options.stack->exposures = 4;
    options.stack->between_s = 2.0;
    options.stack->whole_numbers = false;
    options.processed_share = 0.5;
    options.processing = Processing::eight_bits;
    REQUIRE(rehearse(scratch / "demo", options));
    const auto campaign = invent_campaign(options);
    REQUIRE(campaign);
    const DelimitedTable truth = table_at(scratch / "demo/truth.csv");
    const DelimitedTable processed = table_at(scratch / "demo/truth_processed.csv");
    CHECK(processed.rows.size() == 2);
    std::set<std::string> named;
    for (const TableRow& row : processed.rows) {
        CHECK(text(processed, row, "processing") == "eight-bits");
        named.insert(text(processed, row, "frame"));
    }
    REQUIRE(truth.rows.size() == 4);
    for (std::size_t i = 0; i < truth.rows.size(); ++i) {
        const TableRow& row = truth.rows[i];
        const std::string name = text(truth, row, "frame");
        INFO(name);
        // Four of 20 s, 2 s between them: 86 s from first to last.
        CHECK((number(truth, row, "jd_utc_mid") - campaign->frames[i].start_utc.jd()) * 86400.0 ==
              Approx(43.0).margin(0.1));
        const auto frames = frame::open_frames((scratch / ("demo" + std::string("/") + name)), {});
        REQUIRE(frames);
        CHECK(frames->front().facts().pixel_type == (named.contains(name) ? "uint8" : "float32"));
    }
}
