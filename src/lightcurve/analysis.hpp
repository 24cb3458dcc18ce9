// SPDX-License-Identifier: MIT
// lightcurve/analysis — everything that is asked of one band's curve, in order: errors, models, the choice,
// and the figures.
#pragma once

#include <cstdint>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "lightcurve/choose_model.hpp"
#include "lightcurve/figures.hpp"
#include "lightcurve/fit.hpp"
#include "lightcurve/merge_series.hpp"

namespace emberline::lightcurve {

struct Interval {
    double from_bjd_tdb = 0.0, to_bjd_tdb = 0.0;
};

struct AnalysisOptions {
    FitOptions fit;
    std::vector<std::string> models;  // empty: all; "gaussian-process" is one
    ModelContext context;
    std::vector<Interval> rates;  // asked for, beside the usual ones
    std::uint64_t seed = 1;
    int threads = 1;
};

struct Rate {
    std::string name;  // "early", "tail", "asked"
    Interval interval;
    std::size_t n = 0;
    ValueWithError mag_per_day;
};

struct Plateau {
    ValueWithError end_bjd_tdb;              // the middle of the drop
    std::optional<ValueWithError> length_d;  // from the explosion, where its date is known
    ValueWithError drop_mag, slope_mag_per_day;
};

struct Refusal {
    std::string model;
    Problem problem;
};

struct Analysis {
    std::vector<CurveFit> fits;  // of the whole interval, comparable with one another
    ModelChoice choice;
    std::optional<CurveFit> peak_fit;  // a local polynomial
    std::vector<CurveFit> tail_fits;   // ⁵⁶Co, on the tail alone
    std::optional<ModelChoice> tail_choice;
    std::optional<Peak> peak;
    std::optional<Figure> delta_m15;
    std::optional<DeclineRate> decline;  // now: of the last straight stretch
    std::vector<Rate> rates;
    std::optional<Plateau> plateau;
    std::optional<ValueWithError> tail_over_cobalt;
    std::vector<SeriesOffset> offsets;
    std::vector<Refusal> refused;  // models that these points cannot carry, and why
    std::vector<std::string> remarks;

    [[nodiscard]] const CurveFit* chosen() const;  // null: none
};

// Names that AnalysisOptions::models takes: those of model_names() and "gaussian-process". Problem (request):
// any other; the message lists them.
[[nodiscard]] Result<void> check_model_name(std::string_view name);

// What comes before any fit: copies go, errors that points came without are replaced, points are sorted.
// Returns what was done, in sentences.
[[nodiscard]] std::vector<std::string> prepare(LightCurve& curve);

// The mean rate of an interval: of a straight line through its points alone, whatever the rest of the curve
// does. Of a curve that prepare() has seen. Problem: as of fit().
struct StraightRate {
    Rate rate;
    CurveFit fit;
};
[[nodiscard]] Result<StraightRate> straight_rate(const LightCurve& curve, std::string_view name,
                                                 const Interval& interval, const FitOptions& options = {});

// The curve is prepared first.
[[nodiscard]] Analysis analyse(LightCurve& curve, const AnalysisOptions& options = {});

}  // namespace emberline::lightcurve
