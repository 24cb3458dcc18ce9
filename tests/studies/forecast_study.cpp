// SPDX-License-Identifier: MIT
// tests/studies/forecast_study — how often later points lie where a forecast said that they would.
//
//   EMBERLINE_DATASETS=folder emberline_forecast_study [threads]
//
// Published curves are cut 7 to 150 days after maximum, and what follows is compared with the forecast of
// what came before: early, to 20 days after maximum; middle, to 50; late. A later point counts by its
// distance from the median in units of the forecast's one sigma, its own error in quadrature. Exit status 1:
// one sigma of all holds less than 0.6 or more than 0.8 of them.
#include <fmt/format.h>

#include <algorithm>
#include <atomic>
#include <cmath>
#include <cstdlib>
#include <mutex>
#include <string>
#include <thread>
#include <vector>

#include "exchange/series.hpp"
#include "lightcurve/analysis.hpp"
#include "lightcurve/forecast.hpp"

namespace {

using namespace emberline;
using lightcurve::LightCurve;
using lightcurve::Point;

constexpr double horizons_d[] = {1.0, 5.0, 10.0, 20.0, 30.0};
constexpr double most_apart_share = 0.3;  // of a horizon, and at least a night: a point that counts for it

struct Cut {
    std::string kind;  // by the days since maximum
    LightCurve before;
    std::vector<Point> later;
};

struct Outcome {
    std::string kind;
    double horizon_d = 0.0;
    double pull = 0.0, bare_pull = 0.0;  // bare: by the fits alone, no rate wandering
};

// Days after the cut of the later points that stand for the horizons.
std::vector<std::pair<double, Point>> chosen_points(const Cut& cut) {
    const double last = cut.before.points.back().bjd_tdb;
    std::vector<std::pair<double, Point>> out;
    for (const double horizon : horizons_d) {
        const Point* best = nullptr;
        for (const Point& p : cut.later) {
            if (p.is_limit || !p.magnitude_mag) continue;
            if (best == nullptr ||
                std::abs(p.bjd_tdb - last - horizon) < std::abs(best->bjd_tdb - last - horizon))
                best = &p;
        }
        if (best == nullptr) continue;
        if (std::abs(best->bjd_tdb - last - horizon) > std::max(1.0, most_apart_share * horizon)) continue;
        out.emplace_back(horizon, *best);
    }
    return out;
}

// In sigmas of the side on which the point lies.
double pull_of(const Point& p, const lightcurve::ForecastPoint& f) {
    const double apart = *p.magnitude_mag - f.mag;
    return apart /
           std::hypot(apart > 0.0 ? f.high_mag - f.mag : f.mag - f.low_mag, p.random_err_mag.value_or(0.03));
}

std::vector<Outcome> forecast_of(const Cut& cut) {
    LightCurve before = cut.before;
    const lightcurve::Analysis analysis = lightcurve::analyse(before);
    const auto forecast = lightcurve::Forecast::make(analysis.fits, analysis.choice.weights);
    const auto bare = lightcurve::Forecast::make(analysis.fits, analysis.choice.weights, {.wander = 0.0});
    std::vector<Outcome> out;
    if (!forecast) return out;
    const auto points = chosen_points(cut);
    std::vector<double> times;
    for (const auto& [horizon, point] : points)
        times.push_back(point.bjd_tdb);
    if (times.empty()) return out;
    const auto ahead = forecast->at(times), alone = bare->at(times);
    for (std::size_t i = 0; i < points.size(); ++i)
        out.push_back({cut.kind, points[i].first, pull_of(points[i].second, ahead[i]),
                       pull_of(points[i].second, alone[i])});
    return out;
}

// Past maximum, or of a plateau: what a campaign follows.
void add_published(const std::string& path, std::vector<Cut>& cuts) {
    const auto series = exchange::read_series(path);
    if (!series) return;
    for (LightCurve curve : series->curves) {
        if (curve.points.size() < 15) continue;
        lightcurve::sort_by_time(curve);
        std::size_t brightest = 0;
        for (std::size_t i = 0; i < curve.points.size(); ++i) {
            if (curve.points[i].magnitude_mag &&
                *curve.points[i].magnitude_mag < curve.points[brightest].magnitude_mag.value_or(99.0))
                brightest = i;
        }
        const double first = curve.points.front().bjd_tdb, peak = curve.points[brightest].bjd_tdb;
        for (const double after : {7.0, 15.0, 25.0, 40.0, 60.0, 90.0, 150.0}) {
            Cut cut;
            cut.before = curve;
            cut.before.points.clear();
            for (const Point& p : curve.points)
                (p.bjd_tdb <= std::max(peak, first) + after ? cut.before.points : cut.later).push_back(p);
            const bool recent =
                !cut.before.points.empty() && peak + after - cut.before.points.back().bjd_tdb < 8.0;
            if (cut.before.points.size() < 6 || cut.later.empty() || !recent) continue;
            cut.kind = after < 20.0 ? "early" : after < 50.0 ? "middle" : "late";
            cuts.push_back(std::move(cut));
        }
    }
}

template <class Wanted>
double print_row(const std::string& name, const std::vector<Outcome>& outcomes, const Wanted& wanted) {
    double n = 0.0, one = 0.0, two = 0.0, bare = 0.0;
    for (const Outcome& o : outcomes) {
        if (!wanted(o)) continue;
        n += 1.0;
        one += std::abs(o.pull) < 1.0;
        two += std::abs(o.pull) < 2.0;
        bare += std::abs(o.bare_pull) < 1.0;
    }
    fmt::print("{:24}{:6.0f}{:8.2f}{:8.2f}{:12.2f}\n", name, n, one / n, two / n, bare / n);
    return one / n;
}

}  // namespace

int main(int argc, char** argv) {
    const char* folder = std::getenv("EMBERLINE_DATASETS");
    std::vector<Cut> cuts;
    for (const char* file :
         {"SN1979C_Barbon1982_deVaucouleurs1981", "SN1987A_Catchpole_Whitelock_SAAO", "SN1990N_Lira1998",
          "SN2011fe_Munari2013", "SN2012aw_Bose2013", "SN2012fr_Contreras2018", "SN2013ej_Huang2015"}) {
        if (folder != nullptr) add_published(fmt::format("{}/lightcurves/{}.csv", folder, file), cuts);
    }
    const int threads = argc > 1 ? std::atoi(argv[1]) : 1;
    if (cuts.empty()) fmt::print("SKIPPED: EMBERLINE_DATASETS is not set.\n");
    std::atomic<std::size_t> next{0};
    std::mutex guard;
    std::vector<Outcome> outcomes;
    std::vector<std::thread> workers;
    for (int t = 0; t < threads; ++t) {
        workers.emplace_back([&] {
            for (std::size_t k = next++; k < cuts.size(); k = next++) {
                const auto found = forecast_of(cuts[k]);
                const std::lock_guard lock(guard);
                outcomes.insert(outcomes.end(), found.begin(), found.end());
            }
        });
    }
    for (std::thread& w : workers)
        w.join();
    fmt::print("{} cuts\n{:24}{:>6}{:>8}{:>8}{:>12}\n", cuts.size(), "", "n", "1 sigma", "2 sigma",
               "fits alone");
    for (const char* kind : {"early", "middle", "late"})
        print_row(kind, outcomes, [&](const Outcome& o) { return o.kind == kind; });
    for (const double horizon : horizons_d)
        print_row(fmt::format("{:g} d ahead", horizon), outcomes,
                  [&](const Outcome& o) { return o.horizon_d == horizon; });
    const double share = print_row("all", outcomes, [](const Outcome&) { return true; });
    return outcomes.empty() || (share > 0.6 && share < 0.8) ? 0 : 1;
}
