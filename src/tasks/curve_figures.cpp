// SPDX-License-Identifier: MIT
#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "lightcurve/extinction.hpp"
#include "tasks/curve_parts.hpp"

namespace emberline::tasks {
namespace {

using picture::FigureLine;

// Points of both bands within half a day make a colour. Common practice, no source.
constexpr double one_night_d = 0.5;
constexpr double days_of_tail_rate = 100.0;

ValueWithError plain(const lightcurve::Figure& figure) {
    return {figure.value, figure.err};
}

lightcurve::ShapeEvidence evidence_of(const BandCurve& band) {
    const lightcurve::Analysis& a = band.analysis;
    lightcurve::ShapeEvidence evidence{.band = band.curve.band.name(), .delta_m15 = a.delta_m15};
    if (a.plateau) {
        evidence.plateau_length_d = a.plateau->length_d;
        evidence.drop_mag = a.plateau->drop_mag;
    }
    for (const lightcurve::Rate& rate : a.rates) {
        if (rate.name == "early") evidence.early_rate_mag_per_day = rate.mag_per_day;
        if (rate.name == "tail") evidence.tail_rate_mag_per_day = rate.mag_per_day;
    }
    if (a.peak && a.chosen() != nullptr) {
        const double at = a.peak->bjd_tdb.value + 100.0;
        if (at <= a.chosen()->to_bjd_tdb) {
            const ValueWithError late = a.chosen()->prediction->magnitude(at);
            evidence.fade_100d_mag =
                ValueWithError{late.value - a.peak->mag.value, std::hypot(late.err, a.peak->mag.err)};
        }
    }
    return evidence;
}

void derive_band(BandCurve& band, const TransientFacts& facts) {
    const lightcurve::Analysis& a = band.analysis;
    if (const auto extinction = lightcurve::band_extinction(band.curve.band); extinction && facts.ebv_mag)
        band.extinction_mag = extinction->mag_per_ebv * *facts.ebv_mag;
    if (!a.peak) return;
    const double stretch = 1.0 + facts.redshift.value_or(0.0);
    band.phases = Phases{.first_d = (band.curve.points.front().bjd_tdb - a.peak->bjd_tdb.value) / stretch,
                         .last_d = (band.curve.points.back().bjd_tdb - a.peak->bjd_tdb.value) / stretch,
                         .rest_frame = facts.redshift.has_value()};
    if (facts.distance_modulus_mag) {
        band.absolute_peak = lightcurve::absolute_magnitude(
            band.curve.band, plain(a.peak->mag), *facts.distance_modulus_mag, facts.ebv_mag.value_or(0.0));
    }
}

const BandCurve* band_named(const CurveOutcome& outcome, std::string_view name) {
    for (const BandCurve& band : outcome.bands) {
        if (band.curve.band.name() == name) return &band;
    }
    return nullptr;
}

void derive_colours(CurveOutcome& outcome) {
    std::vector<Band> bands;
    for (const BandCurve& band : outcome.bands)
        bands.push_back(band.curve.band);
    for (const ColourIndex& index : lightcurve::usual_colours(bands)) {
        const BandCurve* blue = band_named(outcome, index.blue.name());
        const BandCurve* red = band_named(outcome, index.red.name());
        auto colours = lightcurve::colour_curve(blue->curve, red->curve, one_night_d,
                                                outcome.facts.ebv_mag.value_or(0.0));
        if (colours) outcome.colours.push_back(std::move(*colours));
    }
}

void figures_of(const BandCurve& band, std::vector<FigureLine>& lines) {
    const std::string& name = band.curve.band.name();
    const lightcurve::Analysis& a = band.analysis;
    if (a.peak) {
        lines.push_back({name + " maximum", with_error(plain(a.peak->mag), 2) + " mag"});
        lines.push_back({"on BJD(TDB)", with_error(plain(a.peak->bjd_tdb), 1)});
    }
    if (a.delta_m15)
        lines.push_back({fmt::format("Δm15({})", name), with_error(plain(*a.delta_m15), 2) + " mag"});
    if (band.absolute_peak) lines.push_back({"M " + name, with_error(band.absolute_peak->mag, 1) + " mag"});
    if (a.plateau) {
        lines.push_back({name + " drop", with_error(a.plateau->drop_mag, 1) + " mag"});
        lines.push_back({"on BJD(TDB)", with_error(a.plateau->end_bjd_tdb, 1)});
        if (a.plateau->length_d) lines.push_back({"plateau", with_error(*a.plateau->length_d, 0) + " d"});
    }
    for (const lightcurve::Rate& rate : a.rates) {
        if (rate.name != "tail") continue;
        const ValueWithError slow{days_of_tail_rate * rate.mag_per_day.value,
                                  days_of_tail_rate * rate.mag_per_day.err};
        lines.push_back({name + " tail", with_error(slow, 2) + " mag/100 d"});
    }
}

}  // namespace

void derive(CurveOutcome& outcome) {
    std::vector<lightcurve::ShapeEvidence> evidence;
    for (BandCurve& band : outcome.bands) {
        derive_band(band, outcome.facts);
        evidence.push_back(evidence_of(band));
    }
    if (const BandCurve* b = band_named(outcome, "B"); b != nullptr && b->analysis.delta_m15) {
        for (BandCurve& band : outcome.bands) {
            auto hint = lightcurve::stretch_hint(band.curve.band, *b->analysis.delta_m15);
            // Why there is none is told once.
            if (hint && (hint->fainter_mag || &band == b)) band.stretch = std::move(hint);
        }
    }
    derive_colours(outcome);
    if (outcome.any_fit()) outcome.shape = lightcurve::shape_hints(evidence);
}

CheckedErrors check_errors(const BandCurve& band, const lightcurve::AnalysisOptions& options,
                           const ErrorChecks& checks) {
    CheckedErrors checked;
    const lightcurve::CurveFit* chosen = band.analysis.chosen();
    if (chosen == nullptr) return checked;
    auto made = lightcurve::make_model(chosen->model, options.context);
    if (!made) return checked;  // a process has no parameters to profile
    const std::shared_ptr<const lightcurve::Model> model = std::move(*made);
    const auto keep = [&](auto& into, auto&& found) {
        if (found) {
            into = std::move(*found);
        } else {
            checked.problems.push_back(found.error());
        }
    };
    if (checks.profile) {
        for (const lightcurve::ParameterInfo& info : chosen->parameter_info) {
            checked.profile.emplace_back();
            keep(checked.profile.back(),
                 lightcurve::profile_error(band.curve, model, *chosen, options.fit, info.name));
        }
    }
    if (checks.bootstrap_trials > 0) {
        keep(checked.bootstrap,
             lightcurve::bootstrap(band.curve, model, *chosen, options.fit, checks.bootstrap_trials,
                                   options.seed, options.threads));
    }
    if (checks.sampler_steps > 0) {
        keep(checked.sample, lightcurve::sample_fit(band.curve, model, *chosen, options.fit,
                                                    {.steps = checks.sampler_steps,
                                                     .burn_in = checks.sampler_steps / 4,
                                                     .threads = options.threads},
                                                    options.seed));
    }
    return checked;
}

std::vector<FigureLine> figure_lines(const CurveOutcome& outcome) {
    std::vector<FigureLine> lines;
    for (const BandCurve& band : outcome.bands)
        figures_of(band, lines);
    return lines;
}

}  // namespace emberline::tasks
