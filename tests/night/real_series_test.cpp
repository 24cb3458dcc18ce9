// SPDX-License-Identifier: MIT
#include "real_series.hpp"

#include <catch2/catch.hpp>
#include <filesystem>

#include "flux_table.hpp"
#include "frame/frame.hpp"
#include "night/choose_aperture.hpp"
#include "night/measure_frame.hpp"
#include "quantities/delimited_table.hpp"

using namespace emberline;
namespace fs = std::filesystem;

namespace {

struct Series {
    night::Campaign campaign;
    standard::Sequence sequence;
};

Series open_series(const std::string& folder) {
    const auto campaign = night::read_campaign(folder);
    REQUIRE(campaign);
    const auto sequence = standard::read_sequence(campaign->path(campaign->catalog));
    REQUIRE(sequence);
    return {*campaign, *sequence};
}

std::vector<photometry::FrameFluxes> measure_all(const Series& series, const std::string& frames_folder,
                                                 std::size_t& refused) {
    std::vector<fs::path> paths;
    for (const auto& entry : fs::directory_iterator(frames_folder))
        paths.push_back(entry.path());
    std::sort(paths.begin(), paths.end());
    std::vector<photometry::FrameFluxes> measured;
    for (const fs::path& path : paths) {
        auto frames = frame::open_frames(path.string(), series.campaign.instruments);
        REQUIRE(frames);
        for (const frame::Frame& one : *frames) {
            auto fluxes = night::measure_frame(one, path.filename().string(), path.filename().string(),
                                               series.sequence, series.campaign);
            if (fluxes) {
                measured.push_back(std::move(*fluxes));
            } else {
                ++refused;
            }
        }
    }
    return measured;
}

night::Solution solve(const std::vector<photometry::FrameFluxes>& frames, const Series& series) {
    auto solved = night::solve_campaign(frames, series.sequence, series.campaign, {});
    REQUIRE(solved);
    return std::move(solved->solution);
}

// The small copies of the series' own files, for where the frames are not.
Series own_series(const std::string& name) {
    return open_series(std::string(EMBERLINE_TEST_DATA) + "/real/" + name);
}

void write_table(const Series& series, const std::vector<photometry::FrameFluxes>& frames,
                 const std::string& name, const std::vector<std::string>& remarks) {
    std::vector<const photometry::FrameFluxes*> pointers;
    std::set<std::string> labels;
    for (const auto& frame : frames)
        pointers.push_back(&frame);
    for (const auto& star : series.sequence.stars) {
        if (star.role == standard::Role::comparison) labels.insert(star.label);
    }
    std::vector<std::size_t> apertures;
    for (const auto& k : night::choose_apertures(pointers, labels, series.campaign.measure))
        apertures.push_back(k.value());
    REQUIRE(write_text_file(std::string(EMBERLINE_TEST_DATA) + "/real/" + name + "/fluxes.csv",
                            test::write_flux_table(frames, apertures, remarks)));
}

}  // namespace

TEST_CASE("real frames of a star with a transit: published time and depth", "[real][datasets]") {
    const std::string root = test::datasets_or_warn();
    if (root.empty()) return;
    const Series series = open_series(root + "/star_with_transit");
    std::size_t refused = 0;
    const auto frames = measure_all(series, root + "/star_with_transit/frames", refused);
    CHECK(frames.size() + refused == 71);
    CHECK(refused <= 3);  // three have no plate solution as published
    test::check_transit(solve(frames, series).frames);
}

TEST_CASE("real frames of a supernova at the core of its host: constant within the night",
          "[real][datasets]") {
    const std::string root = test::datasets_or_warn();
    if (root.empty()) return;
    const Series series = open_series(root + "/supernova_at_core");
    std::size_t refused = 0;
    const auto frames = measure_all(series, root + "/supernova_at_core/lights", refused);
    CHECK(frames.size() == 15);
    CHECK(refused == 0);
    test::check_constant_supernova(solve(frames, series).frames);
}

TEST_CASE("fluxes measured in the real transit frames give the published time and depth", "[real]") {
    const Series series = own_series("star_with_transit");
    const auto frames =
        test::read_flux_table(std::string(EMBERLINE_TEST_DATA) + "/real/star_with_transit/fluxes.csv");
    REQUIRE(frames);
    test::check_transit(solve(*frames, series).frames);
}

TEST_CASE("fluxes measured in the real supernova frames are constant within the night", "[real]") {
    Series series = own_series("supernova_at_core");
    const auto frames =
        test::read_flux_table(std::string(EMBERLINE_TEST_DATA) + "/real/supernova_at_core/fluxes.csv");
    REQUIRE(frames);
    series.campaign.measure.aperture_arcsec = frames->front().apertures.front().angle_arcsec;
    test::check_constant_supernova(solve(*frames, series).frames);
}

// Renews the tables after a change of what is measured: run by hand with the tag [write].
TEST_CASE("write the flux tables of the real series", "[.][write]") {
    const std::string root = test::datasets_or_warn();
    REQUIRE_FALSE(root.empty());
    std::size_t refused = 0;
    const Series transit = open_series(root + "/star_with_transit");
    write_table(transit, measure_all(transit, root + "/star_with_transit/frames", refused),
                "star_with_transit",
                {"Fluxes measured by this program in 70 real frames of HAT-P-32, 2017-12-20, "
                 "MicroObservatory (Center for",
                 "Astrophysics | Harvard & Smithsonian), published as sample data by GitHub user rzellem, "
                 "commit e48fda38."});
    const Series supernova = open_series(root + "/supernova_at_core");
    write_table(supernova, measure_all(supernova, root + "/supernova_at_core/lights", refused),
                "supernova_at_core",
                {"Fluxes measured by this program in 15 real frames of SN 2022yid in NGC 946, 2022-10-30; "
                 "frames published by",
                 "GitHub BSU-PPOE/10292022, commit f8d2f944. No flats."});
}
