// SPDX-License-Identifier: MIT
#include "night/audit_sequence.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <map>
#include <set>

#include "night/judge_stars.hpp"
#include "night/significance.hpp"
#include "night/star_lights.hpp"

namespace emberline::night {
namespace {

using photometry::FrameFluxes;

// A companion or a small offset that moves no night by more than this of its error can stay.
constexpr double harmless = 0.1;
constexpr std::size_t least_stars_for_colour = 4;
constexpr double telling_sigma = 4.0;
constexpr std::size_t least_comparison_stars = 3;  // that must be left for an exclusion to be advised

bool is_check(const standard::ComparisonStar& star, const Campaign& campaign) {
    return star.role == standard::Role::check || star.label == campaign.check_label;
}

std::set<std::string> labels_on_trial(const standard::Sequence& sequence) {
    std::set<std::string> labels;
    for (const standard::ComparisonStar& star : sequence.stars) {
        if (star.role != standard::Role::ignore) labels.insert(star.label);
    }
    return labels;
}

bool asked_for(const Band& band, const AuditRequest& request) {
    return request.bands.empty() ||
           std::find(request.bands.begin(), request.bands.end(), band) != request.bands.end();
}

// Solutions without one star each, made when they are asked for.
class Removals {
  public:
    Removals(const std::vector<FrameFluxes>& frames, const standard::Sequence& sequence,
             const Campaign& campaign, const SetAsideByObserver& set_aside, const CampaignSolution& before)
        : frames_(frames), sequence_(sequence), campaign_(campaign), set_aside_(set_aside), before_(before) {}

    const Solution* without(const std::string& label) {
        const auto known = solutions_.find(label);
        if (known != solutions_.end()) return known->second ? &*known->second : nullptr;
        SetAsideByObserver more = set_aside_;
        more.stars.emplace(label, "tried");
        auto solved = solve_campaign(frames_, sequence_, campaign_, more, false, &before_.host);
        auto& entry = solutions_[label];
        if (solved) entry = std::move(solved->solution);
        return entry ? &*entry : nullptr;
    }

  private:
    const std::vector<FrameFluxes>& frames_;
    const standard::Sequence& sequence_;
    const Campaign& campaign_;
    const SetAsideByObserver& set_aside_;
    const CampaignSolution& before_;
    std::map<std::string, std::optional<Solution>> solutions_;
};

void find_removal(StarOnTrial& trial, const Solution& before, Removals& removals) {
    if (trial.star.check) {
        trial.no_removal = "It is the check star: no magnitude of the transient rests on it.";
        return;
    }
    if (trial.star.set_aside) {
        trial.no_removal = "It is set aside already.";
        return;
    }
    const Solution* without = removals.without(trial.star.label);
    if (without == nullptr) {
        trial.no_removal = "Without it the campaign cannot be solved.";
        return;
    }
    trial.removal = removal_effect(before, *without, trial.star.band, trial.star.instrument);
}

bool left_out_by_itself(const Solution& solution, const AuditedStar& star) {
    return std::any_of(solution.stars.begin(), solution.stars.end(), [&](const StarVerdict& v) {
        return v.label == star.label && v.band == star.band && v.instrument == star.instrument && v.suspect &&
               v.expected_scatter_mag == 0.0;
    });
}

std::string effect_words(const StarOnTrial& trial) {
    if (!trial.removal || trial.removal->nights.empty()) return {};
    const RemovalEffect& effect = *trial.removal;
    return fmt::format(
        " Without it the nights move by {:+.3f} mag on average and by {:+.3f} at most ({:.1f} of an error).",
        effect.mean_change_mag, effect.largest_change_mag, std::abs(effect.largest_in_errors));
}

void advise(StarOnTrial& trial, std::size_t comparison_left, bool left_out) {
    const AuditedStar& star = trial.star;
    if (star.fault == StarFault::cannot_tell) {
        trial.advice = Advice::wait;
        trial.advice_text = "Keep it, and look again after more nights.";
        return;
    }
    if (star.fault == StarFault::fine) {
        trial.advice_text =
            star.set_aside
                ? fmt::format("Nothing speaks against it: `emberline include {}` takes it back.", star.label)
                : "Keep it.";
        return;
    }
    if (star.fault == StarFault::catalogue_value && star.offset_mag) {
        trial.better_magnitude =
            ValueWithError{star.catalogue_mag + star.offset_mag->value, star.measured_err_mag};
    }
    if (star.set_aside) {
        trial.advice_text = "Leave it set aside.";
        return;
    }
    if (star.check) {
        trial.advice = Advice::exclude;
        trial.advice_text = "Choose another check star: this one cannot confirm anything.";
        return;
    }
    const bool harms = !trial.removal || trial.removal->harm > harmless;
    if (!harms) {
        trial.advice_text =
            fmt::format("It does no harm worth the trouble{}.{}",
                        left_out ? ": the solution leaves it out by itself" : "", effect_words(trial));
        return;
    }
    const std::string exclude = fmt::format("emberline exclude {} --reason \"{}\"", star.label,
                                            star.fault == StarFault::varies    ? "it varies"
                                            : star.fault == StarFault::blended ? "blended"
                                                                               : "catalogue value");
    if (comparison_left < least_comparison_stars) {
        trial.advice_text =
            fmt::format("It does harm, but too few others are left: find more comparison stars first.{}",
                        effect_words(trial));
        return;
    }
    if (trial.better_magnitude) {
        trial.advice = Advice::other_magnitude;
        trial.advice_text = fmt::format(
            "Set it aside: `{}`; or look it up again: these frames make its {} {:.3f} ± {:.3f} in place of "
            "{:.3f}.{}",
            exclude, sequence_band(star.band).name(), trial.better_magnitude->value,
            trial.better_magnitude->err, star.catalogue_mag, effect_words(trial));
        return;
    }
    trial.advice = Advice::exclude;
    trial.advice_text = fmt::format("Set it aside: `{}`.{}", exclude, effect_words(trial));
}

void add_colours(const std::vector<AuditedStar>& stars, bool colour_term, SequenceAudit& audit) {
    std::vector<double> x, y, weight;
    for (const AuditedStar& star : stars) {
        if (star.accused() || !star.colour_mag || !star.offset_before_colour_mag) continue;
        x.push_back(*star.colour_mag);
        y.push_back(star.offset_before_colour_mag->value);
        weight.push_back(1.0 / std::pow(star.offset_before_colour_mag->err, 2));
    }
    const Line line = line_through(x, y, weight);
    if (!line.known || x.size() < least_stars_for_colour) return;
    audit.by_colour.push_back({stars.front().band, stars.front().instrument, line.slope});
    if (colour_term || std::abs(line.slope.value) < telling_sigma * line.slope.err) return;
    audit.remarks.push_back(fmt::format(
        "{}, {}: the stars' offsets follow their colours by {:+.3f} ± {:.3f} mag a magnitude, and no "
        "colour term takes that up: [measure] colour_term is off.",
        stars.front().band.name(), stars.front().instrument, line.slope.value, line.slope.err));
}

int rank(const AuditedStar& star) {
    return star.accused() ? 0 : star.fault == StarFault::cannot_tell ? 1 : 2;
}

std::size_t nights_in(const std::vector<StarLights>& groups) {
    std::set<std::string> nights;
    for (const StarLights& group : groups)
        nights.insert(group.nights.begin(), group.nights.end());
    return nights.size();
}

}  // namespace

std::string_view word(Advice advice) {
    switch (advice) {
        case Advice::keep:
            return "keep";
        case Advice::exclude:
            return "exclude";
        case Advice::other_magnitude:
            return "other magnitude";
        case Advice::wait:
            return "wait";
    }
    return {};
}

Result<SequenceAudit> audit_sequence(const std::vector<FrameFluxes>& frames,
                                     const standard::Sequence& sequence, const Campaign& campaign,
                                     const SetAsideByObserver& set_aside, const AuditRequest& request) {
    const auto before = solve_campaign(frames, sequence, campaign, set_aside);
    if (!before) return fail(before.error());
    std::vector<StarLights> groups =
        star_lights(frames, before->solution, sequence, labels_on_trial(sequence), campaign);
    std::erase_if(groups, [&](const StarLights& group) { return !asked_for(group.band, request); });
    std::size_t on_trial = 0;
    for (const StarLights& group : groups)
        on_trial += group.stars.size();
    if (on_trial == 0) {
        return fail(
            {.what = request.bands.empty() ? "There is no comparison star in any frame in use."
                                           : "There is no comparison star in a frame in use of that band.",
             .where = campaign.folder,
             .mend =
                 "Measure frames first, or ask for a band that was measured: `emberline nights` lists them.",
             .kind = request.bands.empty() ? ProblemKind::input : ProblemKind::request});
    }
    SequenceAudit audit;
    const AccusedFrom from = accused_from(on_trial);
    audit.varies_from_sigma = from.varies;
    audit.blended_from_sigma = from.blended;
    audit.catalogue_from_sigma = from.catalogue;
    audit.remarks = before->remarks;
    audit.nights = nights_in(groups);
    Removals removals(frames, sequence, campaign, set_aside, *before);
    for (const StarLights& group : groups) {
        audit.frames += group.frames.size();
        std::vector<bool> may_witness;
        for (const standard::SolveStar& star : group.stars)
            may_witness.push_back(!set_aside.stars.contains(star.label));
        std::vector<AuditedStar> judged = judge_stars(group, may_witness, on_trial);
        std::size_t left = 0;
        for (AuditedStar& star : judged) {
            star.check = is_check(*sequence.find(star.label), campaign);
            star.set_aside = set_aside.stars.contains(star.label);
            left += star.accused() || star.check || star.set_aside ? 0 : 1;
        }
        add_colours(judged, campaign.measure.colour_term, audit);
        for (AuditedStar& star : judged) {
            StarOnTrial trial;
            trial.star = std::move(star);
            if (trial.star.accused() || request.remove_each) find_removal(trial, before->solution, removals);
            advise(trial, left, left_out_by_itself(before->solution, trial.star));
            audit.stars.push_back(std::move(trial));
        }
    }
    std::stable_sort(audit.stars.begin(), audit.stars.end(), [](const StarOnTrial& a, const StarOnTrial& b) {
        if (rank(a.star) != rank(b.star)) return rank(a.star) < rank(b.star);
        return a.harm() > b.harm();
    });
    return audit;
}

}  // namespace emberline::night
