// SPDX-License-Identifier: MIT
#include "photometry/scene.hpp"

#include <fmt/format.h>

#include <catch2/catch.hpp>
#include <cmath>
#include <limits>
#include <numbers>

#include "gaussian_galaxy.hpp"
#include "numerics/robust.hpp"
#include "photometry/noise.hpp"
#include "photometry/scene_optics.hpp"
#include "photometry/scene_zero.hpp"

using namespace emberline;
using namespace emberline::photometry;
using namespace emberline::test;

namespace {

constexpr double arcsec_a_px = 1.2;
constexpr double aperture_px = 2.5;

// A campaign beside a nucleus: every other frame taken after a meridian flip, seeing between 2.6 and 3.7″.
struct Case {
    Galaxy kind = Galaxy::smooth;
    double offset_arcsec = 12.0;
    double host_over_transient = 1.0;  // light in an aperture of 2.5 px on the first frame
    double transient_e = 2e5;
    int frames = 4;
    int faded = 0;  // more frames, without the transient
};

struct Campaign {
    std::vector<GalaxyView> views;
    std::vector<Psf> psfs;
    std::vector<Surroundings> around;
    std::vector<SceneFrame> frames;
    SceneOptions options;
    std::vector<double> truth;  // on the common scale
};

Campaign make_campaign(const Case& c, std::uint64_t seed) {
    numerics::Random random(seed);
    Campaign out;
    GaussianGalaxy host = make_galaxy(c.kind, 10.0, 1.0, random);
    const double way = random.uniform(0.0, 2.0 * std::numbers::pi);
    const double east = c.offset_arcsec * std::cos(way), north = c.offset_arcsec * std::sin(way);
    out.options.nucleus = SkyShift{east, north, 0.0};
    const int n = c.frames + c.faded;
    for (int f = 0; f < n; ++f) {
        GalaxyView v;
        v.core.fwhm_px = random.uniform(2.2, 3.1);
        v.core.elongation = random.uniform(1.0, 1.15);
        v.core.direction_rad = random.uniform(0.0, 3.0);
        const double turn = random.gaussian(0.0, 0.01) + (f % 2 == 1 ? std::numbers::pi : 0.0);
        const double co = std::cos(turn) / arcsec_a_px, si = std::sin(turn) / arcsec_a_px;
        v.px_per_arcsec = {-co, si, si, co};
        v.transient = {100.0 + random.uniform(-0.5, 0.5), 100.0 + random.uniform(-0.5, 0.5)};
        v.scale = random.uniform(0.8, 1.1);
        v.shift_x = random.gaussian(0.0, 0.05);
        v.shift_y = random.gaussian(0.0, 0.05);
        out.views.push_back(v);
        out.psfs.push_back(*Psf::make(v.core));
    }
    const auto unit = galaxy_image(host, east, north, out.views[0], out.psfs[0]);
    double sum = 0.0;
    for (int y = 0, k = 0; y < 41; ++y) {
        for (int x = 0; x < 41; ++x, ++k) {
            const auto b = out.views[0].box();
            if (std::hypot(b.x0 + x - out.views[0].transient.x, b.y0 + y - out.views[0].transient.y) <
                aperture_px)
                sum += unit[static_cast<std::size_t>(k)] / out.views[0].scale;
        }
    }
    const double brightness = c.host_over_transient * 0.8 * c.transient_e / sum;
    for (GaussianLight& part : host.parts)
        part.light *= brightness;
    host.nucleus_light *= brightness;
    constexpr double scale_err = 0.002;
    for (std::size_t f = 0; f < out.views.size(); ++f) {
        const GalaxyView& v = out.views[f];
        out.truth.push_back(static_cast<int>(f) < c.frames ? c.transient_e : 0.0);
        out.around.push_back(expose_galaxy(galaxy_image(host, east, north, v, out.psfs[f]), out.truth[f], v,
                                           out.psfs[f], random));
    }
    for (std::size_t f = 0; f < out.views.size(); ++f) {
        const double scale = out.views[f].scale * (1.0 + random.gaussian(0.0, scale_err));
        out.frames.push_back({.around = nullptr,
                              .grid = {{aperture_px, 4.0, 0.0}, 2},
                              .scale = scale,
                              .scale_err = scale_err});
    }
    return out;
}
// The frames point into the campaign, wherever it has come to lie.
Result<SceneFit> fit(Campaign& c) {
    for (std::size_t f = 0; f < c.frames.size(); ++f)
        c.frames[f].around = &c.around[f];
    return fit_scene(c.frames, c.options);
}

struct Judged {
    double relative = 0.0;  // (flux − truth) / transient
    double sigma = 0.0;     // relative
    double common = 0.0;    // relative
};
// The mean over the frames that hold the transient, on the common scale.
Judged judge(const Campaign& c, const SceneFit& fit, std::size_t aperture) {
    double sum = 0.0, variance = 0.0, common = 0.0, transient = 0.0;
    for (std::size_t f = 0; f < c.frames.size(); ++f) {
        if (c.truth[f] == 0.0) continue;
        const bool psf = aperture == 2;
        const auto& v = c.views[f];
        const double radius = c.frames[f].grid.radii_px[aperture];
        const double share = v.scale * (psf ? 1.0 : c.psfs[f].encircled(v.transient, radius));
        const double sky_e = c.around[f].sky_scatter_adu * v.gain;
        const double area =
            psf ? c.psfs[f].noise_area_px(v.transient) : square_area_px(std::numbers::pi * radius * radius);
        const double photons = (psf ? c.psfs[f].photon_factor(v.transient) : 1.0) * c.truth[f] * share +
                               fit.lights[f].host_e[aperture];
        sum += fit.lights[f].flux_e[aperture] / share;
        variance += (photons + area * sky_e * sky_e + fit.lights[f].variance_e2[aperture]) / (share * share);
        common += fit.lights[f].common_err_e[aperture] / share;
        transient += c.truth[f];
    }
    return {sum / transient - 1.0, std::sqrt(variance + common * common) / transient, common / transient};
}

struct Tally {
    std::vector<double> pulls, relative, sigma, common;
    void add(const Judged& j) {
        pulls.push_back(j.relative / j.sigma);
        relative.push_back(j.relative);
        sigma.push_back(j.sigma);
        common.push_back(j.common);
    }
};
Tally tally(const Case& c, int seeds, std::size_t aperture) {
    Tally t;
    for (int seed = 0; seed < seeds; ++seed) {
        Campaign campaign = make_campaign(c, 4000 + static_cast<std::uint64_t>(seed));
        const auto fitted = fit(campaign);
        REQUIRE(fitted);
        t.add(judge(campaign, *fitted, aperture));
    }
    return t;
}
double mean(const std::vector<double>& v) {
    double sum = 0.0;
    for (const double x : v)
        sum += x;
    return sum / static_cast<double>(v.size());
}

}  // namespace

TEST_CASE("a tabulated point is the PSF's own image, wherever in a pixel it falls", "[scene]") {
    const auto psf = Psf::make({.fwhm_px = 2.5, .moffat_beta = 3.5, .elongation = 1.1, .direction_rad = 0.4});
    REQUIRE(psf);
    const PointImage points(*psf, {50.0, 50.0}, 15.0);
    std::vector<std::array<int, 2>> pixels;
    for (int y = 40; y <= 60; ++y) {
        for (int x = 40; x <= 60; ++x)
            pixels.push_back({x, y});
    }
    std::vector<double> seen;
    const double peak = psf->share({50.0, 50.0}, 50, 50);
    for (const frame::PixelPosition star :
         {frame::PixelPosition{50.13, 49.71}, {51.49, 48.55}, {47.9, 52.01}}) {
        points.shares(star, pixels, seen);
        double worst = 0.0;
        for (std::size_t i = 0; i < pixels.size(); ++i)
            worst = std::max(worst, std::abs(seen[i] - psf->share(star, pixels[i][0], pixels[i][1])));
        CHECK(worst < 5e-4 * peak);
    }
}

TEST_CASE("points a FWHM/1.6 apart stand for smooth light to a few thousandths of its peak", "[scene]") {
    const auto psf = Psf::make({.fwhm_px = 2.5, .moffat_beta = 3.5});
    REQUIRE(psf);
    const PointImage points(*psf, {0.0, 0.0}, 30.0);
    const double spacing = 2.5 / 1.6, sigma = 2.0;
    const auto light = [&](double x, double y) { return std::exp(-0.5 * (x * x + y * y) / (sigma * sigma)); };
    std::vector<std::array<int, 2>> pixels;
    for (int i = -6; i <= 6; ++i)
        pixels.push_back({i, i / 2});
    const auto blurred = [&](double step) {
        std::vector<double> sum(pixels.size(), 0.0), one;
        const int half = static_cast<int>(std::ceil(11.0 / step));
        for (int j = -half; j <= half; ++j) {
            for (int i = -half; i <= half; ++i) {
                points.shares({(i + 0.3) * step, (j - 0.2) * step}, pixels, one);
                for (std::size_t k = 0; k < one.size(); ++k)
                    sum[k] += step * step * light((i + 0.3) * step, (j - 0.2) * step) * one[k];
            }
        }
        return sum;
    };
    const auto coarse = blurred(spacing), fine = blurred(spacing / 8.0);
    // The ripple of the grid, before the fit evens it out; against all of the light it is a thousandth of
    // that.
    double total = 0.0, off = 0.0;
    for (std::size_t k = 0; k < fine.size(); ++k) {
        CHECK(std::abs(coarse[k] - fine[k]) < 3e-3 * fine[6]);
        total += fine[k];
        off += coarse[k] - fine[k];
    }
    CHECK(std::abs(off) < 1e-3 * total);
}

TEST_CASE("frames of different seeing, before and after a flip, give one transient's fluxes back",
          "[scene]") {
    Campaign c = make_campaign({.kind = Galaxy::smooth, .host_over_transient = 0.3, .frames = 6}, 11);
    const auto fitted = fit(c);
    REQUIRE(fitted);
    REQUIRE(fitted->lights.size() == 6);
    REQUIRE(fitted->models.size() == 6);
    for (std::size_t f = 0; f < 6; ++f) {
        const HostLight& light = fitted->lights[f];
        REQUIRE(light.flux_e.size() == 3);
        CHECK(light.method == HostMethod::scene);
        CHECK(light.caveats.has(Caveat::host_modelled));
        // Noise of one frame is 0.4 %; a common error of less than 1 %.
        CHECK(light.flux_e[2] / c.views[f].scale == Approx(2e5).epsilon(0.02));
        const double enclosed = c.psfs[f].encircled(c.views[f].transient, aperture_px);
        CHECK(light.flux_e[0] / c.views[f].scale / enclosed == Approx(2e5).epsilon(0.02));
        CHECK(light.variance_e2[0] >= 0.0);
        CHECK(fitted->models[f].box == c.around[f].cutout.box);
    }
    CHECK(std::hypot(fitted->position.east_arcsec, fitted->position.north_arcsec) <
          4.0 * std::max(fitted->position.err_arcsec, 0.01));
    CHECK(fitted->chi2 / static_cast<double>(fitted->pixels) == Approx(1.0).margin(0.1));
}

TEST_CASE("errors beside a nucleus are honest, on a smooth host and on one of arms and knots", "[scene]") {
    // 16 campaigns: the robust spread itself scatters by a quarter, the median pull by as much.
    for (const Galaxy kind : {Galaxy::smooth, Galaxy::clumpy}) {
        const Tally t = tally({.kind = kind, .offset_arcsec = 10.0, .frames = 3}, 16, 0);
        INFO((kind == Galaxy::smooth ? "smooth" : "clumpy")
             << ": spread of pulls " << numerics::robust_spread(t.pulls) << ", mean relative error "
             << mean(t.relative) << ", median sigma " << numerics::median(t.sigma));
        CHECK(numerics::robust_spread(t.pulls) > 0.4);
        CHECK(numerics::robust_spread(t.pulls) < 1.6);
        CHECK(std::abs(numerics::median(t.pulls)) < 0.9);
        CHECK(std::abs(mean(t.relative)) < 0.028);  // 30 mmag
        CHECK(numerics::median(t.sigma) < 0.06);
    }
}

TEST_CASE("frames from after the fade shrink the common error", "[scene]") {
    Case c{.kind = Galaxy::clumpy, .offset_arcsec = 8.0, .host_over_transient = 2.0, .frames = 3};
    Campaign alone = make_campaign(c, 21);
    c.faded = 3;
    Campaign joined = make_campaign(c, 21);
    const auto before = fit(alone), after = fit(joined);
    REQUIRE(before);
    REQUIRE(after);
    CHECK(std::abs(after->host_common_err) < 0.5 * before->host_common_err);
    const Judged j = judge(joined, *after, 0);
    CHECK(std::abs(j.relative) < 4.0 * j.sigma);
    // And more so where the observer says so.
    for (std::size_t f = 3; f < 6; ++f)
        joined.frames[f].after_fade = true;
    const auto told = fit(joined);
    REQUIRE(told);
    CHECK(told->host_common_err < 0.5 * before->host_common_err);
    const Judged known = judge(joined, *told, 0);
    CHECK(std::abs(known.relative) < 4.0 * known.sigma);
}

TEST_CASE("a fade fixes the zero only where it is sure", "[scene]") {
    // One level: nothing is learned, however near zero.
    CHECK_FALSE(zero_by_fade({{10, 1}, {11, 1}, {9, 1}}, 20.0));
    CHECK_FALSE(zero_by_fade({{10, 1}}, 20.0));
    CHECK_FALSE(zero_by_fade({{100, 1}, {0, 1}}, 0.0));
    CHECK_FALSE(zero_by_fade({{std::nan(""), 1}, {0, 1}}, 1.0));
    CHECK_FALSE(zero_by_fade({{100, 0}, {0, 1}}, 1.0));
    // A deep fall to 5, common error 5: the faintest level is the error itself, to its noise.
    const auto none = zero_by_fade({{1000, 1}, {900, 1}, {5, 1}, {5, 1}}, 5.0);
    REQUIRE(none);
    CHECK(none->mean == Approx(5.0).margin(0.5));
    CHECK(none->err < 1.5);
    // A shallow fall far above the common error leaves it as it is.
    const auto some = zero_by_fade({{1000, 1}, {900, 1}}, 5.0);
    REQUIRE(some);
    CHECK(some->mean == Approx(0.0).margin(0.05));
    CHECK(some->err == Approx(5.0).epsilon(0.02));
    // Light below zero is impossible: the host must be fainter than fitted.
    const auto below = zero_by_fade({{1000, 1}, {-50, 1}}, 30.0);
    REQUIRE(below);
    CHECK(below->mean < -45.0);
}

TEST_CASE("one spoilt frame does not spoil the others", "[scene]") {
    Campaign c = make_campaign({.host_over_transient = 0.5, .frames = 5}, 31);
    Campaign spoilt = c;
    // A trail of a satellite across the cut-out, and the field moved by a pixel and a half.
    spoilt.around[2].transient.x += 1.5;
    for (int x = 82; x <= 118; ++x)
        spoilt.around[2].cutout.at(x, 88 + x / 20) += 3000.0F;
    const auto good = fit(c), bad = fit(spoilt);
    REQUIRE(good);
    REQUIRE(bad);
    for (const std::size_t f : {0U, 1U, 3U, 4U}) {
        const double sigma = std::sqrt(good->lights[f].flux_e[0]);
        CHECK(std::abs(bad->lights[f].flux_e[0] - good->lights[f].flux_e[0]) <
              4.0 * std::hypot(sigma, bad->lights[f].common_err_e[0]));
    }
    CHECK_FALSE(bad->lights[2].remarks.empty());
}

TEST_CASE("a cosmic ray on the transient is masked and flagged", "[scene]") {
    Campaign c = make_campaign({.host_over_transient = 0.5, .frames = 4}, 41);
    Campaign hit = c;
    const auto& t = hit.around[1].transient;
    hit.around[1].cutout.at(static_cast<int>(std::lround(t.x)) + 1, static_cast<int>(std::lround(t.y))) +=
        40000.0F;
    const auto clean = fit(c), masked = fit(hit);
    REQUIRE(clean);
    REQUIRE(masked);
    CHECK(masked->lights[1].caveats.has(Caveat::cosmic_ray));
    CHECK_FALSE(masked->lights[0].caveats.has(Caveat::cosmic_ray));
    CHECK(masked->lights[1].flux_e[0] == Approx(clean->lights[1].flux_e[0]).epsilon(0.03));
}

TEST_CASE("on the nucleus the error says that little is known", "[scene]") {
    Campaign c = make_campaign({.offset_arcsec = 0.5, .host_over_transient = 2.0, .frames = 4}, 51);
    const auto fitted = fit(c);
    REQUIRE(fitted);
    CHECK(fitted->lights[0].caveats.has(Caveat::on_nucleus));
    CHECK_FALSE(fitted->remarks.empty());
    const Judged j = judge(c, *fitted, 0);
    CHECK(j.sigma > 0.05);
    CHECK(std::abs(j.relative) < 4.0 * j.sigma);
}

TEST_CASE("without a nucleus, and from one frame alone, there is an answer with its error", "[scene]") {
    Campaign c = make_campaign({.offset_arcsec = 12.0, .frames = 1}, 61);
    const auto with = fit(c);
    REQUIRE(with);
    c.options.nucleus.reset();
    const auto without = fit(c);
    REQUIRE(without);
    for (const auto* one : {&*with, &*without}) {
        const Judged j = judge(c, *one, 0);
        INFO("relative error " << j.relative << ", sigma " << j.sigma);
        CHECK(std::abs(j.relative) < 4.0 * j.sigma);
        CHECK(std::abs(j.relative) < 0.3);
    }
}

TEST_CASE("frames beyond those that make the host are measured with it", "[scene]") {
    Campaign c = make_campaign({.host_over_transient = 0.5, .frames = 2}, 71);
    const std::size_t n = 45;
    while (c.frames.size() < n) {
        const std::size_t f = c.frames.size() % 2;
        c.frames.push_back(c.frames[f]);
        c.around.push_back(c.around[f]);
        c.views.push_back(c.views[f]);
        c.psfs.push_back(c.psfs[f]);
        c.truth.push_back(c.truth[f]);
    }
    const auto fitted = fit(c);
    REQUIRE(fitted);
    // The same pixels must give nearly the same flux whether they took part or not.
    for (std::size_t f = 0; f < n; ++f)
        CHECK(fitted->lights[f].flux_e[0] == Approx(fitted->lights[f % 2].flux_e[0]).epsilon(0.01));
}

TEST_CASE("frames that cannot be used are named, and never spoil a fit", "[scene]") {
    CHECK_FALSE(fit_scene({}, {}));
    CHECK_FALSE(fit_scene({SceneFrame{}}, {}));
    Campaign c = make_campaign({.frames = 3}, 81);
    const auto refused = [&](auto change) {
        Campaign one = c;
        one.frames.resize(1);
        one.around.resize(1);
        change(one);
        return fit(one);
    };
    for (const auto& result :
         {refused([](Campaign& o) { o.around[0].psf.clear(); }), refused([](Campaign& o) {
              o.around[0].psf = {1.0, std::nan("")};
          }),
          refused([](Campaign& o) { o.around[0].gain_e_per_adu = 0.0; }),
          refused([](Campaign& o) { o.around[0].sky_scatter_adu = std::nan(""); }), refused([](Campaign& o) {
              o.around[0].px_per_arcsec = {0, 0, 0, 0};
          }),
          refused([](Campaign& o) { o.frames[0].scale = 0.0; }),
          refused([](Campaign& o) { o.around[0].transient.x = std::numeric_limits<double>::infinity(); }),
          refused([](Campaign& o) { o.around[0].transient.x = 1e9; }),
          refused([](Campaign& o) { o.around[0].cutout.adu.resize(7); }), refused([](Campaign& o) {
              for (float& adu : o.around[0].cutout.adu)
                  adu = std::numeric_limits<float>::quiet_NaN();
          }),
          refused([](Campaign& o) {
              o.around[0].cutout = {{98, 98, 5, 5}, std::vector<float>(25, 400.0F)};
          })}) {
        REQUIRE_FALSE(result);
        CHECK_FALSE(result.error().what.empty());
        CHECK_FALSE(result.error().mend.empty());
    }
    // Beside good ones, a bad frame has no flux and says why; a torn cut-out still counts.
    Campaign mixed = c;
    mixed.around[1].psf.clear();
    for (int y = 80; y < 92; ++y) {
        for (int x = 85; x < 115; ++x)
            mixed.around[2].cutout.at(x, y) = std::numeric_limits<float>::quiet_NaN();
    }
    const auto fitted = fit(mixed);
    REQUIRE(fitted);
    CHECK(std::isnan(fitted->lights[1].flux_e[0]));
    CHECK_FALSE(fitted->lights[1].remarks.empty());
    CHECK(std::isfinite(fitted->lights[0].flux_e[0]));
    CHECK(std::isfinite(fitted->lights[2].flux_e[0]));
}

// Run with "[scene-table]": minutes. The figures of the table are quoted with the method's description.
TEST_CASE("the scene's errors by offset, brightness and host", "[.long][scene-table]") {
    const int seeds = 200;
    for (const int faded : {0, 4}) {
        for (const Galaxy kind : {Galaxy::smooth, Galaxy::clumpy}) {
            for (const double offset : {3.0, 6.0, 12.0, 25.0}) {
                for (const double ratio : {0.1, 1.0, 5.0}) {
                    const Tally t = tally({kind, offset, ratio, 2e5, 4, faded}, seeds, 0);
                    const double bias = mean(t.relative), spread = numerics::robust_spread(t.pulls);
                    fmt::print(
                        "{} {:4.0f}″ host/transient {:3.1f} faded {}: bias {:+.4f} sigma {:.4f} common "
                        "{:.4f} "
                        "pulls {:+.2f} ± {:.2f}\n",
                        kind == Galaxy::smooth ? "smooth" : "clumpy", offset, ratio, faded, bias,
                        numerics::median(t.sigma), numerics::median(t.common), numerics::median(t.pulls),
                        spread);
                    if (offset >= 6.0) CHECK(std::abs(bias) < std::max(0.028, 0.01 * ratio));
                    CHECK(spread < 1.3);
                }
            }
        }
    }
}
