// SPDX-License-Identifier: MIT
// Notation: F flux and B background variance of one exposure, e and e²; z zero point; X airmass; k
// extinction.
#include "tasks/forecast.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <map>
#include <set>

#include "lightcurve/analysis.hpp"
#include "numerics/robust.hpp"
#include "picture/forecast_picture.hpp"
#include "quantities/delimited_table.hpp"
#include "quantities/magnitude.hpp"
#include "sky/barycentre.hpp"
#include "sky/time_scales.hpp"
#include "tasks/curves_of.hpp"

namespace emberline::tasks {
namespace {

constexpr int least_searched_d = 120;      // for passings, after the last point
constexpr std::size_t recent_nights = 10;  // that tell what the instrument does
constexpr int line_steps = 80;

struct Measured {
    std::vector<night::NightMeasurement> nights;
    std::vector<night::FrameMeasurement> frames;  // in use, of recent nights
};

Result<Measured> read_ledger(const Workspace& workspace, std::vector<std::string>& remarks) {
    Measured out;
    const auto ledger = ledger::Ledger::open(workspace.ledger_path(), ledger::Ledger::Access::read);
    if (!ledger) {
        if (ledger.error().kind != ProblemKind::input) return fail(ledger.error());
        remarks.push_back(ledger.error().what + ' ' + ledger.error().mend);
        return out;
    }
    std::set<std::string> dates;
    auto read = ledger->for_each_night_measurement([&](const night::NightMeasurement& m) {
        out.nights.push_back(m);
        dates.insert(m.night);
        return true;
    });
    if (!read) return fail(read.error());
    if (dates.size() > recent_nights)
        dates.erase(dates.begin(), std::prev(dates.end(), static_cast<long>(recent_nights)));
    read = ledger->for_each_frame_measurement([&](const night::FrameMeasurement& m) {
        if (m.used && dates.contains(m.night)) out.frames.push_back(m);
        return true;
    });
    if (!read) return fail(read.error());
    return out;
}

double extinction_mag(const Band& band, double airmass) {
    return facts(band).extinction_mag_per_airmass * airmass;
}

// Middle values of the newest night's instrument, over the recent nights.
std::optional<InstrumentPast> past_of(const Measured& measured, const Band& band) {
    std::string instrument;
    std::vector<double> common, depths;
    for (const night::NightMeasurement& m : measured.nights) {
        if (m.band == band) instrument = m.instrument;
    }
    std::vector<const night::FrameMeasurement*> frames;
    std::map<std::string, double> a_night;
    for (const night::FrameMeasurement& m : measured.frames) {
        if (m.band != band || m.instrument != instrument || !(m.exposure_s > 0.0) || !(m.flux_e.err > 0.0))
            continue;
        frames.push_back(&m);
        a_night[m.night] += 1.0;
    }
    if (frames.empty()) return std::nullopt;
    for (const night::NightMeasurement& m : measured.nights) {
        if (m.band != band || m.instrument != instrument || !a_night.contains(m.night)) continue;
        if (m.common_err_mag) common.push_back(*m.common_err_mag);
        if (m.limit_mag) depths.push_back(*m.limit_mag);
    }
    const auto middle = [&](const auto& value) {
        std::vector<double> values;
        for (const night::FrameMeasurement* m : frames)
            values.push_back(value(*m));
        return numerics::median(std::move(values));
    };
    InstrumentPast out;
    out.frames = frames.size();
    out.exposure_s = middle([](const auto& m) { return m.exposure_s; });
    std::vector<double> counts;
    for (const auto& [night, count] : a_night)
        counts.push_back(count);
    out.exposures_a_night = numerics::median(std::move(counts));
    out.zero_point_mag = middle([&](const auto& m) {
        return m.zero_point_mag - magnitude_difference(out.exposure_s, m.exposure_s) +
               extinction_mag(band, m.airmass.value_or(1.0));
    });
    out.background_e2 = middle([&](const auto& m) {
        const double photons = std::max(m.flux_e.value, 0.0);
        return std::max(m.flux_e.err * m.flux_e.err - photons, 0.0) * out.exposure_s / m.exposure_s;
    });
    out.zero_point_err_mag = middle([](const auto& m) { return m.zero_point_err_mag; });
    if (!common.empty()) out.common_err_mag = numerics::median(std::move(common));
    if (!depths.empty()) out.depth_mag = numerics::median(std::move(depths));
    return out;
}

Result<std::vector<ForecastNight>> calendar(const ForecastRequest& request, const night::Campaign& campaign) {
    const double longitude_deg = campaign.site ? campaign.site->longitude.degrees() : 0.0;
    std::string date = request.from.value_or(sky::night_of(sky::now(), longitude_deg));
    std::vector<ForecastNight> nights;
    for (int k = 0; k < request.nights; ++k) {
        auto next = sky::following_night(date);
        if (!next) {
            next.error().where = "--from";
            return fail(next.error());
        }
        ForecastNight one{.night = date};
        Instant when = *sky::parse_instant(*next);  // midnight of UTC where no site is known
        if (campaign.site) {
            const auto sky = sky::night_sky(date, campaign.position, *campaign.site,
                                            {.least_altitude_deg = request.least_altitude_deg});
            if (!sky) return fail(sky.error());
            one.sky = *sky;
            when = sky->best.value_or(sky->midnight);
        }
        one.bjd_tdb = sky::bjd_tdb(when, campaign.position, campaign.site);
        nights.push_back(std::move(one));
        date = *next;
    }
    return nights;
}

// The one place that says how a curve is fitted.
lightcurve::Analysis fitted(lightcurve::LightCurve& curve, const night::Campaign& campaign) {
    return lightcurve::analyse(curve, {.context = {.explosion_bjd_tdb = explosion_bjd_tdb(campaign),
                                                   .redshift = campaign.redshift.value_or(0.0)}});
}

class Outlook {
  public:
    Outlook(const ForecastRequest& request, const Workspace& workspace, const Measured& measured,
            ForecastOutcome& outcome)
        : request_(request), workspace_(workspace), measured_(measured), outcome_(outcome) {}

    [[nodiscard]] BandOutlook of(lightcurve::LightCurve curve) const {
        BandOutlook out;
        out.past = past_of(measured_, curve.band);
        const lightcurve::Analysis analysis = fitted(curve, workspace_.campaign);
        out.curve = std::move(curve);
        out.why = analysis.choice.why;
        const auto ahead = lightcurve::Forecast::make(analysis.fits, analysis.choice.weights);
        if (!ahead) {
            out.problem = analysis.refused.empty() ? ahead.error() : analysis.refused.front().problem;
            return out;
        }
        out.last_bjd_tdb = ahead->last_bjd_tdb();
        out.wander = ahead->wander();
        std::vector<double> times;
        for (const ForecastNight& night : outcome_.nights)
            times.push_back(night.bjd_tdb);
        for (const lightcurve::ForecastPoint& point : ahead->at(times))
            out.nights.push_back(night_of(point, outcome_.nights[out.nights.size()], out));
        draw_line(*ahead, out);
        find_passings(*ahead, out);
        return out;
    }

  private:
    [[nodiscard]] BandNight night_of(const lightcurve::ForecastPoint& point, const ForecastNight& night,
                                     const BandOutlook& band) const {
        BandNight out{.forecast = point};
        if (!band.past || !night.sky || !night.sky->best_airmass) return out;
        out.exposure = exposure_for(point.mag, request_.goal_mag,
                                    extinction_mag(band.curve.band, *night.sky->best_airmass), *band.past);
        out.within_night = out.exposure->exposures && out.exposure->hours() <= night.sky->observable_h;
        return out;
    }

    void draw_line(const lightcurve::Forecast& ahead, BandOutlook& out) const {
        const double end = std::max(outcome_.nights.back().bjd_tdb, out.last_bjd_tdb + 1.0);
        std::vector<double> times;
        for (int k = 0; k <= line_steps; ++k)
            times.push_back(out.last_bjd_tdb + (end - out.last_bjd_tdb) * k / line_steps);
        out.line = ahead.at(times);
    }

    void find_passings(const lightcurve::Forecast& ahead, BandOutlook& out) const {
        const double until = std::max(outcome_.nights.back().bjd_tdb, out.last_bjd_tdb + least_searched_d);
        outcome_.searched_until_bjd_tdb = std::max(outcome_.searched_until_bjd_tdb, until);
        const auto look = [&](double mag, bool is_depth) {
            PassingOf passing{.mag = mag, .is_depth = is_depth, .passing = ahead.passes(mag, until)};
            passing.already = passing.passing && passing.passing->bjd_tdb <= out.last_bjd_tdb;
            out.passings.push_back(passing);
        };
        for (const double mag : request_.passes)
            look(mag, false);
        if (out.past && out.past->depth_mag) look(*out.past->depth_mag, true);
    }

    const ForecastRequest& request_;
    const Workspace& workspace_;
    const Measured& measured_;
    ForecastOutcome& outcome_;
};

void remark(const ForecastRequest& request, const night::Campaign& campaign, ForecastOutcome& outcome) {
    if (!campaign.site) {
        outcome.remarks.emplace_back(
            "campaign.toml names no [site]: when it is dark, and when the transient stands high, cannot be "
            "told. Magnitudes are for 0 h UTC after each evening.");
    } else if (std::none_of(outcome.nights.begin(), outcome.nights.end(),
                            [](const ForecastNight& n) { return n.sky->observable_h > 0.0; })) {
        const bool dark = std::any_of(outcome.nights.begin(), outcome.nights.end(),
                                      [](const ForecastNight& n) { return n.sky->dark.has_value(); });
        outcome.remarks.push_back(
            dark ? fmt::format(
                       "In none of these nights does the transient stand above {:.0f}° while it is dark.",
                       request.least_altitude_deg)
                 : "None of these nights is astronomically dark.");
    }
    if (outcome.any_near_sun()) {
        outcome.remarks.push_back(fmt::format(
            "The transient comes within {:.0f}° of the Sun. Never point a telescope at or near the "
            "Sun without a proper full-aperture filter: it blinds and burns. Wait until the Sun is "
            "well below the horizon; follow the rules of your place.",
            sky::near_the_sun_deg));
    }
    if (!outcome.any_forecast()) return;
    outcome.remarks.emplace_back(
        "A forecast knows nothing new: a plateau that ends or a rise that begins is not in its band.");
    if (std::any_of(outcome.bands.begin(), outcome.bands.end(),
                    [](const BandOutlook& b) { return b.past.has_value(); })) {
        outcome.remarks.emplace_back(
            "Exposures are from the frames of the last nights, with their sky and seeing: a brighter Moon "
            "than theirs is not in them, nor is the time between exposures.");
    }
}

Result<void> write_files(const ForecastRequest& request, const Workspace& workspace,
                         ForecastOutcome& outcome) {
    if (auto good = make_out_folder(workspace); !good) return good;
    const std::string table = workspace.out_path("forecast.csv");
    if (auto good = write_text_file(table, forecast_csv(outcome)); !good) return good;
    outcome.table = table;
    if (!request.draw || !outcome.any_forecast()) return {};
    picture::ForecastPicture paper{.title = outcome.title};
    paper.subtitle = fmt::format("{} nights from {}", outcome.nights.size(), outcome.nights.front().night);
    for (const BandOutlook& band : outcome.bands)
        paper.bands.push_back({band.curve, band.line, band.past ? band.past->depth_mag : std::nullopt});
    paper.passes_mag = request.passes;
    for (const ForecastNight& n : outcome.nights) {
        if (n.sky)
            paper.nights.push_back({n.sky->midnight.jd(), n.sky->dark ? n.sky->dark->hours() : 0.0,
                                    n.sky->observable_h, n.sky->moon_illuminated});
    }
    const std::string path = workspace.out_path("forecast.svg");
    if (auto good = picture::draw_forecast(paper, path); !good) return good;
    outcome.picture = path;
    return {};
}

}  // namespace

ExposureNeed exposure_for(double mag, double goal_mag, double extinction, const InstrumentPast& past) {
    ExposureNeed need{.exposure_s = past.exposure_s};
    const double left = goal_mag * goal_mag - past.common_err_mag * past.common_err_mag;
    const double flux_e = flux_ratio(mag + extinction - past.zero_point_mag);
    if (!(left > 0.0) || !(flux_e > 0.0)) return need;
    const double relative2 = (flux_e + past.background_e2) / (flux_e * flux_e);
    const double variance = mag_per_relative_flux * mag_per_relative_flux * relative2 +
                            past.zero_point_err_mag * past.zero_point_err_mag;
    need.exposures = std::max(1.0, std::ceil(variance / left));
    return need;
}

bool ForecastOutcome::any_forecast() const {
    return std::any_of(bands.begin(), bands.end(), [](const BandOutlook& b) { return !b.nights.empty(); });
}

bool ForecastOutcome::any_near_sun() const {
    return std::any_of(nights.begin(), nights.end(),
                       [](const ForecastNight& n) { return n.sky && n.sky->near_sun(); });
}

Result<ForecastOutcome> forecast(const ForecastRequest& request, const std::string& campaign_folder) {
    const auto wanted = bands_named(request.bands);
    if (!wanted) return fail(wanted.error());
    const auto workspace = open_workspace(campaign_folder);
    if (!workspace) return fail(workspace.error());
    if (request.nights < 1 || request.nights > most_forecast_nights) {
        return fail({.what = fmt::format("{} nights cannot be told.", request.nights),
                     .where = "--nights",
                     .mend = fmt::format("Ask for 1 to {}.", most_forecast_nights),
                     .kind = ProblemKind::request});
    }
    ForecastOutcome outcome{.title = workspace->campaign.name,
                            .least_altitude_deg = request.least_altitude_deg,
                            .goal_mag = request.goal_mag};
    auto nights = calendar(request, workspace->campaign);
    if (!nights) return fail(nights.error());
    outcome.nights = std::move(*nights);
    const auto measured = read_ledger(*workspace, outcome.remarks);
    if (!measured) return fail(measured.error());
    const std::vector<night::Measurement> points(measured->nights.begin(), measured->nights.end());
    const Outlook outlook(request, *workspace, *measured, outcome);
    for (lightcurve::LightCurve& curve : curves_of(points, workspace->campaign.measure.limit_sigma)) {
        if (wanted->empty() || std::find(wanted->begin(), wanted->end(), curve.band) != wanted->end())
            outcome.bands.push_back(outlook.of(std::move(curve)));
    }
    std::sort(outcome.bands.begin(), outcome.bands.end(), [](const BandOutlook& a, const BandOutlook& b) {
        return facts(a.curve.band).wavelength_nm < facts(b.curve.band).wavelength_nm;
    });
    if (outcome.bands.empty() && !points.empty())
        outcome.remarks.emplace_back("Nothing has been measured in the bands that were asked for.");
    remark(request, workspace->campaign, outcome);
    if (!request.keep) return outcome;
    if (auto good = write_files(request, *workspace, outcome); !good) return fail(good.error());
    return outcome;
}

}  // namespace emberline::tasks
