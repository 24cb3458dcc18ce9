// SPDX-License-Identifier: MIT
// What `sequence transform --json` prints.
#include <nlohmann/json.hpp>

#include "tasks/documents.hpp"
#include "tasks/json_values.hpp"

namespace emberline::tasks {
namespace {

Json row_document(const TransformRow& row) {
    const standard::Transformation& found = row.band.found;
    Json stars = Json::array(), nights = Json::array();
    for (const standard::StarOnRelation& star : found.relation) {
        stars.push_back({{"star", star.label},
                         {"colour_mag", maybe(star.colour_mag)},
                         {"departure_mag", star.departure_mag},
                         {"err_mag", star.err_mag},
                         {"frames", star.frames},
                         {"used", star.used},
                         {"why", star.why}});
    }
    for (const standard::NightExtinction& night : found.nights) {
        nights.push_back({{"night", night.night},
                          {"extinction_mag_per_airmass", maybe_with_err(night.line.extinction)},
                          {"outside_zero_point_mag", night.line.outside_mag},
                          {"scatter_mag", night.line.scatter_mag},
                          {"frames", night.line.frames},
                          {"airmass_low", night.line.airmass_low},
                          {"airmass_high", night.line.airmass_high}});
    }
    return {{"instrument", row.band.instrument},
            {"band", row.band.band.name()},
            {"colour_index", row.band.index.name()},
            {"night", row.night},
            {"against", row.against},
            {"colour_term", maybe_with_err(found.colour_term)},
            {"no_colour_term", found.no_colour_term},
            {"extinction_mag_per_airmass", maybe_with_err(found.extinction)},
            {"no_extinction", found.no_extinction},
            {"second_order", maybe_with_err(found.second_order)},
            {"colour_low_mag", found.colour_low_mag},
            {"colour_high_mag", found.colour_high_mag},
            {"scatter_mag", found.scatter_mag},
            {"star_scatter_mag", found.star_scatter_mag},
            {"stars", found.stars},
            {"frames", found.frames},
            {"stored", row.stored},
            {"relation", stars},
            {"nights", nights}};
}

}  // namespace

Json document(const TransformOutcome& outcome) {
    Json rows = Json::array(), refused = Json::array();
    for (const TransformRow& row : outcome.rows)
        rows.push_back(row_document(row));
    for (const RefusedFrame& one : outcome.refused)
        refused.push_back({{"frame", one.frame}, {"problem", document(one.problem)}});
    return {{"transient", outcome.title},
            {"terms", rows},
            {"frames", outcome.frames},
            {"refused", refused},
            {"picture", outcome.picture.empty() ? Json(nullptr) : Json(outcome.picture)},
            {"remarks", outcome.remarks},
            {"interrupted", outcome.interrupted}};
}

Json document(const std::vector<ledger::KeptTransformation>& terms) {
    Json out = Json::array();
    for (const ledger::KeptTransformation& term : terms) {
        out.push_back({{"instrument", term.instrument},
                       {"band", term.band.name()},
                       {"colour_index", term.colour_index},
                       {"colour_term", maybe_with_err(term.colour_term)},
                       {"extinction_mag_per_airmass", maybe_with_err(term.extinction)},
                       {"colour_low_mag", term.colour_low_mag},
                       {"colour_high_mag", term.colour_high_mag},
                       {"scatter_mag", term.scatter_mag},
                       {"stars", term.stars},
                       {"frames", term.frames},
                       {"night", term.night},
                       {"against", term.against},
                       {"since", term.since}});
    }
    return {{"kept", out}};
}

}  // namespace emberline::tasks
