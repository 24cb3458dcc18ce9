// SPDX-License-Identifier: MIT
#include "command/curve_text.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <limits>

#include "command/face.hpp"
#include "quantities/value_with_error.hpp"

namespace emberline::command {
namespace {

using lightcurve::CurveFit;

ValueWithError plain(const lightcurve::Figure& figure) {
    return {figure.value, figure.err};
}

std::string epoch(const ValueWithError& bjd_tdb) {
    return fmt::format("BJD(TDB) {} ({})", with_error(bjd_tdb, 1), date_of(bjd_tdb.value));
}

std::string speed(const ValueWithError& mag_per_day) {
    return fmt::format("{} by {} mag a day", mag_per_day.value >= 0.0 ? "fades" : "brightens",
                       with_error({std::abs(mag_per_day.value), mag_per_day.err}));
}

std::string heading(const tasks::BandCurve& band) {
    const auto& points = band.curve.points;
    const auto limits = std::count_if(points.begin(), points.end(), [](const auto& p) { return p.is_limit; });
    std::string text =
        fmt::format("{}: {} point{}", band.curve.band.name(), points.size(), points.size() == 1 ? "" : "s");
    if (limits > 0) text += fmt::format(", {} of them limits", limits);
    return text + '\n';
}

std::string series_lines(const tasks::BandCurve& band) {
    std::string text;
    for (const lightcurve::SeriesOffset& offset : band.analysis.offsets)
        text += fmt::format("  {} lies {} mag {} {}\n", offset.series,
                            with_error({std::abs(offset.mag.value), offset.mag.err}),
                            offset.mag.value >= 0.0 ? "below" : "above", band.curve.series.front());
    return text;
}

std::string model_table(const lightcurve::Analysis& a) {
    if (a.fits.size() < 2) return {};
    double least = std::numeric_limits<double>::infinity();
    for (const CurveFit& fit : a.fits)
        least = std::min(least, fit.bic);
    TextTable table({"  model", "chi²", "dof", "ΔBIC", "AICc", "scatter"});
    for (const CurveFit& fit : a.fits) {
        table.add({"  " + fit.model, fmt::format("{:.1f}", fit.chi2), fmt::format("{}", fit.dof),
                   fmt::format("{:.1f}", fit.bic - least),
                   std::isfinite(fit.aicc) ? fmt::format("{:.1f}", fit.aicc) : "–",
                   fit.extra_scatter_mag > 0.0 ? fmt::format("{:.3f}", fit.extra_scatter_mag) : ""});
    }
    return table.text();
}

std::string peak_lines(const tasks::BandCurve& band) {
    const lightcurve::Analysis& a = band.analysis;
    std::string text;
    if (a.peak) {
        text += fmt::format("  maximum {} mag on {}", with_error(plain(a.peak->mag), 2),
                            epoch(plain(a.peak->bjd_tdb)));
        if (a.delta_m15)
            text += fmt::format("; Δm15({}) {}", band.curve.band.name(), with_error(plain(*a.delta_m15), 2));
        text += '\n';
    }
    if (band.phases) {
        text += fmt::format("  points from {:+.1f} to {:+.1f} d of maximum{}\n", band.phases->first_d,
                            band.phases->last_d, band.phases->rest_frame ? ", on its own clock" : "");
    }
    if (band.absolute_peak) {
        text += fmt::format("  absolute magnitude at maximum {} ({})\n",
                            with_error(band.absolute_peak->mag, 1), band.absolute_peak->note);
    }
    // Once: it is B's Δm15 that it speaks of.
    if (band.stretch && band.stretch->fainter_mag && band.curve.band.name() == "B")
        text += fmt::format("  {}\n", band.stretch->sentence);
    return text;
}

std::string late_lines(const lightcurve::Analysis& a) {
    std::string text;
    if (a.plateau) {
        text += fmt::format("  plateau: {} mag per 100 d, ends with a drop of {} mag about {}",
                            with_error({100.0 * a.plateau->slope_mag_per_day.value,
                                        100.0 * a.plateau->slope_mag_per_day.err}),
                            with_error(a.plateau->drop_mag, 1), epoch(a.plateau->end_bjd_tdb));
        if (a.plateau->length_d)
            text += fmt::format(", {} d after the explosion", with_error(*a.plateau->length_d));
        text += '\n';
    }
    for (const lightcurve::Rate& rate : a.rates) {
        text += fmt::format("  {} rate {} mag per 100 d, {} points, {} to {}\n", rate.name,
                            with_error({100.0 * rate.mag_per_day.value, 100.0 * rate.mag_per_day.err}),
                            rate.n, date_of(rate.interval.from_bjd_tdb), date_of(rate.interval.to_bjd_tdb));
    }
    if (a.tail_over_cobalt) {
        text +=
            fmt::format("  the tail fades {} times as fast as ⁵⁶Co decays", with_error(*a.tail_over_cobalt));
        if (a.tail_choice) text += fmt::format(" ({})", a.tail_choice->why);
        text += '\n';
    }
    return text;
}

std::string checked_lines(const tasks::BandCurve& band) {
    const CurveFit* chosen = band.analysis.chosen();
    if (chosen == nullptr) return {};
    const tasks::CheckedErrors& checked = band.checked;
    if (checked.profile.empty() && !checked.bootstrap && !checked.sample && checked.problems.empty())
        return {};
    std::vector<std::string> headings{"  parameter", "value", "covariance"};
    if (!checked.profile.empty()) headings.emplace_back("profile");
    if (checked.bootstrap) headings.emplace_back("bootstrap");
    if (checked.sample) headings.emplace_back("sample");
    TextTable table(headings);
    for (std::size_t j = 0; j < chosen->parameters.size(); ++j) {
        const lightcurve::ParameterInfo& info = chosen->parameter_info[j];
        const double err = std::sqrt(chosen->covariance(j, j));
        const double zero = info.is_epoch ? chosen->reference_bjd_tdb : 0.0;
        const auto digits = [&](double v) { return fmt::format("{:.{}f}", v, decimals_for(err) + 1); };
        std::vector<std::string> row{"  " + info.name, digits(zero + chosen->parameters[j]), digits(err)};
        if (!checked.profile.empty()) {
            const auto& one = checked.profile[j];
            row.push_back(one ? fmt::format("−{} +{}", digits(one->minus), digits(one->plus)) : "–");
        }
        if (checked.bootstrap) row.push_back(digits(checked.bootstrap->errors[j].err));
        if (checked.sample) row.push_back(digits(std::sqrt(checked.sample->fit.covariance(j, j))));
        table.add(std::move(row));
    }
    std::string text = table.text();
    if (checked.sample) text += fmt::format("  sample: {}\n", checked.sample->chain.diagnosis.summary);
    for (const Problem& problem : checked.problems)
        text += fmt::format("  {} {}\n", problem.what, problem.mend);
    return text;
}

std::string band_text(const tasks::BandCurve& band) {
    const lightcurve::Analysis& a = band.analysis;
    std::string text = heading(band);
    if (a.fits.empty()) {
        if (band.problem)
            text += fmt::format("  not fitted: {} {}\n", band.problem->what, band.problem->mend);
        for (const std::string& remark : a.remarks)
            text += fmt::format("  {}\n", remark);
        return text;
    }
    if (a.decline) {
        text += fmt::format("  {}, over {:.1f} days from BJD(TDB) {:.3f}\n", speed(a.decline->mag_per_day),
                            a.decline->to_bjd_tdb - a.decline->from_bjd_tdb, a.decline->from_bjd_tdb);
    }
    text += peak_lines(band) + late_lines(a) + series_lines(band);
    text += model_table(a);
    text += fmt::format("  {}\n", a.choice.why);
    if (const CurveFit* chosen = a.chosen()) {
        for (const std::string& remark : chosen->remarks)
            text += fmt::format("  {}\n", remark);
    }
    for (const std::string& remark : a.remarks)
        text += fmt::format("  {}\n", remark);
    return text + checked_lines(band);
}

}  // namespace

std::string curve_text(const tasks::CurveOutcome& outcome) {
    std::string text = outcome.title + '\n';
    for (const tasks::BandCurve& band : outcome.bands)
        text += band_text(band);
    const auto goes_with = [](const lightcurve::ShapeHint& hint) { return hint.consistent; };
    if (outcome.shape && std::any_of(outcome.shape->hints.begin(), outcome.shape->hints.end(), goes_with))
        text += outcome.shape->sentence + '\n';
    for (const std::string& remark : outcome.remarks)
        text += remark + '\n';
    for (const std::string& picture : outcome.pictures)
        text += fmt::format("Picture: {}\n", picture);
    return text;
}

}  // namespace emberline::command
