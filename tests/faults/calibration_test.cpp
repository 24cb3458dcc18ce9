// SPDX-License-Identifier: MIT
// Masters that are named and cannot serve; and flats that tell no gain.
#include <catch2/catch.hpp>
#include <cmath>

#include "program/frame_bytes.hpp"
#include "program/rehearsed.hpp"

using namespace emberline::testing;
namespace fs = std::filesystem;

namespace {

const Words with_exposures{"--nights",      "1", "--clear",      "--no-host", "--no-trails",
                           "--calibration", "3", "--vignetting", "0.3"};

// With masters built and named.
class Calibrated {
  public:
    explicit Calibrated(const Words& options = with_exposures) : campaign(options) {
        const Outcome built = campaign.run({"masters", "build", campaign.path("calibration")});
        INFO(built.out << built.err);
        REQUIRE(built.status == 0);
        for (const auto& entry : fs::directory_iterator(campaign.path("masters"))) {
            const std::string name = entry.path().filename().string();
            for (const std::string kind : {"bias", "dark", "flat", "defects"}) {
                if (name.starts_with(kind))
                    (kind == "bias" ? bias : kind == "dark" ? dark : kind == "flat" ? flat : defects) = name;
            }
        }
    }
    void name_masters(const std::string& lines) const {
        std::string text = contents(campaign.path("campaign.toml"));
        write_contents(campaign.path("campaign.toml"), text + "\n[masters]\n" + lines);
    }
    void name_all() const {
        name_masters("bias = \"masters/" + bias + "\"\ndark = \"masters/" + dark +
                     "\"\nflat = { V = \"masters/" + flat + "\" }\n");
    }
    [[nodiscard]] std::string master(const std::string& name) const {
        return campaign.path("masters/" + name);
    }

    Rehearsed campaign;
    std::string bias, dark, flat, defects;
};

std::string flags_of(const nlohmann::json& measured) {
    std::string flags;
    for (const auto& flag : measured["nights"][0]["flags"])
        flags += flag.get<std::string>() + " ";
    return flags;
}

std::string remarks_of(const nlohmann::json& measured) {
    std::string text;
    for (const auto& remark : measured["remarks"])
        text += remark.get<std::string>() + "\n";
    return text;
}

bool says(const std::string& text, const std::string& words) {
    return text.find(words) != std::string::npos;
}

}  // namespace

TEST_CASE("vignetting, dust and hot pixels come out of the magnitudes with the masters",
          "[faults][masters]") {
    const Calibrated c({"--nights", "1", "--clear", "--no-host", "--no-trails", "--calibration", "5",
                        "--vignetting", "0.6", "--dust-rings", "3", "--hot-pixels", "150"});
    const auto told = [&] { return c.campaign.run({"--json", "measure"}).json()["nights"][0]; };
    const auto raw = told();
    c.name_all();
    const auto calibrated = told();
    // What the rehearsal put there: truth.csv, column true_mag.
    const double truth = 13.529;
    const double before = std::abs(raw["mag"].get<double>() - truth);
    const double after = std::abs(calibrated["mag"].get<double>() - truth);
    INFO(before << " mag off without, " << after << " with");
    CHECK(before > 0.05);
    CHECK(after < 0.03);  // two frames, and a catalogue good to 0.012 mag
    CHECK(calibrated["mag_err"].get<double>() < 0.5 * raw["mag_err"].get<double>());
}

TEST_CASE("frames are measured with the masters, and again when these were made anew", "[faults][masters]") {
    const Calibrated c;
    c.name_all();
    const Outcome first = c.campaign.run({"--json", "measure"});
    INFO(first.out << first.err);
    CHECK(first.status == 0);
    CHECK_FALSE(says(flags_of(first.json()), "not-calibrated"));
    CHECK(first.json()["measured"] == 2);
    CHECK(c.campaign.run({"--json", "measure"}).json()["known"] == 2);
    // A dark of the same name and another content.
    write_contents(c.master(c.dark),
                   with_card(contents(c.master(c.dark)), "CCD-TEMP", "               -10.2"));
    const auto again = c.campaign.run({"--json", "measure"}).json();
    CHECK(again["superseding"] == 2);
    const auto inspected = c.campaign.run({"inspect", c.campaign.first_frame()});
    CHECK(says(inspected.out, "applied       dark "));
    CHECK(says(inspected.out, "applied       flat "));
}

TEST_CASE("a master that cannot be opened is said once, and the frames go on without", "[faults][masters]") {
    const Calibrated c;
    c.name_all();
    const std::string file = c.master(c.dark);
    const auto measured = [&](const std::string& why) {
        const Outcome outcome = c.campaign.run({"--json", "measure"});
        INFO(outcome.out << outcome.err);
        CHECK(outcome.status == 1);
        const auto json = outcome.json();
        REQUIRE(json["refused_masters"].size() == 1);
        CHECK(says(json["refused_masters"][0].get<std::string>(), why));
        CHECK(says(flags_of(json), "not-calibrated"));
        CHECK(json["refused"].empty());
    };
    const std::string whole = contents(file);
    write_contents(file, whole.substr(0, 20000));
    measured("cut short");
    write_contents(file, "SIMPLE? no");
    measured("not a FITS file");
    write_contents(file, with_card(whole, "IMAGETYP", "'Master Flat'       "));
    measured("says that it is a flat");
    fs::remove(file);
    measured("cannot be opened");
    const Outcome spoken = c.campaign.run({"measure"});
    CHECK(says(spoken.out, "The dark cannot be used"));
}

TEST_CASE("masters of another setting are passed over with the reason", "[faults][masters]") {
    const Calibrated c;
    c.name_masters("dark = \"masters/" + c.dark + "\"\n");
    const std::string whole = contents(c.master(c.dark));
    struct Case {
        const char* keyword;
        const char* value;
        const char* why;
    };
    const Case cases[] = {{"XBINNING", "                   2", "binned 2-fold"},
                          {"GAIN", "                 300", "its gain is set to 300"},
                          {"CCD-TEMP", "                12.0", "taken at 12.0 °C"},
                          {"EXPTIME", "               600.0", "exposed for 600 s"}};
    for (const Case& one : cases) {
        INFO(one.keyword);
        write_contents(c.master(c.dark), with_card(whole, one.keyword, one.value));
        const Outcome outcome = c.campaign.run({"--json", "measure"});
        INFO(outcome.out << outcome.err);
        CHECK(outcome.status == 0);  // nothing is broken; the flag tells
        CHECK(says(remarks_of(outcome.json()), one.why));
        CHECK(says(flags_of(outcome.json()), "not-calibrated"));
    }
}

TEST_CASE("settings of masters are read strictly", "[faults][masters]") {
    const Rehearsed campaign;
    const std::string whole = contents(campaign.path("campaign.toml"));
    const auto refused = [&](const std::string& lines, const std::string& why) {
        write_contents(campaign.path("campaign.toml"), whole + "\n[masters]\n" + lines + "\n");
        const Outcome outcome = campaign.run({"measure"});
        CHECK(outcome.status == 2);
        CHECK(says(outcome.problem(), why));
    };
    refused("darks = \"d.fits\"", "Did you mean 'dark'?");
    refused("dark = 3", "This must be text.");
    refused("flat = { Vee = \"f.fits\" }", "'Vee' is not a band.");
}

TEST_CASE("gain and read noise are told, or it is said why not", "[faults][masters]") {
    const Rehearsed campaign(with_exposures);
    const Outcome told = campaign.run({"--json", "masters", "gain", campaign.path("calibration")});
    INFO(told.out << told.err);
    CHECK(told.status == 0);
    const auto json = told.json();
    // The invented camera: 0.9 e-/ADU and 6 e-; errors of 0.4 % with a pair of 300 × 300 pixels.
    CHECK(json["gain_e_per_adu"]["value"].get<double>() == Approx(0.9).epsilon(0.015));
    CHECK(json["read_noise_e"]["value"].get<double>() == Approx(6.0).epsilon(0.02));
    CHECK(says(json["settings"].get<std::string>(), "[instrument]\ngain = 0.9"));

    std::vector<std::string> flats;
    for (const auto& entry : fs::directory_iterator(campaign.path("calibration/flat_V")))
        flats.push_back(entry.path().string());
    const std::string biases = campaign.path("calibration/bias");
    const auto refused = [&](const Words& places, const std::string& why) {
        Words words{"masters", "gain"};
        words.insert(words.end(), places.begin(), places.end());
        const Outcome outcome = campaign.run(words);
        INFO(outcome.out << outcome.err);
        CHECK(outcome.status == 3);
        CHECK(says(outcome.problem(), why));
    };
    refused({flats[0], biases}, "no pair of flats");
    refused({flats[0], flats[1]}, "no pair of biases");
    refused({campaign.path("frames")}, "2 pictures of the sky were passed over");
    write_contents(flats[0], contents(flats[0]).substr(0, 30000));
    refused({flats[0], flats[1], biases}, "cut short");
    CHECK(campaign.run({"masters", "gain"}).status == 2);
    CHECK(campaign.run({"masters", "gain", campaign.path("nowhere")}).status != 0);
}
