// SPDX-License-Identifier: MIT
// The document of `sequence audit --json`.
#include <nlohmann/json.hpp>

#include "tasks/documents.hpp"
#include "tasks/json_values.hpp"

namespace emberline::tasks {
namespace {

Json nights_of(const night::AuditedStar& star) {
    Json nights = Json::array();
    for (const night::StarNight& n : star.nights) {
        nights.push_back({{"night", n.night},
                          {"jd_utc", n.jd_utc},
                          {"residual_mag", n.residual_mag.value},
                          {"err_mag", n.residual_mag.err},
                          {"frames", n.frames}});
    }
    return nights;
}

Json removal_document(const night::RemovalEffect& effect) {
    Json json = {{"harm_in_errors", effect.harm},
                 {"mean_change_mag", effect.mean_change_mag},
                 {"largest_change_mag", effect.largest_change_mag},
                 {"largest_change_in_errors", effect.largest_in_errors},
                 {"error_ratio", effect.error_ratio},
                 {"nights_lost", effect.lost},
                 {"nights_gained", effect.gained},
                 {"decline", nullptr},
                 {"nights", Json::array()}};
    if (effect.rate) {
        json["decline"] = {{"before_mag_per_day", with_err(effect.rate->before_mag_per_day)},
                           {"without_mag_per_day", with_err(effect.rate->without_mag_per_day)},
                           {"change_mag_per_day", with_err(effect.rate->change_mag_per_day)}};
    }
    for (const night::NightChange& n : effect.nights) {
        json["nights"].push_back({{"night", n.night},
                                  {"jd_utc", n.jd_utc},
                                  {"before_mag", with_err(n.before_mag)},
                                  {"without_mag", with_err(n.without_mag)},
                                  {"change_mag", n.change_mag()},
                                  {"change_in_errors", n.change_in_errors()}});
    }
    return json;
}

Json star_document(const night::StarOnTrial& trial) {
    const night::AuditedStar& star = trial.star;
    Json growth = Json::array();
    for (const night::GrowthExcess& g : star.growth) {
        growth.push_back({{"narrow_fwhm", g.narrow_fwhm},
                          {"wide_fwhm", g.wide_fwhm},
                          {"excess_mag", with_err(g.excess_mag)},
                          {"sigma", g.sigma}});
    }
    return {{"star", star.label},
            {"band", star.band.name()},
            {"instrument", star.instrument},
            {"verdict", word(star.fault)},
            {"why", star.why},
            {"check_star", star.check},
            {"set_aside", star.set_aside},
            {"catalogue_mag", star.catalogue_mag},
            {"catalogue_err_mag", star.catalogue_err_mag},
            {"colour_mag", maybe(star.colour_mag)},
            {"frames", star.frames},
            {"offset_mag", maybe_with_err(star.offset_mag)},
            {"frame_scatter_mag", star.frame_scatter_mag},
            {"expected_frame_scatter_mag", star.expected_frame_scatter_mag},
            {"night_scatter_mag", star.night_scatter_mag},
            {"expected_night_scatter_mag", star.expected_night_scatter_mag},
            {"trend_mag_per_day", maybe_with_err(star.trend_mag_per_day)},
            {"seeing_slope_mag", maybe_with_err(star.seeing_slope_mag)},
            {"growth", growth},
            {"blended_share", star.blended_share},
            {"varies_sigma", star.varies_sigma},
            {"blended_sigma", star.blended_sigma},
            {"catalogue_sigma", star.catalogue_sigma},
            {"nights", nights_of(star)},
            {"removal", trial.removal ? removal_document(*trial.removal) : Json(nullptr)},
            {"no_removal", trial.no_removal},
            {"advice", word(trial.advice)},
            {"advice_text", trial.advice_text},
            {"better_magnitude", maybe_with_err(trial.better_magnitude)}};
}

}  // namespace

Json document(const AuditOutcome& outcome) {
    const night::SequenceAudit& audit = outcome.audit;
    Json json = {{"transient", outcome.title},
                 {"frames", audit.frames},
                 {"nights", audit.nights},
                 {"accused_from_sigma",
                  {{"varies", audit.varies_from_sigma},
                   {"blended", audit.blended_from_sigma},
                   {"catalogue_value", audit.catalogue_from_sigma}}},
                 {"offsets_by_colour", Json::array()},
                 {"stars", Json::array()}};
    for (const night::OffsetsByColour& c : audit.by_colour) {
        json["offsets_by_colour"].push_back({{"band", c.band.name()},
                                             {"instrument", c.instrument},
                                             {"mag_per_mag", with_err(c.mag_per_mag)}});
    }
    for (const night::StarOnTrial& trial : audit.stars)
        json["stars"].push_back(star_document(trial));
    json["picture"] = outcome.picture.empty() ? Json(nullptr) : Json(outcome.picture);
    json["remarks"] = audit.remarks;
    return json;
}

}  // namespace emberline::tasks
