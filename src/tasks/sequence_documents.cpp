// SPDX-License-Identifier: MIT
// What `sequence build --json` prints.
#include <nlohmann/json.hpp>

#include "tasks/documents.hpp"
#include "tasks/json_values.hpp"

namespace emberline::tasks {

Json document(const BuildOutcome& outcome) {
    const standard::SequenceChoice& choice = outcome.choice;
    Json stars = Json::array();
    for (std::size_t i = 0; i < choice.chosen.size(); ++i) {
        const standard::ComparisonStar& star = choice.sequence.stars[i];
        const standard::ChosenStar& chosen = choice.chosen[i];
        Json magnitudes = Json::object();
        for (const auto& [band, magnitude] : star.magnitudes) {
            const auto by = outcome.stars[i].by.find(band);
            magnitudes[band.name()] = {
                {"magnitude_mag", magnitude.value},
                {"err_mag", magnitude.err},
                {"by", by == outcome.stars[i].by.end() ? Json(nullptr) : Json(by->second)}};
        }
        stars.push_back({{"label", star.label},
                         {"ra_deg", star.position.ra.degrees()},
                         {"dec_deg", star.position.dec.degrees()},
                         {"role", standard::word(star.role)},
                         {"magnitudes", magnitudes},
                         {"colour_mag", maybe(chosen.colour_mag)},
                         {"distance_arcmin", chosen.distance_arcmin},
                         {"added_by_neighbours_mmag", chosen.added_mmag},
                         {"catalogue_row", outcome.stars[i].row}});
    }
    Json left_out = Json::object(), refused = Json::array();
    for (const auto& [reason, count] : choice.counts())
        left_out[std::string(standard::word(reason))] = count;
    for (const Problem& problem : outcome.refused)
        refused.push_back(document(problem));
    return {{"survey", outcome.survey},
            {"catalogue_stars", outcome.catalogue_stars},
            {"epoch_jyear", outcome.epoch_jyear},
            {"magnitude_band", choice.magnitude_band.name()},
            {"colour_index", choice.colour ? Json(choice.colour->name()) : Json(nullptr)},
            {"transient_mag", outcome.transient_mag},
            {"brightest_mag", outcome.brightest_mag},
            {"faintest_mag", outcome.faintest_mag},
            {"zero_point_err_mag", choice.zero_point_err_mag},
            {"stars", stars},
            {"left_out", left_out},
            {"file", outcome.file},
            {"kept", outcome.kept},
            {"chart", outcome.chart},
            {"refused", refused},
            {"remarks", outcome.remarks}};
}

}  // namespace emberline::tasks
