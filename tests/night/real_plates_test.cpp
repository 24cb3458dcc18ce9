// SPDX-License-Identifier: MIT
#include <catch2/catch.hpp>
#include <iostream>

#include "real_plates.hpp"
#include "real_series.hpp"
#include "standard/field_catalogue.hpp"

using namespace emberline;
using test::PlateRow;
using test::RealFrame;

namespace {

std::vector<stars::ReferenceStar> tycho(const std::string& datasets, const std::string& field,
                                        double epoch_jyear) {
    const auto catalogue =
        standard::read_field_catalogue(datasets + "/catalogues/tycho2_" + field + "_field.csv", 2000.0);
    REQUIRE(catalogue);
    return standard::references_at(*catalogue, epoch_jyear);
}

}  // namespace

TEST_CASE("every real frame, solved again from its own stars", "[.table]") {
    const std::string datasets = test::datasets_or_warn();
    if (datasets.empty()) return;
    std::vector<PlateRow> rows;
    for (const std::string& path : test::frames_in(datasets + "/star_with_transit/frames")) {
        const RealFrame frame = test::look_at(path, 4095.0);
        rows.push_back(test::solve_again(frame, tycho(datasets, "hatp32", frame.epoch_jyear), "Tycho-2"));
    }
    std::optional<RealFrame> first;
    for (const std::string& path : test::frames_in(datasets + "/supernova_at_core/lights")) {
        RealFrame frame = test::look_at(path, 50000.0);
        rows.push_back(test::solve_again(frame, tycho(datasets, "ngc946", frame.epoch_jyear), "Tycho-2"));
        if (first) rows.push_back(test::solve_again(frame, test::stars_by_header(*first), "first frame"));
        if (!first) first = std::move(frame);
    }
    for (const std::string& path : test::frames_in(datasets + "/mosaic")) {
        const RealFrame frame = test::look_at(path, 13000.0, "GBRG");
        rows.push_back(test::solve_again(frame, tycho(datasets, "panoptes", frame.epoch_jyear), "Tycho-2"));
        if (frame.has_header_solution())
            rows.push_back(test::solve_again(frame, test::stars_by_header(frame), "itself"));
    }
    const std::string bands = datasets + "/headers/frames/reprojected_sdss_";
    const RealFrame red = test::look_at(bands + "r.fits", 1e9);
    for (const char* band : {"g", "r", "i"}) {
        const RealFrame frame = test::look_at(bands + band + ".fits", 1e9);
        rows.push_back(test::solve_again(frame, test::stars_by_header(red), "r"));
    }
    std::cout << test::as_table(rows);  // lines longer than the test program's
    CHECK(rows.size() > 100);
}
