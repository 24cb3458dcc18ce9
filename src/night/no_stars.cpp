// SPDX-License-Identifier: MIT
#include "night/no_stars.hpp"

#include <fmt/format.h>
#include <fmt/ranges.h>

#include <algorithm>
#include <filesystem>
#include <vector>

#include "night/position_slip.hpp"

namespace emberline::night {
namespace {

std::string table_name(const standard::Sequence& sequence) {
    const std::string name = std::filesystem::path(sequence.source).filename().string();
    return name.empty() ? std::string("the sequence") : name;
}

std::string bands_of(const standard::Sequence& sequence) {
    std::vector<std::string> names;
    for (const Band& band : sequence.bands)
        names.push_back(band.name());
    return fmt::format("{}", fmt::join(names, ", "));
}

// All of them lie elsewhere.
Problem elsewhere(const frame::FrameFacts& facts, const frame::Wcs& wcs,
                  const std::vector<const standard::ComparisonStar*>& stars, const std::string& table) {
    std::vector<SkyPosition> places;
    for (const standard::ComparisonStar* star : stars)
        places.push_back(star->position);
    std::string nearest;
    if (const auto middle = wcs.sky(facts.middle())) {
        const auto near = std::min_element(stars.begin(), stars.end(), [&](const auto* a, const auto* b) {
            return separation(a->position, *middle).radians() < separation(b->position, *middle).radians();
        });
        nearest = fmt::format(" The nearest, {}, is {} from its middle.", (*near)->label,
                              apart_text(separation((*near)->position, *middle)));
    }
    const auto slip =
        position_slip(places, taken(facts), [&](const SkyPosition& p) { return lies_on(facts, wcs, p); });
    return {
        .what = fmt::format("None of the {} comparison stars of {} lies on the frame.{}", stars.size(), table,
                            nearest),
        .where = facts.path,
        .mend = slip ? fmt::format("They would lie on it {}: mend the positions in {}.", slip->words, table)
                     : fmt::format("Are they of another field? `emberline sequence build CATALOGUE` makes {} "
                                   "from a catalogue of this one.",
                                   table)};
}

}  // namespace

bool lies_on(const frame::FrameFacts& facts, const frame::Wcs& wcs, const SkyPosition& place) {
    const auto pixel = wcs.pixel(place);
    return pixel && facts.holds(*pixel);
}

std::optional<Instant> taken(const frame::FrameFacts& facts) {
    return facts.mid_exposure ? std::optional<Instant>(facts.mid_exposure->value) : std::nullopt;
}

Problem no_stars(const frame::FrameFacts& facts, const frame::Wcs& wcs, const Band& band,
                 const standard::Sequence& sequence, const Campaign& campaign) {
    const std::string table = table_name(sequence);
    std::vector<const standard::ComparisonStar*> all, known;
    for (const standard::ComparisonStar& star : sequence.stars) {
        if (star.role != standard::Role::comparison || star.label == campaign.check_label) continue;
        all.push_back(&star);
        if (star.magnitude(sequence_band(band))) known.push_back(&star);
    }
    if (all.empty()) {
        return {
            .what = fmt::format("There is no comparison star in {}.", table),
            .where = facts.path,
            .mend = "Add some, one line a star, or let `emberline sequence build CATALOGUE` choose them."};
    }
    if (!known.empty()) {
        const bool any = std::any_of(known.begin(), known.end(),
                                     [&](const auto* star) { return lies_on(facts, wcs, star->position); });
        if (!any) return elsewhere(facts, wcs, known, table);
    }
    return {.what = fmt::format(
                "No comparison star has a magnitude in {}{}: {} has {}.", sequence_band(band).name(),
                sequence_band(band) == band ? "" : fmt::format(", which {} is put on", band.name()), table,
                bands_of(sequence)),
            .where = facts.path,
            .mend = "Add comparison stars with magnitudes in that band to the sequence."};
}

}  // namespace emberline::night
