// SPDX-License-Identifier: MIT
#include "rehearsal/invented_template.hpp"

#include <stdlib.h>

#include <catch2/catch.hpp>
#include <cmath>
#include <filesystem>
#include <functional>

#include "expected_table.hpp"
#include "frame/frame.hpp"
#include "night/campaign.hpp"
#include "rehearsal/plate.hpp"
#include "rehearsal/rehearse.hpp"
#include "temporary_folder.hpp"

using namespace emberline;
using namespace emberline::rehearsal;

namespace {

namespace fs = std::filesystem;

using Scratch = test::TemporaryFolder;

InventedCampaign campaign_of(RehearsalOptions options = {}) {
    options.nights = 1;
    options.frames = 1;
    options.width_px = options.height_px = 260;
    auto campaign = invent_campaign(options);
    REQUIRE(campaign);
    return *campaign;
}

struct Drawn {
    double x = 0.0, y = 0.0, flux_e = 0.0;
};
// The centre of light above the level round about, within a circle that follows it.
Drawn drawn_at(const ExposedTemplate& t, const frame::PixelPosition& place, double radius_px) {
    const auto adu = [&](int x, int y) {
        return static_cast<double>(t.frame.adu[static_cast<std::size_t>(y * t.frame.width_px + x)]);
    };
    std::vector<double> rim;
    for (int k = 0; k < 360; ++k) {
        const double a = Angle::degrees(k).radians();
        rim.push_back(adu(static_cast<int>(std::lround(place.x + 2.5 * radius_px * std::cos(a))),
                          static_cast<int>(std::lround(place.y + 2.5 * radius_px * std::sin(a)))));
    }
    std::nth_element(rim.begin(), rim.begin() + 180, rim.end());
    Drawn drawn{place.x, place.y};
    for (int pass = 0; pass < 10; ++pass) {
        double sum = 0.0, x_sum = 0.0, y_sum = 0.0;
        const int reach = static_cast<int>(radius_px * 3.0) + 1;
        const int cx = static_cast<int>(std::lround(drawn.x)), cy = static_cast<int>(std::lround(drawn.y));
        for (int y = cy - reach; y <= cy + reach; ++y) {
            for (int x = cx - reach; x <= cx + reach; ++x) {
                const double d = std::hypot(x - drawn.x, y - drawn.y) / radius_px;
                const double light = (adu(x, y) - rim[180]) * std::exp(-d * d);
                sum += light;
                x_sum += light * (x - drawn.x);
                y_sum += light * (y - drawn.y);
            }
        }
        drawn.x += 2.0 * x_sum / sum;
        drawn.y += 2.0 * y_sum / sum;
        drawn.flux_e = sum * t.instrument.gain_e_per_adu;
    }
    return drawn;
}

}  // namespace

TEST_CASE("a template's header says where its stars are, turned, mirrored and at any scale", "[template]") {
    const Scratch scratch;
    const InventedCampaign campaign = campaign_of();
    const std::string path = (scratch / "template.fits");
    for (const double scale : {0.8, 2.0}) {
        for (const double rotation : {0.0, 37.0, 180.0, 265.0}) {
            for (const bool mirrored : {false, true}) {
                TemplateOptions options;
                options.scale_arcsec_per_px = scale;
                options.rotation_deg = rotation;
                options.mirrored = mirrored;
                options.fwhm_arcsec = std::max(2.4, 1.5 * scale);
                const auto exposed = expose_template(campaign, options);
                REQUIRE(exposed);
                REQUIRE(write_template(path, *exposed));
                const auto frames = frame::open_frames(path, {});
                REQUIRE(frames);
                const auto& wcs = frames->front().wcs();
                REQUIRE(wcs);
                INFO(scale << "″, " << rotation << " degrees, mirrored " << mirrored);
                CHECK(wcs->scale_arcsec_per_px() == Approx(scale).epsilon(1e-5));
                CHECK(wcs->mirrored() == mirrored);
                int seen = 0;
                for (const InventedStar& star : campaign.sky.stars) {
                    const auto said = wcs->pixel(star.position);
                    const double margin = 20.0 / scale;
                    // Bright, unsaturated, away from the rim: its noise is below 0.02 px.
                    const double mag = star.true_mag.at(*parse_band("V"));
                    if (star.label.empty() || mag > 14.5 || mag < 12.5 || !said || said->x < margin ||
                        said->y < margin || said->x > exposed->frame.width_px - margin ||
                        said->y > exposed->frame.height_px - margin) {
                        continue;
                    }
                    const Drawn drawn = drawn_at(*exposed, *said, std::max(2.0, 2.4 / scale));
                    CHECK(drawn.x == Approx(said->x).margin(0.05));
                    CHECK(drawn.y == Approx(said->y).margin(0.05));
                    ++seen;
                }
                CHECK(seen >= 2);
            }
        }
    }
}

TEST_CASE("a template holds no transient, or the share of it that is asked for", "[template]") {
    RehearsalOptions bright;
    bright.host = false;
    const InventedCampaign campaign = campaign_of(bright);
    TemplateOptions options;
    const auto without = expose_template(campaign, options);
    REQUIRE(without);
    CHECK(without->frame.transient_flux_e == 0.0);
    options.residual_share = 0.5;
    const auto half = expose_template(campaign, options);
    options.residual_share = 1.0;
    options.start_utc = "2025-03-18T23:30:00";
    const auto all = expose_template(campaign, options);
    REQUIRE(half);
    REQUIRE(all);
    // The airmass differs by minutes of sidereal time from year to year: 1e-3 of the light.
    CHECK(all->frame.transient_flux_e == Approx(2.0 * half->frame.transient_flux_e).epsilon(5e-3));
    CHECK(half->frame.transient_mag == Approx(13.5));
    const auto place = Plate(half->instrument, half->pointing).truth(campaign.sky.transient.position);
    // A Gaussian weight of radius 3 px on a Moffat of FWHM 3 px keeps about 0.7 of it, as in the other frame.
    const double seen = drawn_at(*half, place, 3.0).flux_e;
    CHECK(seen > 0.5 * half->frame.transient_flux_e);
    CHECK(std::abs(drawn_at(*all, place, 3.0).flux_e / seen - 2.0) < 0.02);
    CHECK(expose_template(campaign, options)->frame.adu == all->frame.adu);
}

TEST_CASE("a template of another band has the stars of that band", "[template]") {
    const InventedCampaign campaign = campaign_of();
    TemplateOptions options;
    options.band = "Rc";
    const auto exposed = expose_template(campaign, options);
    REQUIRE(exposed);
    CHECK(exposed->band.name() == "Rc");
    const InventedStar& star = campaign.sky.stars.front();
    const double colour = star.true_mag.at(*parse_band("B")) - star.true_mag.at(*parse_band("V"));
    const double red_mag = star.true_mag.at(*parse_band("V")) + colour_slope(*parse_band("Rc")) * colour;
    options.band = "V";
    const auto visual = expose_template(campaign, options);
    REQUIRE(visual);
    // Extinction is the same here; the campaign's colour term is V's only.
    const double visual_mag = star.true_mag.at(*parse_band("V")) - 0.03 * colour;
    CHECK(exposed->frame.star_flux_e[0] / visual->frame.star_flux_e[0] ==
          Approx(std::pow(10.0, -0.4 * (red_mag - visual_mag))).epsilon(1e-3));
}

TEST_CASE("rehearse writes templates where campaign.toml says, and the host's truth", "[template]") {
    const Scratch scratch;
    RehearsalOptions options;
    options.nights = 1;
    options.frames = 2;
    options.width_px = options.height_px = 240;
    options.host_kind = HostKind::clumpy;
    options.host_offset_arcsec = 6.0;
    options.host_template = TemplateOptions{};
    const std::string one = (scratch / "one");
    REQUIRE(rehearse(one, options));
    const auto campaign = night::read_campaign(one);
    REQUIRE(campaign);
    REQUIRE(campaign->host_templates.size() == 1);
    CHECK(fs::path(campaign->host_templates.at("")).filename() == "template.fits");
    const auto frames = frame::open_frames(one + "/template.fits", {});
    REQUIRE(frames);
    const frame::FrameFacts& facts = frames->front().facts();
    CHECK(facts.gain_e_per_adu->value == Approx(20.0));
    CHECK(facts.exposure_s->value == Approx(600.0));
    CHECK(facts.band->value.name() == "V");
    REQUIRE(facts.mid_exposure);
    CHECK(facts.mid_exposure->value.jd() == Approx(2460022.4826).margin(1e-3).epsilon(0));  // 2023-03-18.98

    const auto truth = read_table(one + "/truth_host.csv");
    REQUIRE(truth);
    REQUIRE(truth->rows.size() == 2);
    CHECK(test::number(*truth, truth->rows[0], "offset_arcsec") == Approx(6.0).margin(1e-3));
    CHECK(test::number(*truth, truth->rows[1], "host_within_4arcsec_e") > 100.0);

    options.bands = {"B", "V"};
    const std::string two = (scratch / "two");
    REQUIRE(rehearse(two, options));
    const auto both = night::read_campaign(two);
    INFO((both ? "" : one_line(both.error())));
    REQUIRE(both);
    CHECK(fs::path(both->host_templates.at("B")).filename() == "template_B.fits");
    CHECK(fs::exists(two + "/template_V.fits"));
}

TEST_CASE("template options that make no frame are refused", "[template]") {
    const InventedCampaign campaign = campaign_of();
    const auto refused = [&](const std::function<void(TemplateOptions&)>& spoil) {
        TemplateOptions options;
        spoil(options);
        const auto result = expose_template(campaign, options);
        return !result && result.error().kind == ProblemKind::request && !result.error().mend.empty();
    };
    CHECK_FALSE(refused([](auto&) {}));
    CHECK(refused([](auto& o) { o.scale_arcsec_per_px = 0.0; }));
    CHECK(refused([](auto& o) { o.scale_arcsec_per_px = std::nan(""); }));
    CHECK(refused([](auto& o) { o.fwhm_arcsec = 0.2; }));
    CHECK(refused([](auto& o) { o.exposure_s = -1.0; }));
    CHECK(refused([](auto& o) { o.residual_share = -0.1; }));
    CHECK(refused([](auto& o) { o.band = "purple"; }));
    CHECK(refused([](auto& o) { o.width_px = 1000000; }));
    CHECK(refused([](auto& o) { o.start_utc = "yesterday"; }));
    CHECK(refused([](auto& o) { o.start_utc = "2023-09-18T00:30:00"; }));  // below the horizon
    CHECK(refused([](auto& o) { o.rotation_deg = 1e9; }));

    RehearsalOptions options;
    options.defocused_share = 1.5;
    CHECK_FALSE(invent_campaign(options));
    options = {};
    options.host_angle_deg = std::nan("");
    CHECK_FALSE(invent_campaign(options));
}
