// SPDX-License-Identifier: MIT
#include "tasks/host_rows.hpp"

#include <catch2/catch.hpp>
#include <cmath>

#include "tasks/look_campaign.hpp"

using namespace emberline;
using namespace emberline::test;
using Catch::Contains;

TEST_CASE("data, model and residual of any frame: the method in use first, the sky where no host shines",
          "[look][host]") {
    rehearsal::RehearsalOptions options = small();
    options.nights = 2;
    SECTION("without a host") {
        const Measured campaign(options);
        const tasks::MeasuredFrame frame = campaign.frame("2024-03-14/V_001.fits");
        const auto trials = tasks::HostTrials::solve(campaign.workspace(), campaign.ledger());
        REQUIRE(trials);
        const auto rows = tasks::host_rows(campaign.workspace(), campaign.ledger(), *trials,
                                           frame.fluxes.fingerprint, frame.fluxes.plane);
        REQUIRE(rows);
        REQUIRE(rows->methods.size() == 1);
        CHECK(rows->methods.front().method == "sky");
        CHECK_THAT(rows->words, Contains("No host"));
        // What is left within a FWHM is the transient: its flux, by the plain sum.
        double left_e = 0.0;
        const tasks::LookedStar transient = campaign.seen(frame, star("transient"));
        const frame::PixelBox& box = rows->data.box;
        for (int y = box.y0; y < box.y0 + box.height; ++y) {
            for (int x = box.x0; x < box.x0 + box.width; ++x) {
                const auto i = box.index(x, y);
                if (std::hypot(x - rows->transient.x, y - rows->transient.y) <= transient.aperture_px)
                    left_e += rows->methods.front().residual_sigma[i] * rows->noise_adu *
                              frame.fluxes.gain_e_per_adu;
            }
        }
        // Whole pixels for a circle: a few percent at its rim.
        CHECK(left_e == Approx(transient.flux_e.value).epsilon(0.08));
    }
    SECTION("with a host") {
        options.host = true;
        options.host_offset_arcsec = 8.0;
        const Measured campaign(options);
        const auto trials = tasks::HostTrials::solve(campaign.workspace(), campaign.ledger());
        REQUIRE(trials);
        for (const char* name : {"2024-03-14/V_001.fits", "2024-03-18/V_002.fits"}) {
            const tasks::MeasuredFrame frame = campaign.frame(name);
            const auto rows = tasks::host_rows(campaign.workspace(), campaign.ledger(), *trials,
                                               frame.fluxes.fingerprint, frame.fluxes.plane);
            REQUIRE(rows);
            INFO(rows->words);
            REQUIRE(!rows->methods.empty());
            CHECK(rows->methods.front().used);
            CHECK(frame.measured->method.rfind(rows->methods.front().method + "-", 0) == 0);
            for (std::size_t i = 1; i < rows->methods.size(); ++i)
                CHECK_FALSE(rows->methods[i].used);
            const std::size_t n = rows->data.adu.size();
            for (const tasks::HostModel& model : rows->methods) {
                REQUIRE(model.model_adu.size() == n);
                double worst = 0.0;
                for (std::size_t i = 0; i < n; ++i) {
                    const double left =
                        (static_cast<double>(rows->data.adu[i]) - model.model_adu[i]) / rows->noise_adu;
                    if (std::isfinite(left))
                        worst = std::max(worst, std::abs(left - model.residual_sigma[i]));
                }
                CHECK(worst < 1e-9);
            }
            // Beyond the transient, what the model in use leaves is noise.
            double square = 0.0, pixels = 0.0;
            const frame::PixelBox& box = rows->data.box;
            for (std::size_t i = 0; i < n; ++i) {
                const double x = box.x0 + static_cast<double>(i % static_cast<std::size_t>(box.width));
                const double y = box.y0 + static_cast<double>(i / static_cast<std::size_t>(box.width));
                const double r = std::hypot(x - rows->transient.x, y - rows->transient.y);
                const double left = rows->methods.front().residual_sigma[i];
                if (r < 3.0 * frame.fluxes.fwhm_px || r > 6.0 * frame.fluxes.fwhm_px || !std::isfinite(left))
                    continue;
                square += left * left;
                pixels += 1.0;
            }
            // The nucleus lies in that ring: its photons add to the sky's noise.
            CHECK(std::sqrt(square / pixels) < 2.5);
        }
        const auto none = tasks::host_rows(campaign.workspace(), campaign.ledger(), *trials, "00", 0);
        REQUIRE_FALSE(none);
    }
}
