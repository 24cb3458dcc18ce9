// SPDX-License-Identifier: MIT
#include "tasks/known_terms.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <map>
#include <utility>

#include "numerics/robust.hpp"
#include "standard/transformation.hpp"

namespace emberline::tasks {
namespace {

using ledger::KeptTransformation;
using Key = std::pair<std::string, Band>;  // instrument, band

// What a term moves by from season to season: mirrors age, filters and sensors change with temperature.
// common practice, no source
constexpr double seasonal_err = 0.005;
constexpr std::size_t least_extinction_nights = 2;

// Whether the sequence's stars tell a colour term of the band themselves.
bool sequence_tells(const Workspace& workspace, const night::SetAsideByObserver& set_aside,
                    const KeptTransformation& term) {
    const auto index = usual_colour(term.band);
    std::vector<double> colours;
    for (const standard::ComparisonStar& star : workspace.sequence.stars) {
        if (star.role != standard::Role::comparison || star.label == workspace.campaign.check_label ||
            set_aside.stars.contains(star.label) || !star.magnitude(sequence_band(term.band)))
            continue;
        if (const auto colour = star.colour(*index)) colours.push_back(colour->value);
    }
    if (colours.size() < standard::least_transformation_stars) return false;
    const auto [low, high] = std::minmax_element(colours.begin(), colours.end());
    return *high - *low >= standard::least_colour_span_mag;
}

void add_colour_term(KnownTerms& out, const KeptTransformation& term) {
    const ValueWithError prior{term.colour_term.value, std::hypot(term.colour_term.err, seasonal_err)};
    out.campaign.colour_terms[term.instrument][term.band.name()] = prior;
    out.remarks.push_back(fmt::format("Colour term of {}, {}: {:+.3f} ± {:.3f} from {} ({}), by the ledger.",
                                      term.band.name(), term.instrument, prior.value, prior.err, term.night,
                                      term.against));
}

void add_extinction(KnownTerms& out, const Key& key, const std::map<std::string, ValueWithError>& nights) {
    if (nights.size() < least_extinction_nights) return;
    std::vector<double> values, errs;
    for (const auto& [night, k] : nights) {
        values.push_back(k.value);
        errs.push_back(k.err);
    }
    const auto mean = numerics::weighted_mean(values, errs);
    const ValueWithError prior{mean.mean, std::hypot(mean.err, facts(key.second).extinction_err)};
    out.campaign.known_extinction[key.first][key.second.name()] = prior;
    out.remarks.push_back(
        fmt::format("Extinction of {}, {}: {:.3f} ± {:.3f} mag an airmass, the mean of {} "
                    "nights in the ledger.",
                    key.second.name(), key.first, prior.value, prior.err, nights.size()));
}

}  // namespace

Result<KnownTerms> known_terms(const Workspace& workspace, const ledger::Ledger& ledger) {
    const auto set_aside = set_aside_in(ledger);
    if (!set_aside) return fail(set_aside.error());
    return known_terms(workspace, ledger, *set_aside);
}

Result<KnownTerms> known_terms(const Workspace& workspace, const ledger::Ledger& ledger,
                               const night::SetAsideByObserver& set_aside) {
    KnownTerms out{workspace.campaign, {}};
    const auto every = ledger.every_transformation();
    if (!every) return fail(every.error());
    if (every->empty()) return out;
    std::map<Key, const KeptTransformation*> newest;
    std::map<Key, std::map<std::string, ValueWithError>> extinctions;
    for (const KeptTransformation& term : *every) {
        const auto index = usual_colour(term.band);
        if (!index || index->name() != term.colour_index) continue;
        const Key key{term.instrument, term.band};
        if (term.extinction && term.extinction->err > 0.0) extinctions[key][term.night] = *term.extinction;
        if (term.against == own_stars && sequence_tells(workspace, set_aside, term)) continue;
        newest[key] = &term;
    }
    for (const auto& [key, term] : newest) {
        const auto given = workspace.campaign.colour_terms.find(key.first);
        const bool by_settings =
            given != workspace.campaign.colour_terms.end() && given->second.contains(key.second.name());
        if (!by_settings && workspace.campaign.measure.colour_term) add_colour_term(out, *term);
    }
    for (const auto& [key, nights] : extinctions)
        add_extinction(out, key, nights);
    return out;
}

}  // namespace emberline::tasks
