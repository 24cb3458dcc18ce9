// SPDX-License-Identifier: MIT
// Times of the files are MJD in UTC, geocentric; the fits count in TDB, a minute later, which is taken off.
// The light time across the Earth's orbit (8 minutes at most) is not.
#include "lightcurve/published_measures.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <map>
#include <stdexcept>
#include <utility>

#include "exchange/series.hpp"
#include "lightcurve/colour_curve.hpp"
#include "lightcurve/gaussian_process.hpp"
#include "lightcurve/scatter_errors.hpp"
#include "numerics/robust.hpp"
#include "quantities/delimited_table.hpp"
#include "quantities/text.hpp"

namespace emberline::test {
namespace {

using namespace lightcurve;

constexpr double jd_of_mjd = 2400000.5;
constexpr double tdb_minus_utc_d = 66.0 / 86400.0;  // within 12 s for 1979 to 2013
constexpr double per_100_d = 100.0;

double to_bjd(double mjd) {
    return mjd + jd_of_mjd + tdb_minus_utc_d;
}

std::vector<std::string>& remarks() {
    static std::vector<std::string> all;
    return all;
}

// The archive keeps some rows of SN 1987A twice: from the papers, and again from another archive with one
// more digit. Those of that other archive are left out.
std::string without_copies(const std::string& text, const std::string& file) {
    constexpr std::string_view copied_from = ",SUSPECT";
    std::string kept;
    std::size_t copies = 0;
    for (const std::string_view line : split(text, '\n')) {
        if (trimmed(line).ends_with(copied_from)) {
            ++copies;
        } else {
            kept += std::string(line) + '\n';
        }
    }
    if (copies > 0)
        remarks().push_back(fmt::format("{}: {} rows are copies of others and left out.", file, copies));
    return kept;
}

// Curves of a file by their bands, read once.
using Bands = std::map<std::string, LightCurve>;

const Bands& curves_of(const std::string& path) {
    static std::map<std::string, Bands> read;
    if (const auto found = read.find(path); found != read.end()) return found->second;
    const std::string file = path.substr(path.rfind('/') + 1);
    const auto text = read_text_file(path);
    if (!text) throw std::runtime_error(one_line(text.error()));
    auto series = exchange::parse_series(without_copies(*text, file), file);
    if (!series) throw std::runtime_error(one_line(series.error()));
    Bands bands;
    for (LightCurve& curve : series->curves) {
        for (const std::string& remark : errors_from_scatter(curve))
            remarks().push_back(remark);
        bands[curve.band.name()] = std::move(curve);
    }
    return read[path] = std::move(bands);
}

FitOptions options_of(const Interval& interval) {
    return {.from_bjd_tdb = to_bjd(interval.from_mjd), .to_bjd_tdb = to_bjd(interval.to_mjd)};
}

const LightCurve& curve_of(const Source& source, const std::string& band) {
    return curves_of(source.path).at(band);
}

using Measured = Result<ValueWithError>;

Problem no_figure() {
    return {.what = "The fit has no such figure.", .where = {}, .mend = {}};
}

Result<CurveFit> fit_drop(const Source& source, const std::string& band, const Step& step) {
    auto model = make_model(step.model);
    if (!model) return fail(model.error());
    return lightcurve::fit(curve_of(source, band), std::move(*model), options_of(step.interval));
}

std::size_t index_of(const CurveFit& fit, std::string_view parameter) {
    const auto found = std::find_if(fit.parameter_info.begin(), fit.parameter_info.end(),
                                    [&](const ParameterInfo& info) { return info.name == parameter; });
    return static_cast<std::size_t>(found - fit.parameter_info.begin());
}

Result<Peak> peak_in(const Source& source, const std::string& band) {
    const auto fit = fit_peak(curve_of(source, band), {}, source.window);
    if (!fit) return fail(fit.error());
    const auto peak = peak_of(*fit);
    if (!peak) return fail(no_figure());
    return *peak;
}

Measured fade_in_15_d(const Result<CurveFit>& fit, double redshift) {
    if (!fit) return fail(fit.error());
    const auto fade = fade_after_peak(*fit, 15.0, redshift);
    if (!fade) return fail(no_figure());
    return ValueWithError{fade->value, fade->err};
}

Measured rate_in(const Source& source, const std::string& band, const FitOptions& options, double per_d) {
    const auto fit = lightcurve::fit(curve_of(source, band), straight_line(), options);
    if (!fit) return fail(fit.error());
    const ValueWithError rate = decline_rate(*fit).value().mag_per_day;
    return ValueWithError{per_d * rate.value, per_d * rate.err};
}

}  // namespace

Measure time_of_maximum(const Source& source, const std::string& band) {
    return [=]() -> Measured {
        const auto peak = peak_in(source, band);
        if (!peak) return fail(peak.error());
        return ValueWithError{peak->bjd_tdb.value - to_bjd(0.0), peak->bjd_tdb.err};
    };
}

Measure maximum(const Source& source, const std::string& band) {
    return [=]() -> Measured {
        const auto peak = peak_in(source, band);
        if (!peak) return fail(peak.error());
        return ValueWithError{peak->mag.value, peak->mag.err};
    };
}

Measure delta_m15(const Source& source, const std::string& band) {
    return [=] { return fade_in_15_d(fit_peak(curve_of(source, band), {}, source.window), source.redshift); };
}

Measure delta_m15_by_process(const Source& source, const std::string& band, const Interval& interval) {
    return [=] {
        return fade_in_15_d(
            fit_gaussian_process(curve_of(source, band), Smoothness::matern_5_2, options_of(interval)),
            source.redshift);
    };
}

Measure straight_rate(const Source& source, const std::string& band, const Interval& interval) {
    return [=] { return rate_in(source, band, options_of(interval), per_100_d); };
}

Measure plain_rate(const Source& source, const std::string& band, const Interval& interval) {
    return [=] {
        FitOptions options = options_of(interval);
        options.robust = options.fit_extra_scatter = false;
        return rate_in(source, band, options, per_100_d);
    };
}

Measure over_cobalt(const Source& source, const std::string& band, const Interval& interval) {
    return [=]() -> Measured {
        const auto rate = rate_in(source, band, options_of(interval), 1.0);
        if (!rate) return rate;
        return cobalt_ratio(*rate, source.redshift);
    };
}

// Magnitudes faded between two days, by the process: no shape is assumed.
Measure fade_between(const Source& source, const std::string& band, const Interval& interval, double from_mjd,
                     double to_mjd) {
    return [=]() -> Measured {
        const auto fit =
            fit_gaussian_process(curve_of(source, band), Smoothness::matern_5_2, options_of(interval));
        if (!fit) return fail(fit.error());
        const Figure rate = rate_between(*fit, to_bjd(from_mjd), to_bjd(to_mjd));
        return ValueWithError{rate.value * (to_mjd - from_mjd), rate.err * (to_mjd - from_mjd)};
    };
}

// Days from explosion to the middle of the drop, or to the plateau's end.
Measure drop_after(const Source& source, const std::string& band, const Step& step, double explosion_mjd,
                   double widths_before) {
    return [=]() -> Measured {
        const auto fit = fit_drop(source, band, step);
        if (!fit) return fail(fit.error());
        const ValueWithError middle = fit->parameter("drop_middle").value();
        const ValueWithError width = fit->parameter("drop_width").value();
        const double covariance =
            fit->covariance(index_of(*fit, "drop_middle"), index_of(*fit, "drop_width"));
        const double variance = middle.err * middle.err +
                                widths_before * widths_before * width.err * width.err -
                                2.0 * widths_before * covariance;
        return ValueWithError{middle.value - widths_before * width.value - to_bjd(explosion_mjd),
                              std::sqrt(variance)};
    };
}

// From the plateau's end to the tail's start, with what the slopes add meanwhile.
Measure whole_drop(const Source& source, const std::string& band, const Step& step) {
    return [=]() -> Measured {
        const auto fit = fit_drop(source, band, step);
        if (!fit) return fail(fit.error());
        const double middle = fit->parameter("drop_middle")->value;
        const double reach = widths_of_drop * fit->parameter("drop_width")->value;
        const Figure rate = rate_between(*fit, middle - reach, middle + reach);
        return ValueWithError{2.0 * reach * rate.value, 2.0 * reach * rate.err};
    };
}

// From the break after the first decline to the plateau's end.
Measure slow_stretch(const Source& source, const std::string& band, const Interval& before_drop,
                     const Step& with_drop) {
    return [=]() -> Measured {
        const auto broken = lightcurve::fit(curve_of(source, band), broken_line(1), options_of(before_drop));
        if (!broken) return fail(broken.error());
        const auto& info = broken->parameter_info;
        const auto first_break =
            std::find_if(info.begin(), info.end(), [](const ParameterInfo& p) { return p.is_epoch; });
        if (first_break == info.end()) return fail(no_figure());
        const ValueWithError start = broken->parameter(first_break->name).value();
        const auto end = drop_after(source, band, with_drop, 0.0, widths_of_drop)();
        if (!end) return end;
        return ValueWithError{end->value - (start.value - to_bjd(0.0)), std::hypot(end->err, start.err)};
    };
}

// B − V without foreground dust at day 60, on a line of the published slope through days 30 to 90 after the
// maximum in V.
Measure late_colour(const Source& source, double ebv_mag) {
    return [=]() -> Measured {
        constexpr double slope_mag_per_day = -0.0118, at_d = 60.0, from_d = 30.0, to_d = 90.0;
        const auto v_max = time_of_maximum(source, "V")();
        if (!v_max) return v_max;
        const auto colours = colour_curve(curve_of(source, "B"), curve_of(source, "V"), 0.5, ebv_mag);
        if (!colours) return fail(colours.error());
        std::vector<double> values, errs;
        for (const ColourPoint& p : colours->points) {
            const double days = p.bjd_tdb - to_bjd(v_max->value);
            if (days < from_d || days > to_d) continue;
            values.push_back(p.mag - slope_mag_per_day * (days - at_d));
            errs.push_back(p.random_err_mag);
        }
        const auto mean = numerics::weighted_mean(values, errs);
        return ValueWithError{mean.mean, std::hypot(mean.err, slope_mag_per_day * v_max->err)};
    };
}

std::vector<std::string> remarks_on_series() {
    return remarks();
}

}  // namespace emberline::test
