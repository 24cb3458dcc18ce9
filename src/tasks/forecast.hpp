// SPDX-License-Identifier: MIT
// tasks/forecast — the coming nights of a campaign: how bright the transient will be, when it can be seen,
// and how long to expose.
#pragma once

#include <optional>
#include <string>
#include <vector>

#include "lightcurve/forecast.hpp"
#include "lightcurve/light_curve.hpp"
#include "quantities/problem.hpp"
#include "sky/night_calendar.hpp"
#include "tasks/workspace.hpp"

namespace emberline::tasks {

inline constexpr double usual_goal_mag = 0.05;
inline constexpr int most_forecast_nights = 400;

struct ForecastRequest {
    std::vector<std::string> bands;  // empty: all that were measured
    int nights = 30;
    std::optional<std::string> from;  // date of the first evening; absent: tonight, by the clock
    double least_altitude_deg = 30.0;
    double goal_mag = usual_goal_mag;  // total error of a night
    std::vector<double> passes;        // magnitudes
    bool draw = true;
    bool keep = true;  // write the table and the picture in out/
};

// What the instrument did so far in one band, a middle value each, of one usual exposure.
struct InstrumentPast {
    std::size_t frames = 0;
    double exposure_s = 0.0;
    double exposures_a_night = 0.0;
    double zero_point_mag = 0.0;      // of one electron an exposure, outside the atmosphere
    double background_e2 = 0.0;       // variance beside the transient's own photons: sky, camera, host
    double zero_point_err_mag = 0.0;  // random, of one frame
    double common_err_mag = 0.0;      // of a night: no exposure shortens it
    std::optional<double> depth_mag;  // 3 sigma in the exposures of a usual night
};

struct ExposureNeed {
    double exposure_s = 0.0;
    std::optional<double> exposures;  // whole; absent: the common errors alone are larger than the goal
    [[nodiscard]] double hours() const { return exposures.value_or(0.0) * exposure_s / 3600.0; }
};
// From CCD noise: σ² = (1.0857)² (F + B) / F² + σ_z² of one exposure, N of them, and the common error once
// (Merline & Howell 1995 with B as it was measured). `extinction_mag`: of that airmass. Moonlight beyond
// that of the past nights is not modelled, nor is the time between exposures.
[[nodiscard]] ExposureNeed exposure_for(double mag, double goal_mag, double extinction_mag,
                                        const InstrumentPast& past);

struct BandNight {
    lightcurve::ForecastPoint forecast;
    std::optional<ExposureNeed> exposure;
    bool within_night = false;  // that exposure fits into the observable hours
};

struct PassingOf {
    double mag = 0.0;
    bool is_depth = false;                       // the instrument's, not one that was asked for
    bool already = false;                        // at the last point
    std::optional<lightcurve::Passing> passing;  // absent: not in the time searched
};

struct BandOutlook {
    lightcurve::LightCurve curve;
    std::optional<Problem> problem;  // why nothing can be said
    std::string why;                 // the choice of a model
    double last_bjd_tdb = 0.0, wander = 0.0;
    std::optional<InstrumentPast> past;
    std::vector<BandNight> nights;                // one a night of the calendar; empty with a problem
    std::vector<lightcurve::ForecastPoint> line;  // from the last point on, for the picture
    std::vector<PassingOf> passings;
};

struct ForecastNight {
    std::string night;
    double bjd_tdb = 0.0;              // for which the magnitudes are
    std::optional<sky::NightSky> sky;  // absent: no site
};

struct ForecastOutcome {
    std::string title;
    double least_altitude_deg = 30.0, goal_mag = usual_goal_mag;
    std::vector<ForecastNight> nights;
    std::vector<BandOutlook> bands;
    double searched_until_bjd_tdb = 0.0;  // for passings
    std::string table, picture;           // files written
    std::vector<std::string> remarks;
    [[nodiscard]] bool any_forecast() const;
    [[nodiscard]] bool any_near_sun() const;
};

// Without a ledger, or where nothing can be fitted, the calendar alone, and remarks. Problem: no campaign, a
// date or band that is none (request), a ledger or disk that fails (storage).
[[nodiscard]] Result<ForecastOutcome> forecast(const ForecastRequest& request,
                                               const std::string& campaign_folder);

// The whole of out/forecast.csv: a row a night and band, an empty field for what does not exist.
[[nodiscard]] std::string forecast_csv(const ForecastOutcome& outcome);

}  // namespace emberline::tasks
