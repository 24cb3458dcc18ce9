// SPDX-License-Identifier: MIT
#include "tasks/try_set_aside.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <map>
#include <set>
#include <tuple>

#include "lightcurve/analysis.hpp"
#include "tasks/curves_of.hpp"
#include "tasks/known_terms.hpp"

namespace emberline::tasks {
namespace {

using night::NightMeasurement;
using night::SetAsideByObserver;
using night::Solution;

constexpr std::size_t least_nights_for_rate = 3;
// A night's middle moves within the night where frames leave it or join it: the same nights lie in the
// interval all the same.
constexpr double within_night_d = 0.25;
// Below a thousandth of a magnitude nothing is told in any table.
constexpr double no_change_mag = 0.0005;

std::map<std::string, std::string>& of_kind(SetAsideByObserver& set_aside, ledger::SetAside kind) {
    switch (kind) {
        case ledger::SetAside::frame:
            return set_aside.frames;
        case ledger::SetAside::night:
            return set_aside.nights;
        case ledger::SetAside::star:
            break;
    }
    return set_aside.stars;
}

SetAsideByObserver changed(SetAsideByObserver set_aside, const Named& named, SetAsideAction action) {
    auto& kind = of_kind(set_aside, named.kind);
    if (action == SetAsideAction::exclude) {
        kind.emplace(named.key, "tried");
    } else {
        kind.erase(named.key);
    }
    return set_aside;
}

// Bands of the solution in which no star would be left to calibrate.
std::vector<std::string> bands_without_stars(const Workspace& workspace, const Solution& before,
                                             const SetAsideByObserver& set_aside) {
    const std::string check = check_label(workspace);
    std::set<std::string> bands;
    for (const NightMeasurement& night : before.nights) {
        const bool any = std::any_of(workspace.sequence.stars.begin(), workspace.sequence.stars.end(),
                                     [&](const standard::ComparisonStar& star) {
                                         return star.role == standard::Role::comparison &&
                                                star.label != check &&
                                                !set_aside.stars.contains(star.label) &&
                                                star.magnitude(sequence_band(night.band));
                                     });
        if (!any) bands.insert(night.band.name());
    }
    return {bands.begin(), bands.end()};
}

std::optional<ValueWithError> magnitude_of(const NightMeasurement& m) {
    if (m.is_limit || !m.magnitude_mag || !m.random_err_mag) return std::nullopt;
    return ValueWithError{*m.magnitude_mag, *m.total_err_mag()};
}

std::vector<TriedNight> compare(const Solution& before, const Solution& after) {
    std::map<std::tuple<std::string, double, std::string, std::string>, TriedNight> nights;
    const auto entry = [&](const NightMeasurement& m) -> TriedNight& {
        TriedNight& night = nights[{m.night, facts(m.band).wavelength_nm, m.band.name(), m.instrument}];
        night.night = m.night;
        night.band = m.band;
        night.instrument = m.instrument;
        if (!night.random_err_mag) night.random_err_mag = m.random_err_mag;
        return night;
    };
    for (const NightMeasurement& m : before.nights) {
        if (const auto mag = magnitude_of(m)) entry(m).before_mag = mag;
    }
    for (const NightMeasurement& m : after.nights) {
        if (const auto mag = magnitude_of(m)) entry(m).after_mag = mag;
    }
    std::vector<TriedNight> out;
    for (auto& [key, night] : nights)
        out.push_back(std::move(night));
    return out;
}

std::vector<lightcurve::LightCurve> curves(const Solution& solution, double limit_sigma) {
    return curves_of({solution.nights.begin(), solution.nights.end()}, limit_sigma);
}

// The last straight stretch: by lines alone, which takes no time.
std::optional<lightcurve::Interval> last_stretch(lightcurve::LightCurve curve) {
    const auto detections =
        std::count_if(curve.points.begin(), curve.points.end(), [](const auto& p) { return !p.is_limit; });
    if (detections < static_cast<std::ptrdiff_t>(least_nights_for_rate)) return std::nullopt;
    lightcurve::AnalysisOptions options;
    options.models = {lightcurve::straight_line()->name(), lightcurve::broken_line(1)->name(),
                      lightcurve::broken_line(2)->name()};
    const lightcurve::Analysis analysis = lightcurve::analyse(curve, options);
    if (!analysis.decline) return std::nullopt;
    return lightcurve::Interval{analysis.decline->from_bjd_tdb - within_night_d,
                                analysis.decline->to_bjd_tdb + within_night_d};
}

std::optional<ValueWithError> rate_within(const lightcurve::LightCurve* curve,
                                          const lightcurve::Interval& interval) {
    if (curve == nullptr) return std::nullopt;
    const auto straight = lightcurve::straight_rate(*curve, "tried", interval);
    return straight ? std::optional(straight->rate.mag_per_day) : std::nullopt;
}

std::vector<TriedDecline> compare_declines(const Solution& before, const Solution& after,
                                           double limit_sigma) {
    const auto first = curves(before, limit_sigma), second = curves(after, limit_sigma);
    const auto of_band = [](const auto& all, const Band& band) {
        const auto found =
            std::find_if(all.begin(), all.end(), [&](const auto& c) { return c.band == band; });
        return found == all.end() ? nullptr : &*found;
    };
    std::set<Band> bands;
    for (const auto* all : {&first, &second}) {
        for (const lightcurve::LightCurve& curve : *all)
            bands.insert(curve.band);
    }
    std::vector<TriedDecline> out;
    for (const Band& band : bands) {
        const auto *was = of_band(first, band), *would = of_band(second, band);
        std::optional<lightcurve::Interval> stretch;
        if (was != nullptr) stretch = last_stretch(*was);
        if (!stretch && would != nullptr) stretch = last_stretch(*would);
        if (!stretch) continue;
        out.push_back({band, stretch->from_bjd_tdb, stretch->to_bjd_tdb, rate_within(was, *stretch),
                       rate_within(would, *stretch)});
    }
    std::stable_sort(out.begin(), out.end(), [](const TriedDecline& a, const TriedDecline& b) {
        return facts(a.band).wavelength_nm < facts(b.band).wavelength_nm;
    });
    return out;
}

std::string counted(std::size_t n, const char* one) {
    return fmt::format("{} {}{}", n, one, n == 1 ? "" : "s");
}

// What the changes come to.
std::string sum_up(const std::vector<TriedNight>& nights) {
    std::size_t lost = 0, gained = 0, both = 0, beyond = 0;
    const TriedNight* largest = nullptr;
    for (const TriedNight& night : nights) {
        lost += night.before_mag && !night.after_mag ? 1 : 0;
        gained += night.after_mag && !night.before_mag ? 1 : 0;
        if (!night.change_sigma()) continue;
        ++both;
        beyond += std::abs(*night.change_sigma()) > 1.0 ? 1 : 0;
        if (largest == nullptr || std::abs(*night.change_sigma()) > std::abs(*largest->change_sigma()))
            largest = &night;
    }
    std::string words;
    if (lost > 0) words += fmt::format(" {} would have no magnitude any more.", counted(lost, "value"));
    if (gained > 0) words += fmt::format(" {} would have a magnitude again.", counted(gained, "value"));
    if (largest == nullptr) return words;
    if (std::abs(*largest->change_mag()) < no_change_mag)
        return words + (lost + gained > 0 ? " No other value would change." : " No value would change.");
    const std::string most =
        fmt::format("{:+.3f} mag in {} on {}", *largest->change_mag(), largest->band.name(), largest->night);
    if (beyond == 0) {
        return words + fmt::format(
                           " No value would change by more than its random error; the most is {} "
                           "({:.1f} of that error).",
                           most, std::abs(*largest->change_sigma()));
    }
    return words + fmt::format(
                       " Of {}, {} would change by more than {} random error, the most by {} ({:.1f} "
                       "of that error).",
                       counted(both, "value"), beyond, beyond == 1 ? "its" : "their", most,
                       std::abs(*largest->change_sigma()));
}

std::string headline(const Named& named, SetAsideAction action) {
    return in_words(named) +
           (action == SetAsideAction::exclude ? " would be set aside." : " would count again.");
}

TriedSetAside nothing_to_try(TriedSetAside out, const std::map<std::string, std::string>& set_aside) {
    const auto found = set_aside.find(out.named.key);
    out.words = found == set_aside.end()
                    ? fmt::format("{} is not set aside: nothing would change.", in_words(out.named))
                    : fmt::format("{} is set aside already ({}): nothing would change.", in_words(out.named),
                                  found->second);
    return out;
}

void add_remarks(TriedSetAside& out, const Workspace& workspace, const Solution& before,
                 const SetAsideByObserver& set_aside) {
    if (out.named.kind != ledger::SetAside::star || out.action != SetAsideAction::exclude) return;
    for (const std::string& band : bands_without_stars(workspace, before, set_aside)) {
        out.remarks.push_back(
            fmt::format("{} is the last comparison star that counts in {}: without it nothing can be "
                        "measured in {}.",
                        out.named.key, band, band));
    }
    if (out.named.key == check_label(workspace)) {
        out.remarks.push_back(
            fmt::format("{} is the check star: no zero point stands on it, and without it nothing tells "
                        "whether they are right.",
                        out.named.key));
    } else if (const auto* star = workspace.sequence.find(out.named.key);
               star != nullptr && star->role == standard::Role::ignore) {
        out.remarks.push_back(
            fmt::format("{} takes no part anyway: its role in the sequence is 'ignore'.", out.named.key));
    }
}

}  // namespace

std::string_view word(SetAsideAction action) {
    return action == SetAsideAction::exclude ? "exclude" : "include";
}

Result<SetAsideAction> set_aside_action(std::string_view name) {
    for (const SetAsideAction action : {SetAsideAction::exclude, SetAsideAction::include}) {
        if (word(action) == name) return action;
    }
    return fail({.what = fmt::format("'{}' is nothing that can be done.", name),
                 .where = "action",
                 .mend = "Use exclude or include.",
                 .kind = ProblemKind::request});
}

std::optional<double> TriedNight::change_mag() const {
    if (!before_mag || !after_mag) return std::nullopt;
    return after_mag->value - before_mag->value;
}

std::optional<double> TriedNight::change_sigma() const {
    const auto change = change_mag();
    if (!change || !random_err_mag || !(*random_err_mag > 0.0)) return std::nullopt;
    return *change / *random_err_mag;
}

Result<TriedSetAside> try_set_aside(const Workspace& workspace, const ledger::Ledger& ledger,
                                    const Named& named, SetAsideAction action) {
    TriedSetAside out{
        .action = action, .named = named, .words = {}, .nights = {}, .decline = {}, .remarks = {}};
    auto now = set_aside_in(ledger);
    if (!now) return fail(now.error());
    const auto& kind = of_kind(*now, named.kind);
    if (kind.contains(named.key) == (action == SetAsideAction::exclude))
        return nothing_to_try(std::move(out), kind);
    const SetAsideByObserver then = changed(*now, named, action);
    const auto frames = ledger.frames();
    if (!frames) return fail(frames.error());
    const auto terms_now = known_terms(workspace, ledger, *now);
    if (!terms_now) return fail(terms_now.error());
    const auto terms_then = known_terms(workspace, ledger, then);
    if (!terms_then) return fail(terms_then.error());
    const auto before = night::solve_campaign(*frames, workspace.sequence, terms_now->campaign, *now);
    if (!before) return fail(before.error());
    const auto after = night::solve_campaign(*frames, workspace.sequence, terms_then->campaign, then);
    if (!after) return fail(after.error());
    out.nights = compare(before->solution, after->solution);
    out.decline = compare_declines(before->solution, after->solution, workspace.campaign.measure.limit_sigma);
    out.words = headline(named, action) + sum_up(out.nights);
    add_remarks(out, workspace, before->solution, then);
    for (const std::string& remark : after->remarks) {
        if (std::find(before->remarks.begin(), before->remarks.end(), remark) == before->remarks.end())
            out.remarks.push_back(remark);
    }
    return out;
}

}  // namespace emberline::tasks
