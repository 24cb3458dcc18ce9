// SPDX-License-Identifier: MIT
#include <fmt/format.h>

#include <cmath>
#include <vector>

#include "curve_study_coverage.hpp"
#include "curve_study_extras.hpp"
#include "curve_study_nights.hpp"
#include "lightcurve/fit.hpp"
#include "numerics/robust.hpp"

namespace curve_study {

using namespace emberline;
using lightcurve::LightCurve;

namespace {

constexpr double true_rate = 0.1, first_mag = 17.5, sky_limit_mag = 19.6, night_d = 2.0, pause_d = 20.0;
constexpr std::size_t nights = 9, last_nights = 5;

// A transient followed for a week, then after a pause found gone: five nights of true signal-to-noise 1.5 to
// 0.7. Few curves have to be drawn again for one of these being a detection, so that choosing those that end
// in five limits hardly chooses among rates.
LightCurve fade(numerics::Random& random) {
    const double err = flux_of(sky_limit_mag) / 3.0;
    for (;;) {
        LightCurve curve;
        curve.band = parse_band("V").value();
        for (std::size_t i = 0; i < nights; ++i) {
            const double day = night_d * static_cast<double>(i) + (i + last_nights >= nights ? pause_d : 0.0);
            const double flux = flux_of(first_mag + true_rate * day);
            const double noise = std::hypot(err, 0.01 * flux);
            curve.points.push_back(seen(first_bjd + day, flux + random.gaussian(0.0, noise), noise, true));
        }
        std::size_t at_end = 0;
        for (auto p = curve.points.rbegin(); p != curve.points.rend() && p->is_limit; ++p)
            ++at_end;
        if (at_end == last_nights) return curve;
    }
}

LightCurve without_flux(LightCurve curve) {
    for (auto& p : curve.points)
        p.flux.reset();
    return curve;
}

LightCurve without_limits(LightCurve curve) {
    std::erase_if(curve.points, [](const auto& p) { return p.is_limit; });
    return curve;
}

ValueWithError rate(const LightCurve& curve) {
    const auto fit = lightcurve::fit(curve, lightcurve::straight_line());
    return fit ? *fit->parameter("decline_rate") : ValueWithError{std::nan(""), std::nan("")};
}

void print_example(const LightCurve& curve) {
    fmt::print("  one of them:\n");
    for (const auto& p : curve.points) {
        fmt::print("    {:.3f}  {}\n", p.bjd_tdb,
                   p.is_limit ? fmt::format("> {:.2f} (3 sigma)", *p.limit_mag)
                              : fmt::format("{:.2f} ± {:.2f}", *p.magnitude_mag, *p.random_err_mag));
    }
}

}  // namespace

std::size_t study_limits(std::size_t curves, unsigned threads) {
    struct Way {
        const char* title;
        LightCurve (*shape)(LightCurve);
        double most_bias;  // in the spread of one rate
    };
    const Way ways[] = {
        {"with the limits' fluxes", [](LightCurve c) { return c; }, 0.25},
        {"with limits, no flux kept", without_flux, 0.35},
        {"detections alone", [](LightCurve c) { return without_limits(without_flux(std::move(c))); }, 1e9}};
    constexpr std::uint64_t first_seed = 6000000;
    numerics::Random one(first_seed);
    const LightCurve example = fade(one);
    fmt::print("a fade of {} mag/d whose last five nights are limits, {} curves\n", true_rate, curves);
    print_example(example);
    std::size_t wrong = 0;
    for (const Way& way : ways) {
        std::vector<double> errors(curves), pulls(curves), told(curves);
        over_curves(curves, threads, first_seed, [&](std::size_t i, auto& random) {
            const auto found = rate(way.shape(fade(random)));
            errors[i] = found.value - true_rate;
            pulls[i] = errors[i] / found.err;
            told[i] = found.err;
        });
        const double n = static_cast<double>(curves), spread = numerics::robust_spread(errors);
        double bias = 0.0;
        for (const double e : errors)
            bias += e / n;
        const bool good = std::abs(bias) < way.most_bias * spread + 3.0 * spread / std::sqrt(n);
        wrong += good ? 0 : 1;
        const auto shown = rate(way.shape(example));
        fmt::print(
            "  {:<28} this one {:.4f} ± {:.4f}; bias {:+.5f} ± {:.5f} mag/d, spread {:.5f}, error told "
            "{:.5f}, inside 1 sigma {:.3f}  {}\n",
            way.title, shown.value, shown.err, bias, spread / std::sqrt(n), spread, numerics::median(told),
            share_within(pulls, 1.0), good ? "ok" : "MISSED");
    }
    return wrong;
}

}  // namespace curve_study
