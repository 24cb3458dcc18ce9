// SPDX-License-Identifier: MIT
// The document of `forecast --json`, and out/forecast.csv.
#include <fmt/format.h>

#include <cmath>
#include <nlohmann/json.hpp>

#include "sky/time_scales.hpp"
#include "tasks/documents.hpp"
#include "tasks/json_values.hpp"

namespace emberline::tasks {
namespace {

std::string utc(const Instant& instant) {
    return sky::iso(instant, 0);
}

Json span(const sky::Span& s) {
    return {{"from_utc", utc(s.from)}, {"to_utc", utc(s.to)}, {"hours", s.hours()}};
}

Json maybe_span(const std::optional<sky::Span>& s) {
    return s ? span(*s) : Json(nullptr);
}

Json spans(const std::vector<sky::Span>& all) {
    Json json = Json::array();
    for (const sky::Span& s : all)
        json.push_back(span(s));
    return json;
}

Json sky_document(const sky::NightSky& s) {
    return {{"sun_down", maybe_span(s.sun_down)},
            {"nautical", maybe_span(s.nautical)},
            {"dark", maybe_span(s.dark)},
            {"sun_never_rises", s.sun_never_rises},
            {"sun_never_sets", s.sun_never_sets},
            {"observable", spans(s.observable)},
            {"observable_h", s.observable_h},
            {"moonless_h", s.moonless_h},
            {"best_utc", s.best ? Json(utc(*s.best)) : Json(nullptr)},
            {"best_airmass", maybe(s.best_airmass)},
            {"altitude_deg", s.altitude_deg},
            {"transit_utc", utc(s.transit)},
            {"transit_in_dark", s.transit_in_dark},
            {"transit_altitude_deg", s.transit_altitude_deg},
            {"sun_distance_deg", s.sun_distance_deg},
            {"near_sun", s.near_sun()},
            {"moon_distance_deg", s.moon_distance_deg},
            {"moon_altitude_deg", s.moon_altitude_deg},
            {"moon_illuminated", s.moon_illuminated},
            {"moon_up", spans(s.moon_up)}};
}

Json exposure_document(const BandNight& n) {
    if (!n.exposure) return nullptr;
    return {{"exposure_s", n.exposure->exposure_s},
            {"exposures", maybe(n.exposure->exposures)},
            {"total_s",
             n.exposure->exposures ? Json(*n.exposure->exposures * n.exposure->exposure_s) : Json(nullptr)},
            {"within_night", n.within_night}};
}

Json past_document(const InstrumentPast& p) {
    return {{"frames", p.frames},
            {"exposure_s", p.exposure_s},
            {"exposures_a_night", p.exposures_a_night},
            {"zero_point_above_air_mag", p.zero_point_mag},
            {"background_variance_e2", p.background_e2},
            {"zero_point_err_mag", p.zero_point_err_mag},
            {"common_err_mag", p.common_err_mag},
            {"depth_mag", maybe(p.depth_mag)}};
}

Json passing_document(const PassingOf& p) {
    Json json{{"mag", p.mag}, {"is_depth", p.is_depth}, {"already", p.already}, {"bjd_tdb", nullptr}};
    if (!p.passing) return json;
    json["bjd_tdb"] = p.passing->bjd_tdb;
    json["low_bjd_tdb"] = p.passing->low_bjd_tdb;
    json["high_bjd_tdb"] =
        std::isfinite(p.passing->high_bjd_tdb) ? Json(p.passing->high_bjd_tdb) : Json(nullptr);
    return json;
}

Json band_document(const BandOutlook& band, const std::vector<ForecastNight>& nights) {
    Json json{
        {"n", band.curve.points.size()},
        {"problem", band.problem ? document(*band.problem) : Json(nullptr)},
        {"why", band.why},
        {"last_bjd_tdb", band.nights.empty() ? Json(nullptr) : Json(band.last_bjd_tdb)},
        {"rate_wander_mag_per_day_per_sqrt_day", band.nights.empty() ? Json(nullptr) : Json(band.wander)},
        {"instrument", band.past ? past_document(*band.past) : Json(nullptr)},
        {"nights", Json::array()},
        {"passes", Json::array()}};
    for (std::size_t i = 0; i < band.nights.size(); ++i) {
        const lightcurve::ForecastPoint& f = band.nights[i].forecast;
        json["nights"].push_back({{"night", nights[i].night},
                                  {"bjd_tdb", f.bjd_tdb},
                                  {"mag", f.mag},
                                  {"low_mag", f.low_mag},
                                  {"high_mag", f.high_mag},
                                  {"low95_mag", f.low95_mag},
                                  {"high95_mag", f.high95_mag},
                                  {"exposure", exposure_document(band.nights[i])}});
    }
    for (const PassingOf& p : band.passings)
        json["passes"].push_back(passing_document(p));
    return json;
}

// Fields of a row; one that does not exist stays empty.
class Row {
  public:
    Row& word(std::string_view text) {
        line_ += first_ ? "" : ",";
        first_ = false;
        line_ += text;
        return *this;
    }
    Row& number(const std::optional<double>& value, int decimals) {
        return word(value && std::isfinite(*value) ? fmt::format("{:.{}f}", *value, decimals)
                                                   : std::string());
    }
    Row& time(const std::optional<Instant>& value) { return word(value ? utc(*value) : std::string()); }
    [[nodiscard]] std::string text() const { return line_ + '\n'; }

  private:
    std::string line_;
    bool first_ = true;
};

std::string row_of(const ForecastNight& night, const std::string& band, const BandNight* ahead) {
    Row row;
    row.word(night.night).word(band).number(night.bjd_tdb, 5);
    const auto& sky = night.sky;
    using Value = std::optional<double>;
    const auto of_sky = [&](const auto& value, int decimals) {
        row.number(sky ? Value(value(*sky)) : Value(), decimals);
    };
    const auto point = ahead == nullptr ? std::nullopt : std::optional(ahead->forecast);
    row.number(point ? Value(point->mag) : Value(), 3)
        .number(point ? Value(point->low_mag) : Value(), 3)
        .number(point ? Value(point->high_mag) : Value(), 3);
    of_sky([](const auto& s) { return s.dark ? s.dark->hours() : 0.0; }, 3);
    of_sky([](const auto& s) { return s.observable_h; }, 3);
    of_sky([](const auto& s) { return s.moonless_h; }, 3);
    row.time(sky ? sky->best : std::nullopt).number(sky ? sky->best_airmass : std::nullopt, 3);
    of_sky([](const auto& s) { return s.altitude_deg; }, 2);
    row.time(sky ? std::optional(sky->transit) : std::nullopt);
    row.word(sky ? (sky->transit_in_dark ? "1" : "0") : "");
    of_sky([](const auto& s) { return s.moon_distance_deg; }, 2);
    of_sky([](const auto& s) { return s.moon_illuminated; }, 3);
    of_sky([](const auto& s) { return s.moon_altitude_deg; }, 2);
    of_sky([](const auto& s) { return s.sun_distance_deg; }, 2);
    const auto exposure = ahead == nullptr ? std::nullopt : ahead->exposure;
    row.number(exposure ? Value(exposure->exposure_s) : Value(), 1)
        .number(exposure ? exposure->exposures : std::nullopt, 0)
        .word(exposure ? (ahead->within_night ? "1" : "0") : "");
    return row.text();
}

}  // namespace

std::string forecast_csv(const ForecastOutcome& outcome) {
    std::string text =
        "night,band,bjd_tdb,mag,low_mag,high_mag,dark_h,observable_h,moonless_h,best_utc,best_airmass,"
        "altitude_deg,transit_utc,transit_in_dark,moon_distance_deg,moon_illuminated,moon_altitude_deg,"
        "sun_distance_deg,exposure_s,exposures,within_night\n";
    for (std::size_t i = 0; i < outcome.nights.size(); ++i) {
        bool any = false;
        for (const BandOutlook& band : outcome.bands) {
            if (band.nights.empty()) continue;
            text += row_of(outcome.nights[i], band.curve.band.name(), &band.nights[i]);
            any = true;
        }
        if (!any) text += row_of(outcome.nights[i], "", nullptr);
    }
    return text;
}

Json document(const ForecastOutcome& outcome) {
    Json json{{"transient", outcome.title},
              {"least_altitude_deg", outcome.least_altitude_deg},
              {"goal_mag", outcome.goal_mag},
              {"nights", Json::array()},
              {"bands", Json::object()}};
    for (const ForecastNight& night : outcome.nights) {
        json["nights"].push_back({{"night", night.night},
                                  {"bjd_tdb", night.bjd_tdb},
                                  {"sky", night.sky ? sky_document(*night.sky) : Json(nullptr)}});
    }
    for (const BandOutlook& band : outcome.bands)
        json["bands"][band.curve.band.name()] = band_document(band, outcome.nights);
    json["passes_searched_until_bjd_tdb"] =
        outcome.any_forecast() ? Json(outcome.searched_until_bjd_tdb) : Json(nullptr);
    json["table"] = outcome.table.empty() ? Json(nullptr) : Json(outcome.table);
    json["picture"] = outcome.picture.empty() ? Json(nullptr) : Json(outcome.picture);
    json["remarks"] = outcome.remarks;
    return json;
}

}  // namespace emberline::tasks
