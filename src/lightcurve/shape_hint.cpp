// SPDX-License-Identifier: MIT
// To be honest: every limit below is from memory or common practice, as its source says, and real classes
// have members beyond them. Ranges overlap on purpose: a curve may go with several classes.
#include "lightcurve/shape_hint.hpp"

#include <fmt/format.h>
#include <fmt/ranges.h>

#include <array>
#include <cmath>

#include "quantities/band.hpp"
#include "quantities/text.hpp"

namespace emberline::lightcurve {
namespace {

constexpr double compatible_sigma = 2.0;
constexpr const char* caution = "Photometry alone does not classify a supernova: a spectrum does.";

enum class Quantity { delta_m15, plateau_length, drop, early_rate, tail_rate, fade_100d };

struct Rule {
    Quantity quantity;
    const char* band;  // nullptr: any
    double least, most;
    bool telling;  // whether agreement speaks for the class; else only disagreement counts
    const char* source;
};

struct Class {
    const char* name;
    std::vector<Rule> rules;
};

// Tails of type II and of stripped envelopes are left out: their rates overlap with everything, and where a
// plateau's end was missed a "tail" holds the drop.
const std::array<Class, 4>& classes() {
    using enum Quantity;
    static const std::array<Class, 4> all{{
        {"type Ia",
         {{delta_m15, "B", 0.8, 2.0, true, "Phillips 1993, Phillips et al. 1999; from memory"},
          {delta_m15, "V", 0.5, 1.5, true, "common practice, no source"},
          {early_rate, "B", 0.065, 0.12, true, "0.08 to 0.11 from day 5 to 20; from memory"},
          {fade_100d, "B", 3.0, 4.5, false, "the usual rates added up"},
          {tail_rate, "B", 0.012, 0.020, false, "from memory"},
          {tail_rate, "V", 0.012, 0.035, false, "from memory"},
          {plateau_length, nullptr, 0.0, 50.0, false, "no plateau; common practice, no source"}}},
        {"type II with a plateau",
         {{plateau_length, nullptr, 80.0, 145.0, true,
           "80 to 120 d on the plateau, and half of the drop; common practice, no source"},
          {drop, nullptr, 1.0, 3.5, false, "Olivares et al. 2010, Valenti et al. 2016; from memory"},
          {fade_100d, "B", 0.0, 3.5, true, "Patat et al. 1994; from memory"},
          {early_rate, "V", -0.01, 0.03, true, "twice the mean slope of Anderson et al. 2014; from memory"},
          {early_rate, "B", -0.01, 0.05, false, "slower than the linear ones"},
          {delta_m15, "B", -0.1, 0.75, false, "15 d of that rate"},
          {delta_m15, "V", -0.1, 0.45, false, "15 d of that rate"}}},
        {"type II, linear",
         {{fade_100d, "B", 3.5, 6.5, true, "Patat et al. 1994; from memory"},
          {early_rate, "B", 0.03, 0.065, true, "about 0.05, Barbon, Ciatti & Rosino 1979; from memory"},
          {delta_m15, "B", 0.4, 0.95, false, "15 d of that rate"},
          {plateau_length, nullptr, 0.0, 80.0, false, "no plateau; common practice, no source"}}},
        {"stripped envelope (Ib, Ic)",
         {{delta_m15, "B", 0.9, 2.3, true, "few objects; from memory"},
          {delta_m15, "V", 0.4, 1.5, true, "Drout et al. 2011; from memory"},
          {delta_m15, "Rc", 0.3, 1.3, true, "Drout et al. 2011; from memory"},
          {delta_m15, "r", 0.3, 1.3, true, "Drout et al. 2011; from memory"},
          {plateau_length, nullptr, 0.0, 50.0, false, "no plateau; common practice, no source"}}},
    }};
    return all;
}

std::optional<ValueWithError> value_of(const ShapeEvidence& evidence, Quantity quantity) {
    switch (quantity) {
        case Quantity::delta_m15:
            if (!evidence.delta_m15) return std::nullopt;
            return ValueWithError{evidence.delta_m15->value, evidence.delta_m15->err};
        case Quantity::plateau_length:
            return evidence.plateau_length_d;
        case Quantity::drop:
            return evidence.drop_mag;
        case Quantity::early_rate:
            return evidence.early_rate_mag_per_day;
        case Quantity::tail_rate:
            return evidence.tail_rate_mag_per_day;
        case Quantity::fade_100d:
            return evidence.fade_100d_mag;
    }
    return std::nullopt;
}

std::string words_for(Quantity quantity, const std::string& band, const ValueWithError& value) {
    switch (quantity) {
        case Quantity::delta_m15:
            return fmt::format("Δm15({}) {}", band, with_error(value, 2));
        case Quantity::plateau_length:
            return fmt::format("the plateau of {} d in {}", with_error(value), band);
        case Quantity::drop:
            return fmt::format("the drop of {} mag in {}", with_error(value, 1), band);
        case Quantity::early_rate:
            return fmt::format("the early rate of {} mag/d in {}", with_error(value), band);
        case Quantity::tail_rate:
            return fmt::format("the tail's rate of {} mag/d in {}", with_error(value), band);
        case Quantity::fade_100d:
            return fmt::format("the fade of {} mag in 100 d in {}", with_error(value, 1), band);
    }
    return {};
}

// The band whose ranges hold for it: TG is on the scale of V.
std::string standard_name(const std::string& band) {
    const auto known = parse_band(band);
    return known ? sequence_band(*known).name() : band;
}

struct Verdict {
    ShapeHint hint;
    bool ruled_out;
};

std::optional<Verdict> judge(const Class& klass, const std::vector<ShapeEvidence>& bands) {
    bool agrees = false, disagrees = false;
    std::vector<std::string> clauses;
    for (const Rule& rule : klass.rules) {
        for (const ShapeEvidence& evidence : bands) {
            if (rule.band != nullptr && standard_name(evidence.band) != rule.band) continue;
            const auto value = value_of(evidence, rule.quantity);
            if (!value || !std::isfinite(value->value) || !(value->err >= 0.0)) continue;
            const double reach = compatible_sigma * value->err;
            std::string verdict;
            if (2.0 * reach > rule.most - rule.least) {
                verdict = "is too uncertain to compare with";
            } else if (value->value + reach < rule.least || value->value - reach > rule.most) {
                disagrees = true;
                verdict = "lies outside";
            } else {
                agrees = agrees || rule.telling;
                const bool inside = value->value >= rule.least && value->value <= rule.most;
                verdict = inside ? "lies within" : "agrees within its error with";
            }
            clauses.push_back(fmt::format("{} {} {:g} to {:g} ({})",
                                          words_for(rule.quantity, evidence.band, *value), verdict,
                                          rule.least, rule.most, rule.source));
        }
    }
    if (clauses.empty()) return std::nullopt;
    std::string name = klass.name;
    name[0] = upper_case(name.substr(0, 1))[0];
    return Verdict{{klass.name, agrees && !disagrees, fmt::format("{}: {}.", name, fmt::join(clauses, "; "))},
                   disagrees};
}

std::string sum_of(const std::vector<ShapeHint>& hints, std::size_t ruled_out) {
    std::vector<std::string> consistent;
    for (const ShapeHint& hint : hints) {
        if (hint.consistent) consistent.push_back(hint.klass);
    }
    if (!consistent.empty())
        return fmt::format("The shape goes with {}. {}", fmt::join(consistent, " as well as with "), caution);
    if (ruled_out == classes().size())
        return fmt::format("The shape is unlike any of the usual classes. {}", caution);
    return fmt::format("These curves do not tell the usual classes apart. {}", caution);
}

}  // namespace

ShapeHints shape_hints(const std::vector<ShapeEvidence>& bands) {
    ShapeHints all;
    std::size_t ruled_out = 0;
    for (const Class& klass : classes()) {
        if (auto verdict = judge(klass, bands)) {
            ruled_out += verdict->ruled_out ? 1 : 0;
            all.hints.push_back(std::move(verdict->hint));
        }
    }
    all.sentence = sum_of(all.hints, ruled_out);
    return all;
}

}  // namespace emberline::lightcurve
