// SPDX-License-Identifier: MIT
// A campaign's comparison stars and transient as fluxes, with every truth known.
#pragma once

#include <cmath>
#include <cstdint>
#include <string>
#include <vector>

#include "numerics/random.hpp"
#include "quantities/magnitude.hpp"
#include "standard/zero_points.hpp"

namespace emberline::test {

struct CampaignPlan {
    std::size_t frames = 30, stars = 10;
    double catalogue_err_mag = 0.02;
    double scatter_floor_mag = 0.0;  // of every star and frame, the transient too
    double missing_share = 0.1;      // of the stars' measurements
    double colour_term = 0.0;        // true
    bool fit_colour_term = false;
    bool colour_errors = false;           // the catalogue's colours share the errors of its magnitudes
    double extinction = 0.15;             // true
    std::size_t wrong_stars = 0;          // of these, the first ones, the catalogue is 10 sigma too faint
    double variable_amplitude_mag = 0.0;  // of the last star
    double outlier_share = 0.0;           // measurements with a tenth more light: aeroplanes, cosmic rays
    double transient_mag = 14.0, transient_colour_mag = 0.2;
    double cloud_mag = 0.8;  // frames lose up to this
    double background_e2 = 4e4;
};

struct SimulatedCampaign {
    standard::SolveInput input;
    std::vector<double> zero_points, offsets;           // true
    std::vector<double> transient_flux, transient_err;  // measured, one a frame
    double transient_mag = 0.0;                         // true
};

// Stars of 11 to 14.5 mag and colours of 0.3 to 1.3; zero points near 24 that wander with cloud.
inline SimulatedCampaign simulate_campaign(const CampaignPlan& plan, std::uint64_t seed) {
    const numerics::Random root(seed);
    numerics::Random sky = root.stream(1), light = root.stream(2), clouds = root.stream(3);
    SimulatedCampaign s;
    s.input.frames = plan.frames;
    s.input.fit_colour_term = plan.fit_colour_term;
    s.transient_mag = plan.transient_mag;
    std::vector<double> truth, colours, phase;
    double mean_colour = 0.0;
    for (std::size_t i = 0; i < plan.stars; ++i) {
        truth.push_back(sky.uniform(11.0, 14.5));
        colours.push_back(sky.uniform(0.3, 1.3));
        phase.push_back(sky.uniform(0.0, 6.28));
        mean_colour += colours.back() / static_cast<double>(plan.stars);
        double catalogue = truth.back() + sky.gaussian(0.0, plan.catalogue_err_mag);
        if (i < plan.wrong_stars) catalogue = truth.back() + 10.0 * plan.catalogue_err_mag;
        s.offsets.push_back(truth.back() - catalogue);
        standard::SolveStar star{std::to_string(i), catalogue, plan.catalogue_err_mag, colours.back()};
        if (plan.colour_errors) {  // of V and B−V: e(B−V) = e(B) − e(V)
            star.colour_mag =
                colours.back() + sky.gaussian(0.0, plan.catalogue_err_mag) - (catalogue - truth.back());
            star.colour_err_mag = std::sqrt(2.0) * plan.catalogue_err_mag;
            star.colour_covariance_mag2 = -plan.catalogue_err_mag * plan.catalogue_err_mag;
        }
        s.input.stars.push_back(star);
    }
    const auto measure = [&](double mag, double zero_point, const photometry::NoiseTerms& noise) {
        const double dimmed = mag + light.gaussian(0.0, plan.scatter_floor_mag);
        const double flux = std::pow(10.0, -0.4 * (dimmed - zero_point));
        return light.gaussian(flux, std::sqrt(noise.variance_e2(flux)));
    };
    const photometry::NoiseTerms noise{plan.background_e2, 0.002};
    for (std::size_t f = 0; f < plan.frames; ++f) {
        const double airmass = 1.0 + 0.5 * static_cast<double>(f) / static_cast<double>(plan.frames);
        s.zero_points.push_back(24.0 - plan.cloud_mag * clouds.uniform());
        const double zero_point = s.zero_points.back();
        for (std::size_t i = 0; i < plan.stars; ++i) {
            const double difference = airmass * (static_cast<double>(i % 5) - 2.0) * 0.005;
            double mag =
                truth[i] + plan.extinction * difference - plan.colour_term * (colours[i] - mean_colour);
            if (i + 1 == plan.stars)
                mag += plan.variable_amplitude_mag * std::sin(phase[i] + 1.7 * static_cast<double>(f));
            double flux = measure(mag, zero_point, noise);
            const bool missing = light.uniform() < plan.missing_share;
            if (light.uniform() < plan.outlier_share) flux *= 1.1;
            if (!missing) s.input.observations.push_back({f, i, flux, noise, difference});
        }
        const double mag = plan.transient_mag - plan.colour_term * (plan.transient_colour_mag - mean_colour);
        s.transient_flux.push_back(measure(mag, zero_point, noise));
        const double expected = std::pow(10.0, -0.4 * (mag - zero_point));
        s.transient_err.push_back(std::sqrt(noise.variance_e2(expected)));
    }
    return s;
}

}  // namespace emberline::test
