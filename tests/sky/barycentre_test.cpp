// SPDX-License-Identifier: MIT
#include "sky/barycentre.hpp"

#include <catch2/catch.hpp>
#include <cmath>

#include "expected_table.hpp"
#include "sky/time_scales.hpp"

using namespace emberline;
using test::number;
using test::text;

TEST_CASE("HJD and BJD agree with an independent library to a tenth of a second", "[barycentre]") {
    const DelimitedTable table = test::expected_table("sky/hjd_bjd.csv");
    for (const TableRow& row : table.rows) {
        INFO(text(table, row, "utc"));
        const auto utc = sky::parse_instant(text(table, row, "utc"));
        REQUIRE(utc);
        const SkyPosition star{Angle::degrees(number(table, row, "ra_icrs_deg")),
                               Angle::degrees(number(table, row, "dec_icrs_deg"))};
        std::optional<sky::Site> site;
        if (text(table, row, "site") != "GEO") {
            site =
                sky::Site{Angle::degrees(number(table, row, "site_lat_deg")),
                          Angle::degrees(number(table, row, "site_lon_deg")), number(table, row, "site_h_m")};
        }
        CHECK(std::abs(sky::heliocentric_correction_s(*utc, star, site) -
                       number(table, row, "helio_corr_s")) < sky::light_time_accuracy_s);
        CHECK(std::abs(sky::barycentric_correction_s(*utc, star, site) - number(table, row, "bary_corr_s")) <
              sky::light_time_accuracy_s);
        CHECK(std::abs(sky::hjd_utc(*utc, star, site) - number(table, row, "hjd_utc")) * 86400.0 <
              sky::light_time_accuracy_s);
        CHECK(std::abs(sky::bjd_tdb(*utc, star, site) - number(table, row, "bjd_tdb")) * 86400.0 <
              sky::light_time_accuracy_s);
        // Without a site the Earth's centre stands for it: 6378 km are 21.3 ms.
        CHECK(std::abs(sky::barycentric_correction_s(*utc, star, std::nullopt) -
                       sky::barycentric_correction_s(*utc, star, site)) < 0.0214);
    }
}
