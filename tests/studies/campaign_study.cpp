// SPDX-License-Identifier: MIT
// tests/studies/campaign_study — does one sigma mean one sigma? Many independently seeded invented campaigns
// are measured from their frames on disk to their decline rates, and compared with the truth.
//
//   emberline_campaign_study [campaigns] [threads]
//
// For a pull p = (measured − truth) / error over all campaigns: the robust spread must lie in 0.9–1.1 and the
// mean of fluxes within 0.1 error. Random errors are scored by differences inside a campaign, where common
// ones cancel; common errors by the mean of a campaign, where random ones average out. Exit status 1: out of
// bounds.
#include <fmt/format.h>

#include <cmath>
#include <cstdlib>
#include <map>
#include <mutex>
#include <vector>

#include "frame/frame.hpp"
#include "lightcurve/fit.hpp"
#include "night/measure_frame.hpp"
#include "night/solve_campaign.hpp"
#include "numerics/robust.hpp"
#include "quantities/magnitude.hpp"
#include "rehearsal/rehearse.hpp"
#include "study.hpp"
#include "tasks/curves_of.hpp"

namespace {

using namespace emberline;
using study::mean_of;
using study::must;
using study::read_truth;

struct Scores {
    std::vector<double> frame_difference, night_difference, night_total, campaign_mean, rate;  // pulls
    std::vector<double> bright_error_mag;        // signal-to-noise above 20, night − truth
    std::vector<double> frame_flux, night_flux;  // (F − truth) / error
    std::size_t limits = 0, nights = 0;

    void add(const Scores& o) {
        const auto join = [](std::vector<double>& a, const std::vector<double>& b) {
            a.insert(a.end(), b.begin(), b.end());
        };
        join(frame_difference, o.frame_difference);
        join(night_difference, o.night_difference);
        join(night_total, o.night_total);
        join(campaign_mean, o.campaign_mean);
        join(rate, o.rate);
        join(bright_error_mag, o.bright_error_mag);
        join(frame_flux, o.frame_flux);
        join(night_flux, o.night_flux);
        limits += o.limits;
        nights += o.nights;
    }
};

// Var of a − b, or of the mean of several: random parts and the shared vectors.
double common_of(const std::vector<const night::Measurement*>& points, const std::vector<double>& weights) {
    std::map<std::string, double> sums;
    for (std::size_t i = 0; i < points.size(); ++i) {
        for (const auto& c : points[i]->common)
            sums[c.name] += weights[i] * c.err_mag;
    }
    double variance = 0.0;
    for (const auto& [name, v] : sums)
        variance += v * v;
    return variance;
}

// Of a flux, common errors included.
double flux_pull(const night::Measurement& m, double true_mag) {
    double common = 0.0;
    for (const auto& c : m.common)
        common += c.err_mag * c.err_mag;
    const double expected = flux_ratio(true_mag - m.zero_point_mag);
    return (m.flux_e.value - expected) /
           std::hypot(m.flux_e.err, std::sqrt(common) / mag_per_relative_flux * expected);
}

Scores one_campaign(const rehearsal::RehearsalOptions& options, const std::string& folder) {
    const auto summary = must(rehearsal::rehearse(folder, options));
    const auto truth = read_truth(folder);
    const auto campaign = must(night::read_campaign(folder));
    const auto sequence = must(standard::read_sequence(campaign.path(campaign.catalog)));
    std::vector<photometry::FrameFluxes> fluxes;
    for (const auto& [name, mag] : truth) {
        const std::string path = folder + "/" + name;
        for (const frame::Frame& frame : must(frame::open_frames(path, campaign.instruments))) {
            auto measured = night::measure_frame(frame, name, name, sequence, campaign);
            if (measured) fluxes.push_back(std::move(*measured));
        }
    }
    const night::Solution solution = must(night::solve_campaign(fluxes, sequence, campaign, {})).solution;
    Scores s;
    std::vector<double> frame_flux, night_flux, bright;
    std::map<std::string, std::vector<double>> night_truths;
    const night::FrameMeasurement* last = nullptr;
    for (const night::FrameMeasurement& f : solution.frames) {
        if (!f.used) continue;
        const double true_mag = truth.at(f.frame);
        night_truths[f.night + f.band.name()].push_back(flux_ratio(true_mag));
        frame_flux.push_back(flux_pull(f, true_mag));
        // Neighbouring frames of a night, each in one pair only, in flux over truth: common errors cancel,
        // and no frame is left out for being faint.
        if (last != nullptr && last->night == f.night && last->band == f.band) {
            const auto ratio = [&](const night::FrameMeasurement& m) {
                const double expected = flux_ratio(truth.at(m.frame) - m.zero_point_mag);
                return Flux{m.flux_e.value / expected, m.flux_e.err / expected};
            };
            const Flux one = ratio(f), other = ratio(*last);
            s.frame_difference.push_back((one.value - other.value) / std::hypot(one.err, other.err));
            last = nullptr;
        } else {
            last = &f;
        }
    }
    std::vector<const night::Measurement*> detected;
    std::vector<double> errors;
    for (const night::NightMeasurement& n : solution.nights) {
        double mean = 0.0;
        const auto& all = night_truths[n.night + n.band.name()];
        for (const double f : all)
            mean += f / static_cast<double>(all.size());
        const double true_mag = magnitude_difference(mean, 1.0);
        ++s.nights;
        night_flux.push_back(flux_pull(n, true_mag));
        if (n.is_limit) {
            ++s.limits;
            continue;
        }
        const double error = *n.magnitude_mag - true_mag;
        if (n.flux_e.signal_to_noise() > 20.0) bright.push_back(error);
        s.night_total.push_back(error / *n.total_err_mag());
        if (!detected.empty() && detected.back()->band == n.band && detected.size() % 2 == 1) {
            const night::Measurement& before = *detected.back();
            s.night_difference.push_back((error - errors.back()) /
                                         std::sqrt(std::pow(*n.random_err_mag, 2) +
                                                   std::pow(*before.random_err_mag, 2) +
                                                   common_of({&n, &before}, {1.0, -1.0})));
        }
        detected.push_back(&n);
        errors.push_back(error);
    }
    if (detected.size() >= 2) {
        const std::vector<double> equal(detected.size(), 1.0 / static_cast<double>(detected.size()));
        double mean = 0.0, variance = common_of(detected, equal);
        for (std::size_t i = 0; i < errors.size(); ++i) {
            mean += errors[i] * equal[i];
            variance += std::pow(*detected[i]->random_err_mag * equal[i], 2);
        }
        s.campaign_mean.push_back(mean / std::sqrt(variance));
    }
    // A campaign's nights share their common errors: only its mean is an independent value.
    for (const auto& [values, means] :
         {std::pair(&frame_flux, &s.frame_flux), std::pair(&night_flux, &s.night_flux),
          std::pair(&bright, &s.bright_error_mag)}) {
        if (!values->empty()) means->push_back(mean_of(*values));
    }
    std::vector<night::Measurement> points(solution.nights.begin(), solution.nights.end());
    for (const auto& curve : tasks::curves_of(points, campaign.measure.limit_sigma)) {
        const auto fitted = lightcurve::fit(curve, lightcurve::straight_line());
        if (!fitted) continue;
        const auto rate = lightcurve::decline_rate(*fitted);
        s.rate.push_back((rate->mag_per_day.value - summary.decline_mag_per_day) / rate->mag_per_day.err);
    }
    return s;
}

Scores many(const rehearsal::RehearsalOptions& base, std::size_t campaigns, unsigned threads,
            std::uint64_t first_seed) {
    Scores all;
    std::mutex lock;
    study::over_seeds(campaigns, threads, first_seed, [&](std::uint64_t seed, const std::string& folder) {
        rehearsal::RehearsalOptions options = base;
        options.seed = seed;
        const Scores one = one_campaign(options, folder);
        const std::scoped_lock held(lock);
        all.add(one);
    });
    return all;
}

int failures = 0;

void spread_line(const char* what, const std::vector<double>& pulls) {
    if (pulls.size() < 20) return;
    const double spread = numerics::robust_spread(pulls);
    // The spread of n pulls is itself uncertain by 0.8/√n or so; two of that are granted.
    const double grace = 2.0 * 0.8 / std::sqrt(static_cast<double>(pulls.size()));
    const bool good = spread > 0.9 - grace && spread < 1.1 + grace;
    failures += good ? 0 : 1;
    fmt::print("  {:<44} n {:6}  median {:+.3f}  robust spread {:.3f} ± {:.3f}  {}\n", what, pulls.size(),
               numerics::median(pulls), spread, 0.5 * grace, good ? "ok" : "OUT OF BOUNDS");
}

void bias_line(const char* what, const std::vector<double>& values, double most, const char* unit) {
    if (values.size() < 5) return;
    const double mean = mean_of(values);
    const double err = numerics::robust_spread(values) / std::sqrt(static_cast<double>(values.size()));
    const bool good = std::abs(mean) < most + 2.0 * err;
    failures += good ? 0 : 1;
    fmt::print("  {:<44} n {:6}  mean {:+.4f} ± {:.4f} {} (most {:g})  {}\n", what, values.size(), mean, err,
               unit, most, good ? "ok" : "OUT OF BOUNDS");
}

void report(const std::string& title, const Scores& s) {
    fmt::print("{}: {} nights, {} of them limits\n", title, s.nights, s.limits);
    bias_line("night − truth, signal-to-noise above 20", s.bright_error_mag, 0.003, "mag");
    bias_line("frame flux − truth, in its error", s.frame_flux, 0.1, "sigma");
    bias_line("night flux − truth, in its error", s.night_flux, 0.1, "sigma");
    spread_line("frames, random (differences in flux)", s.frame_difference);
    spread_line("nights, random and changing common", s.night_difference);
    // Detections among noise are its upper tail: magnitudes are scored where most nights have one.
    if (2 * s.limits > s.nights) return;
    spread_line("nights, total", s.night_total);
    spread_line("campaign means, common", s.campaign_mean);
    spread_line("decline rates", s.rate);
}

}  // namespace

int main(int argc, char** argv) {
    const std::size_t campaigns = argc > 1 ? std::strtoul(argv[1], nullptr, 10) : 200;
    const auto threads = static_cast<unsigned>(argc > 2 ? std::strtoul(argv[2], nullptr, 10) : 2);
    rehearsal::RehearsalOptions base;
    base.nights = 5;
    base.frames = 6;
    base.width_px = base.height_px = 400;
    base.host = false;
    struct Case {
        const char* title;
        double peak_mag, decline;
        int comparison_stars;
    };
    // Bright to hopeless; the brightest first. Catalogue errors make most of the bright ones' errors.
    const Case cases[] = {{"bright, 12 comparison stars", 13.0, 0.05, 12},
                          {"medium, 8 comparison stars", 15.5, 0.06, 8},
                          {"faint, 8 comparison stars", 18.0, 0.05, 8},
                          {"at the limit and beyond, 8 comparison stars", 20.5, 0.05, 8}};
    std::uint64_t seed = 1000;
    for (const Case& one : cases) {
        rehearsal::RehearsalOptions options = base;
        options.peak_mag = one.peak_mag;
        options.decline_mag_per_day = one.decline;
        options.comparison_stars = one.comparison_stars;
        report(fmt::format("{} campaigns, {}, seeds from {}", campaigns, one.title, seed),
               many(options, campaigns, threads, seed));
        seed += 100000;
    }
    return failures == 0 ? 0 : 1;
}
