// SPDX-License-Identifier: MIT
// Light curves of many points fitted: processor seconds for each model and for the Gaussian process.
//   emberline_curve_bench [POINTS 10000] [POINTS OF THE LONG LINE 100000]
// The curve is a supernova's: a rise, a peak and a decline that flattens. Three series with offsets of their
// own, five common errors, Gaussian noise of 0.02 mag and one point in a hundred that is off by 0.5 mag or
// so.
#include <fmt/format.h>

#include <cmath>
#include <cstdlib>
#include <ctime>
#include <string>

#include "bench.hpp"
#include "lightcurve/fit.hpp"
#include "lightcurve/gaussian_process.hpp"
#include "numerics/random.hpp"

namespace {

using namespace emberline;

constexpr double epoch_bjd = 2460400.5, length_d = 200.0, err_mag = 0.02;

double supernova_mag(double days) {
    const double rise = std::exp(-0.5 * std::pow((days - 18.0) / 12.0, 2));
    return 16.0 + 0.012 * days - 2.2 * rise + 6.0 * std::exp(-days / 3.0);
}

double fade_mag(double days) {
    return 14.0 + 0.02 * days;
}

lightcurve::LightCurve make_curve(std::size_t points, double (*mag_at)(double)) {
    constexpr double offset_err_mag[] = {0.03, 0.05};  // of the second and third series against the first
    numerics::Random random(12);
    lightcurve::LightCurve curve;
    curve.band = parse_band("V").value();
    curve.series = {"own", "second", "third"};
    curve.common_names = {"zero point", "colour term", "flat field", "offset of second", "offset of third"};
    double commons[5];
    for (double& common : commons)
        common = random.gaussian();
    for (std::size_t i = 0; i < points; ++i) {
        const double days = length_d * static_cast<double>(i) / static_cast<double>(points);
        lightcurve::Point point;
        point.bjd_tdb = point.jd_utc = epoch_bjd + days;
        point.series = i % 3;
        point.common_err_mag = {0.02, 0.01 * std::sin(days), 0.005 * random.uniform(-1.0, 1.0),
                                point.series == 1 ? offset_err_mag[0] : 0.0,
                                point.series == 2 ? offset_err_mag[1] : 0.0};
        double mag = mag_at(days) + random.gaussian(0.0, i % 100 == 50 ? 0.5 : err_mag);
        for (std::size_t k = 0; k < 5; ++k)
            mag += commons[k] * point.common_err_mag[k];
        point.magnitude_mag = mag;
        point.random_err_mag = err_mag;
        curve.points.push_back(point);
    }
    return curve;
}

double report(const std::string& name, std::size_t points, const auto& work) {
    // Of the processor, so that other work on the machine does not count; one thread does it all.
    const double start = bench::processor_s();
    const Result<lightcurve::CurveFit> fit = work();
    const double seconds = bench::processor_s() - start;
    fmt::print("{:28} {:7} points {:8.3f} s  ", name, points, seconds);
    if (fit) {
        fmt::print("BIC {:.0f}, starts {} ({} agree), {}, scatter {:.4f} mag\n", fit->bic, fit->starts,
                   fit->starts_agreeing,
                   fit->student_nu ? fmt::format("t of {:.0f}", *fit->student_nu) : "Gaussian",
                   fit->extra_scatter_mag);
    } else {
        fmt::print("{}\n", one_line(fit.error()));
    }
    return seconds;
}

}  // namespace

int main(int argc, char** argv) {
    const auto number = [&](int i, std::size_t otherwise) {
        return argc > i ? static_cast<std::size_t>(std::atoll(argv[i])) : otherwise;
    };
    const std::size_t points = number(1, 10000), long_points = number(2, 100000);
    const auto curve = make_curve(points, supernova_mag);
    const lightcurve::ModelContext context{.explosion_bjd_tdb = ValueWithError{epoch_bjd - 1.0, 0.5},
                                           .redshift = 0.0};
    std::string slowest;
    double most_s = 0.0;
    for (const std::string& name : lightcurve::model_names()) {
        const double seconds = report(name, points, [&] {
            std::shared_ptr<const lightcurve::Model> model = lightcurve::make_model(name, context).value();
            return lightcurve::fit(curve, model);
        });
        if (seconds > most_s) {
            most_s = seconds;
            slowest = name;
        }
    }
    bench::figure(fmt::format("light curve of {} points, slowest model ({})", points, slowest),
                  bench::Goal::at_most, 1.0, most_s, " s");
    most_s = 0.0;
    for (const auto smoothness : {lightcurve::Smoothness::matern_3_2, lightcurve::Smoothness::matern_5_2}) {
        const double seconds =
            report(smoothness == lightcurve::Smoothness::matern_3_2 ? "gaussian-process-3/2"
                                                                    : "gaussian-process-5/2",
                   points, [&] { return lightcurve::fit_gaussian_process(curve, smoothness); });
        most_s = std::max(most_s, seconds);
    }
    bench::figure(fmt::format("light curve of {} points, Gaussian process", points), bench::Goal::at_most,
                  1.0, most_s, " s");
    std::string growth;
    for (const std::size_t n : {long_points / 100, long_points / 10, long_points}) {
        const auto line = make_curve(n, fade_mag);
        const double seconds =
            report("straight-line", n, [&] { return lightcurve::fit(line, lightcurve::straight_line()); });
        growth += fmt::format("{}{:.3f} s of {}", growth.empty() ? "" : ", ", seconds, n);
    }
    bench::grows("a straight line fitted to points", growth);
    return 0;
}
