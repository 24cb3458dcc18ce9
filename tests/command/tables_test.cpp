// SPDX-License-Identifier: MIT
#include <catch2/catch.hpp>
#include <sstream>

#include "program/rehearsed.hpp"

using namespace emberline::testing;

namespace {

constexpr const char* frame_columns =
    "frame,night,band,jd_utc,bjd_tdb,exposure_s,airmass,mag,mag_err,limit_mag,is_limit,method,transformed,"
    "fwhm_px,aperture_px,zero_point,zero_point_err,n_comparison,check_label,check_mag,check_residual,flags,"
    "flux_e,flux_err_e";
constexpr const char* night_columns =
    "night,band,jd_utc,bjd_tdb,mag,mag_err,mag_err_random,mag_err_common,is_limit,n_frames,n_rejected,"
    "airmass,method,transformed,flags";

Words fields_of(const std::string& line) {
    Words fields;
    std::istringstream stream(line + ",");
    for (std::string field; std::getline(stream, field, ',');)
        fields.push_back(field);
    return fields;
}

}  // namespace

TEST_CASE("tables have the columns of the contract, in its order, and a field for each",
          "[command][tables]") {
    const Rehearsed campaign({"--nights", "2", "--band", "B", "--band", "V"});
    campaign.measure();
    const auto frames = lines_of(campaign.run({"export", "--level", "frame", "--format", "csv"}).out);
    const auto nights = lines_of(campaign.run({"export", "--level", "night", "--format", "csv"}).out);
    REQUIRE(frames.size() == 1 + 8);  // two nights, two bands, two frames
    REQUIRE(nights.size() == 1 + 4);
    CHECK(frames.front() == frame_columns);
    CHECK(nights.front() == night_columns);
    for (std::size_t i = 1; i < frames.size(); ++i) {
        const Words fields = fields_of(frames[i]);
        REQUIRE(fields.size() == fields_of(frame_columns).size());
        CHECK(std::filesystem::exists(campaign.path(fields[0])));
        CHECK(std::stod(fields[5]) == 60.0);
        CHECK((fields[10] == "0" || fields[10] == "1"));
        CHECK((fields[12] == "0" || fields[12] == "1"));
        CHECK(std::stod(fields[4]) - std::stod(fields[3]) < 0.02);  // light crosses an AU in 0.006 d
    }
    for (std::size_t i = 1; i < nights.size(); ++i) {
        const Words fields = fields_of(nights[i]);
        REQUIRE(fields.size() == fields_of(night_columns).size());
        const double total = std::stod(fields[5]);
        const double random = std::stod(fields[6]), common = std::stod(fields[7]);
        CHECK(total == Approx(std::hypot(random, common)).margin(2e-5));  // five decimals are written
    }
}

TEST_CASE("export writes nights by default, and to a file the same as to a pipe", "[command][tables]") {
    const Rehearsed campaign;
    campaign.measure();
    const std::string piped = campaign.run({"export"}).out;
    CHECK(piped == campaign.run({"export", "--level", "night", "--format", "csv"}).out);
    const Outcome filed = campaign.run({"export", "-o", campaign.path("nights.csv")});
    CHECK(filed.status == 0);
    CHECK(contents(campaign.path("nights.csv")) == piped);
    const std::string ecsv = campaign.run({"export", "--format", "ecsv"}).out;
    CHECK(ecsv.starts_with("# %ECSV "));
    CHECK(campaign.run({"export", "--json"}).json().at("table") == piped);
}

TEST_CASE("a night too faint to see is a limit, with the errors left empty", "[command][tables]") {
    const Rehearsed campaign({"--nights", "1", "--peak-mag", "24", "--no-host"});
    campaign.measure();
    const auto nights = lines_of(campaign.run({"export"}).out);
    REQUIRE(nights.size() == 2);
    const Words fields = fields_of(nights[1]);
    CHECK(fields[8] == "1");
    CHECK(std::stod(fields[4]) > 15.0);
    CHECK(std::stod(fields[4]) < 24.0);
    CHECK(fields[5].empty());
    CHECK(fields[6].empty());
    CHECK(fields[7].empty());
    const auto frames = lines_of(campaign.run({"export", "--level", "frame"}).out);
    REQUIRE(frames.size() == 3);
    CHECK(fields_of(frames[1])[10] == "1");
    CHECK(fields_of(frames[1])[7].empty());
    CHECK(campaign.run({"nights"}).out.find("fainter than") != std::string::npos);
}

TEST_CASE("a table in any format passes its own check, and says what became of it when damaged",
          "[command][tables]") {
    const Rehearsed campaign({"--nights", "2", "--band", "B", "--band", "V", "--band", "Rc"});
    campaign.measure();
    for (const std::string format : {"csv", "ecsv", "votable", "fits"}) {
        for (const std::string level : {"night", "frame"}) {
            INFO(format << ", " << level);
            const std::string file = campaign.path(level + "." + format);
            REQUIRE(campaign.run({"export", "--level", level, "--format", format, "-o", file}).status == 0);
            const Outcome checked = run({"export", "--check", file});
            INFO(checked.out << checked.err);
            CHECK(checked.status == 0);
            CHECK(checked.out.find(level + " table, ") != std::string::npos);
            const auto document = run({"export", "--check", file, "--json"}).json();
            CHECK(document.at("valid") == true);
            CHECK(document.at("findings").empty());
            CHECK(document.at("rows") == (level == "night" ? 6 : 12));
        }
    }
    const std::string cut = campaign.path("cut.csv");
    write_contents(cut, contents(campaign.path("night.csv")).substr(0, 400));
    const Outcome refused = run({"export", "--check", cut});
    CHECK(refused.status == 1);
    CHECK(refused.out.find("line ") == 0);
    CHECK(refused.out.find("may have been cut there") != std::string::npos);
    CHECK(run({"export", "--check", campaign.path("none.csv")}).status == 3);
}

TEST_CASE("a VOTable and an ECSV table tell where they come from", "[command][tables]") {
    const Rehearsed campaign({"--nights", "1", "--band", "V"});
    campaign.measure();
    const std::string votable = campaign.run({"export", "--format", "votable"}).out;
    for (const char* part :
         {"href=\"campaign.ledger\"", "campaign.ledger, solution 1", "name=\"ra\"", "\"ICRS\"",
          "timescale=\"TDB\"", "<GROUP ID=\"photometry_V\"", "ref=\"photometry_V\""}) {
        INFO(part);
        CHECK(votable.find(part) != std::string::npos);
    }
    std::filesystem::create_directory(campaign.path("mine"));
    const std::string file = campaign.path("mine/night.vot");
    REQUIRE(campaign.run({"export", "--format", "votable", "-o", file}).status == 0);
    CHECK(contents(file).find("href=\"../campaign.ledger\"") != std::string::npos);  // seen from the table
    const std::string ecsv = campaign.run({"export", "--format", "ecsv"}).out;
    CHECK(ecsv.find("# - solution: \"campaign.ledger, solution 1\"") != std::string::npos);
}
