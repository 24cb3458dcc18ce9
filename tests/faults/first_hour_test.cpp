// SPDX-License-Identifier: MIT
// The mistakes of a newcomer's first hour with the files of a campaign: each gets words that would have saved
// it.
#include <catch2/catch.hpp>
#include <filesystem>
#include <functional>
#include <regex>

#include "program/frame_bytes.hpp"
#include "program/rehearsed.hpp"

using namespace emberline::testing;

namespace {

namespace fs = std::filesystem;
using Edit = std::function<void(const Rehearsed&)>;

struct Mistake {
    std::string name;
    Edit make;
    Words command;
    int status;
    Words words;  // all of them in the answer
};

void each_is_told(const std::vector<Mistake>& mistakes) {
    for (const Mistake& mistake : mistakes) {
        const Rehearsed campaign;
        mistake.make(campaign);
        const Outcome outcome = campaign.run(mistake.command);
        const std::string said = outcome.out + outcome.err;
        INFO(mistake.name << " -> " << outcome.status << "\n" << said);
        CHECK(outcome.status == mistake.status);
        for (const std::string& word : mistake.words) {
            INFO(word);
            CHECK(said.find(word) != std::string::npos);
        }
    }
}

Edit toml(const std::string& from, const std::string& to) {
    return [=](const Rehearsed& c) { replace_once(c.path("campaign.toml"), from, to); };
}

Edit table(const std::function<std::string(std::string)>& change) {
    return [=](const Rehearsed& c) {
        write_contents(c.path("comparison.csv"), change(contents(c.path("comparison.csv"))));
    };
}

Edit swapped(const std::string& from, const std::string& to) {
    return table([=](const std::string& text) { return std::regex_replace(text, std::regex(from), to); });
}

// Every right ascension and declination of the table through `change`.
Edit moved(const std::function<std::pair<double, double>(double, double)>& change) {
    return [=](const Rehearsed& c) {
        const auto lines = lines_of(contents(c.path("comparison.csv")));
        for (std::size_t row = 1; row < lines.size(); ++row) {
            const auto at = lines[row].find(',');
            std::size_t used = 0;
            const double ra = std::stod(lines[row].substr(at + 1), &used);
            const double dec = std::stod(lines[row].substr(at + 2 + used));
            const auto [new_ra, new_dec] = change(ra, dec);
            c.set_star(row, "ra", std::to_string(new_ra));
            c.set_star(row, "dec", std::to_string(new_dec));
        }
    };
}

Edit frames(const std::function<std::string(std::string)>& change) {
    return [=](const Rehearsed& c) {
        for (const auto& entry : fs::recursive_directory_iterator(c.path("frames"))) {
            if (entry.is_regular_file())
                write_contents(entry.path().string(), change(contents(entry.path().string())));
        }
    };
}

Edit card(const std::string& keyword, const std::string& value) {
    return frames([=](std::string fits) { return with_card(std::move(fits), keyword, value); });
}

Edit no_card(const std::string& keyword) {
    return frames([=](std::string fits) { return without_cards(std::move(fits), {keyword}); });
}

Edit only_file(const std::string& name, const std::string& bytes) {
    return [=](const Rehearsed& c) {
        fs::remove_all(c.path("frames"));
        fs::create_directory(c.path("frames"));
        write_contents(c.path("frames/" + name), bytes);
    };
}

Edit both(const Edit& one, const Edit& other) {
    return [=](const Rehearsed& c) {
        one(c);
        other(c);
    };
}

Edit nucleus_gone() {
    return [](const Rehearsed& c) {
        replace_once(c.path("campaign.toml"), "nucleus_ra", "# nucleus_ra");
        replace_once(c.path("campaign.toml"), "nucleus_dec", "# nucleus_dec");
    };
}

const Words measure = {"measure"}, inspect = {"inspect"};

}  // namespace

TEST_CASE("a site that is wrong is told from where the Sun and the transient stood", "[faults][first-hour]") {
    each_is_told({
        {"longitude's sign",
         toml("longitude = -1.2000", "longitude = 75.0"),
         inspect,
         1,
         {"WRONG  site", "campaign.toml, site", "the Sun stands 6° above",
          "Is the longitude's sign right? East is positive"}},
        {"the same, measured",
         toml("longitude = -1.2000", "longitude = 75.0"),
         measure,
         0,
         {"2 of 2 frames cannot have been taken there and then", "Is the longitude's sign right?"}},
        {"latitude's sign",
         toml("latitude = 51.1000", "latitude = -51.1"),
         inspect,
         1,
         {"the transient 2° up", "Is the latitude's sign right? North is positive"}},
        {"exchanged",
         both(toml("latitude = 51.1000", "latitude = -1.2"), toml("longitude = -1.2000", "longitude = 51.1")),
         inspect,
         0,
         {"DOUBT  headers", "SITELAT, SITELONG", "Latitude and longitude are exchanged"}},
        {"exchanged, out of range",
         toml("latitude = 51.1000", "latitude = -110.9"),
         inspect,
         2,
         {"site.latitude", "no latitude", "are latitude and longitude exchanged?"}},
        {"west in words",
         toml("longitude = -1.2000", "longitude = \"1.2 W\""),
         inspect,
         2,
         {"Write longitude = -1.2"}},
        {"local time",
         card("DATE-OBS", "'2024-03-15T11:55:30'"),
         inspect,
         1,
         {"the Sun stands 3", "transient"}},
        {"dated in the future",
         card("DATE-OBS", "'2091-03-15T01:55:30'"),
         inspect,
         0,
         {"DOUBT  headers", "Dated in the future", "Check the clock"}},
        {"before the discovery",
         toml("discovered = 2024-03-12", "discovered = 2024-05-12"),
         inspect,
         0,
         {"before the transient was discovered, 2024-05-12"}},
        {"milliseconds", card("EXPTIME", "60000.0"), inspect, 1, {"EXPTIME says 60000 s", "milliseconds"}},
    });
}

TEST_CASE("a miswritten position is told with the place that was most likely meant", "[faults][first-hour]") {
    const auto with_ra = [](const std::string& ra) {
        return both(nucleus_gone(), toml("\"13:25:21.12\"", ra));
    };
    each_is_told({
        {"hours as a number",
         with_ra("13.42253"),
         measure,
         3,
         {"lies off the frame", "It would lie on it at 13:25:21", "right ascensions in hours"}},
        {"sign lost",
         both(nucleus_gone(), toml("\"+37:16:12.0\"", "\"-37:16:12.0\"")),
         measure,
         3,
         {"It would lie on it at 13:25:21.1 +37:16:12", "other sign of the declination"}},
        // 13:25:21.12 +37:16:12 by astropy 5.2.1 (FK5) at the equinox of 2024.2
        {"equinox of date",
         both(with_ra("\"13:26:26.5\""), toml("\"+37:16:12.0\"", "\"+37:08:40\"")),
         measure,
         3,
         {"It would lie on it at 13:25:21", "equinox of 2024"}},
        {"degrees with colons",
         toml("\"13:25:21.12\"", "\"201:20:16.8\""),
         measure,
         2,
         {"transient.ra", "hours end at 24", "201.338000"}},
        {"decimal comma", toml("\"13:25:21.12\"", "\"201,338\""), measure, 2, {"Decimals take a point"}},
        {"against the nucleus",
         toml("\"13:25:21.12\"", "13.42253"),
         measure,
         2,
         {"nucleus", "lies 105.", "a plain number is read as degrees"}},
        {"another frame's",
         both(nucleus_gone(), toml("+37:16:12.0", "+37:26:12.0")),
         inspect,
         3,
         {"WRONG  target", "lies off 2 of 2 frames", "check ra and dec"}},
    });
}

TEST_CASE("comparison stars that are not on the frames are told with the reason", "[faults][first-hour]") {
    each_is_told({
        {"another field",
         moved([](double ra, double dec) { return std::pair(ra + 40.0, dec + 10.0); }),
         measure,
         3,
         {"None of the 10 comparison stars of comparison.csv lies on the frame", "° from its middle",
          "emberline sequence build"}},
        {"hours as numbers",
         moved([](double ra, double dec) { return std::pair(ra / 15.0, dec); }),
         measure,
         3,
         {"They would lie on it with right ascensions in hours"}},
        {"signs lost",
         moved([](double ra, double dec) { return std::pair(ra, -dec); }),
         inspect,
         3,
         {"WRONG  trial", "other sign of the declination"}},
        {"equinox of date",
         moved([](double ra, double dec) { return std::pair(ra + 0.272, dec - 0.1257); }),
         measure,
         3,
         {"equinox of 2024 in place of J2000"}},
        {"another band's",
         swapped("V,V_err", "Ic,Ic_err"),
         measure,
         3,
         {"No comparison star has a magnitude in V: comparison.csv has B, Ic"}},
        {"none at all",
         table([](const std::string& t) { return t.substr(0, t.find('\n') + 1); }),
         inspect,
         3,
         {"WRONG  sequence", "There is no comparison star", "sequence build"}},
        {"bands exchanged",
         swapped("B,B_err,V,V_err", "V,V_err,B,B_err"),
         inspect,
         0,
         {"B-V is -0.75", "are the columns B and V exchanged?"}},
        {"the transient itself",
         table([](const std::string& t) {
             return t + "135b,201.338100,37.270100,14.0,0.03,13.5,0.03,comparison\n";
         }),
         measure,
         2,
         {"comparison.csv, line 13", "Star 135b lies 0.", "Take the line out"}},
    });
}

TEST_CASE("a comparison table saved in another way is told how to be saved", "[faults][first-hour]") {
    each_is_told({
        {"no header",
         table([](const std::string& t) { return t.substr(t.find('\n') + 1); }),
         measure,
         2,
         {"line 1", "names the columns is missing", "label,ra,dec"}},
        {"semicolons",
         swapped(",", ";"),
         measure,
         2,
         {"separated by semicolons", "commas between the fields"}},
        {"tabs", swapped(",", "\t"), measure, 2, {"separated by tabs"}},
        {"decimal commas",
         swapped("(201)\\.(\\d+)", "\"$1,$2\""),
         measure,
         2,
         {"line 2, column 'ra'", "Decimals take a point"}},
        {"decimal commas bare",
         swapped("(201)\\.(\\d+)", "$1,$2"),
         measure,
         2,
         {"9 fields", "decimals with a point"}},
        {"Windows",
         table([](const std::string& t) {
             return "\xEF\xBB\xBF" + std::regex_replace(t, std::regex("\n"), "\r\n");
         }),
         inspect,
         0,
         {"good   sequence", "10 comparison stars"}},
        {"UTF-16",
         table([](const std::string&) { return std::string("\xff\xfel\0a\0", 6); }),
         measure,
         2,
         {"UTF-16"}},
        {"a web page",
         table([](const std::string&) { return "<!DOCTYPE html>\n<html>"; }),
         measure,
         2,
         {"web page", "CSV"}},
        {"catalogue's names",
         swapped("label,ra,dec", "name,RAJ2000,DEJ2000"),
         measure,
         2,
         {"'label' is missing", "'name'"}},
        {"capitals", swapped("label,ra,dec", "label,RA,Dec"), measure, 2, {"'ra' is missing", "'RA'"}},
        {"Vmag", swapped("V,V_err", "Vmag,e_Vmag"), measure, 2, {"'Vmag'", "Call it V."}},
        {"two checks",
         swapped("13.496,0.030,comparison", "13.496,0.030,check"),
         inspect,
         0,
         {"2 stars have the role check"}},
    });
}

TEST_CASE("a check star that confirms nothing is told", "[faults][first-hour]") {
    const auto check = [](const std::string& line) {
        return toml("[report]", "check = " + line + "\n[report]");
    };
    const Edit named = toml("catalog = \"comparison.csv\"", "catalog = \"comparison.csv\"\ncheck = \"133\"");
    each_is_told({
        {"none", swapped("check", "comparison"), measure, 0, {"No check star", "the role check"}},
        {"another's", named, measure, 2, {"'133' is not in the sequence", "132 perhaps"}},
        {"in the wrong section", check("\"132\""), measure, 0, {"+0.0"}},
        {"off the frames",
         swapped("201.361372,37.302028", "201.561372,37.302028"),
         inspect,
         0,
         {"DOUBT  check star", "lies on none of the frames"}},
        {"without a magnitude",
         swapped("13.199,0.030,check", ",,check"),
         inspect,
         0,
         {"132 has no magnitude in V"}},
    });
}

TEST_CASE("frames that cannot be measured are told by kind, and what to do with them",
          "[faults][first-hour]") {
    each_is_told({
        {"filter",
         card("FILTER", "'L       '"),
         measure,
         3,
         {"keyword FILTER", "bands = { \"L\" = \"CV\" }"}},
        {"narrow band",
         card("FILTER", "'Ha      '"),
         inspect,
         3,
         {"WRONG  frames", "2 frames", "narrow band"}},
        {"no filter",
         no_card("FILTER"),
         inspect,
         3,
         {"does not say through which filter", "bands = { \"\" = \"CV\" }"}},
        {"no time", no_card("DATE-OBS"), inspect, 3, {"DATE-OBS is missing", "in UTC"}},
        {"no exposure", no_card("EXPTIME"), inspect, 3, {"EXPTIME is missing", "exposure_s"}},
        {"flats",
         card("IMAGETYP", "'Flat Frame'"),
         inspect,
         3,
         {"2 calibration frames lie among them", "masters build"}},
        {"JPEG", only_file("a.fits", "\xff\xd8\xff\xe0 picture"), measure, 3, {"a JPEG picture", "as FITS"}},
        {"TIFF", only_file("a.fits", std::string("II*\0 picture", 12)), measure, 3, {"a TIFF picture"}},
        {"raw",
         only_file("IMG_1.CR2", std::string("II*\0 picture", 12)),
         measure,
         3,
         {"No FITS files were found; what is there: 1 .cr2", "end in .fits"}},
        {"raw, named",
         only_file("IMG_1.CR2", std::string("II*\0 picture", 12)),
         {"measure", "IMG_1.CR2"},
         3,
         {"cannot be opened"}},
        {"wrong plate",
         frames([](std::string fits) {
             return with_card(with_card(std::move(fits), "CD1_1", "-0.0006664530"), "CD2_2", "0.0006664577");
         }),
         inspect,
         0,
         {"plate solution in its header is wrong", "matched with comparison.csv"}},
        {"empty file", only_file("a.fits", ""), inspect, 3, {"The file is empty"}},
        {"no folder",
         [](const Rehearsed& c) { fs::remove_all(c.path("frames")); },
         inspect,
         3,
         {"No FITS files"}},
        {"a light as a flat",
         toml("[report]", "[masters]\nflat = \"frames/2024-03-14/V_001.fits\"\n\n[report]"),
         inspect,
         1,
         {"WRONG  masters", "picture of the sky", "Name a flat there"}},
    });
}

TEST_CASE("a number of the instrument that is another quantity is told", "[faults][first-hour]") {
    each_is_told({
        {"gain setting",
         toml("gain = 0.900", "gain = 120"),
         inspect,
         0,
         {"instrument.gain", "gain setting?"}},
        {"no gain", toml("gain = 0.900", "gain = 0"), inspect, 2, {"instrument.gain", "out of range"}},
        {"inches", toml("aperture_mm = 280.0", "aperture_mm = 11"), inspect, 0, {"are these inches?"}},
        {"saturation too high",
         toml("saturation = 65535", "saturation = 1e6"),
         inspect,
         0,
         {"more than 16-bit pixels hold"}},
        {"saturation far too low",
         both(toml("saturation = 65535", "saturation = 1000"), toml("linear_to", "# linear_to")),
         inspect,
         1,
         {"WRONG  trial", "The transient is saturated", "1000 ADU", "saturation under [instrument]"}},
        {"saturation too low",
         toml("saturation = 65535", "saturation = 4095"),
         inspect,
         2,
         {"instrument.linear_to", "lies above the saturation"}},
    });
}

TEST_CASE("a line that is no setting is told what was most likely meant", "[faults][first-hour]") {
    each_is_told({
        {"misspelt", toml("longitude", "longtitude"), inspect, 2, {"line ", "Did you mean 'longitude'?"}},
        {"capitals", toml("ra = \"13", "RA = \"13"), inspect, 2, {"Did you mean 'ra'?"}},
        {"wrong section",
         toml("[comparison]", "[comparison]\ngain = 1.0"),
         inspect,
         2,
         {"It belongs under [instrument]"}},
        {"no marks",
         toml("code = \"XYZ\"", "code = XYZ"),
         inspect,
         2,
         {"between quotation marks: code = \"XYZ\""}},
        {"one mark", toml("code = \"XYZ\"", "code = \"XYZ"), inspect, 2, {"A quotation mark is missing"}},
        {"curly marks", toml("code = \"XYZ\"", "code = “XYZ”"), inspect, 2, {"curly"}},
        {"bare sexagesimal",
         toml("dec = \"+37:16:12.0\"", "dec = +37:16:12.0"),
         inspect,
         2,
         {"Write dec = \"+37:16:12.0\"."}},
        {"comma", toml("gain = 0.900", "gain = 0,9"), inspect, 2, {"write gain = 0.9."}},
        {"colon", toml("latitude = 51.1000", "latitude: 51.1"), inspect, 2, {"Write latitude = 51.1."}},
        {"unit",
         toml("elevation = 95.0", "elevation = 95 m"),
         inspect,
         2,
         {"without its unit: elevation = 95."}},
        {"slashes",
         toml("elevation = 95.0", "elevation = 95.0 // high"),
         inspect,
         2,
         {"Remarks begin with #"}},
        {"True", toml("aperture_mm", "override = True\naperture_mm"), inspect, 2, {"Write override = true."}},
        {"backslash", toml("\"comparison.csv\"", "\"stars\\new.csv\""), inspect, 2, {"A backslash begins"}},
        {"date", toml("2024-03-12", "2024-3-12"), inspect, 2, {"two figures for month and day"}},
        {"twice",
         toml("[report]", "[site]\nlatitude = 1.0\n[report]"),
         inspect,
         2,
         {"It stands further up already"}},
        {"Latin-1", toml("A. Observer", "J\xfcrgen"), inspect, 2, {"UTF-8"}},
    });
}
