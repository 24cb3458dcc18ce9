// SPDX-License-Identifier: MIT
#include "lightcurve/choose_model.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>

namespace emberline::lightcurve {
namespace {

bool same_points(const CurveFit& a, const CurveFit& b) {
    return a.n == b.n && a.from_bjd_tdb == b.from_bjd_tdb && a.to_bjd_tdb == b.to_bjd_tdb;
}

// The fits that compare, the lowest BIC first: of the points that most fits share, or else the more points.
std::vector<std::size_t> comparable(const std::vector<CurveFit>& fits) {
    std::vector<std::size_t> best;
    for (std::size_t i = 0; i < fits.size(); ++i) {
        std::vector<std::size_t> group;
        for (std::size_t k = 0; k < fits.size(); ++k) {
            if (same_points(fits[i], fits[k]) && std::isfinite(fits[k].bic)) group.push_back(k);
        }
        if (group.empty()) continue;
        if (group.size() > best.size() ||
            (group.size() == best.size() && fits[group[0]].n > fits[best[0]].n)) {
            best = std::move(group);
        }
    }
    std::stable_sort(best.begin(), best.end(),
                     [&](std::size_t a, std::size_t b) { return fits[a].bic < fits[b].bic; });
    return best;
}

struct Difference {
    double bjd_tdb = 0.0, mag = 0.0, in_errors = 0.0;
};

// Where two curves are furthest apart in their errors, within the points.
Difference largest_difference(const CurveFit& a, const CurveFit& b) {
    constexpr int times = 60;
    Difference largest;
    for (int i = 0; i <= times; ++i) {
        const double t = a.from_bjd_tdb + (a.to_bjd_tdb - a.from_bjd_tdb) * i / times;
        const ValueWithError ma = a.prediction->magnitude(t), mb = b.prediction->magnitude(t);
        const double apart = std::abs(ma.value - mb.value), err = std::hypot(ma.err, mb.err);
        if (apart > largest.in_errors * err) largest = {t, apart, apart / err};
    }
    return largest;
}

std::string left_aside(const std::vector<CurveFit>& fits, std::size_t compared) {
    const auto bad = static_cast<std::size_t>(
        std::count_if(fits.begin(), fits.end(), [](const CurveFit& fit) { return !std::isfinite(fit.bic); }));
    const std::size_t others = fits.size() - compared - bad;
    std::string words;
    if (bad > 0)
        words += fmt::format(" {} without a finite likelihood {} left out.", bad, bad == 1 ? "is" : "are");
    if (others > 0) {
        words += fmt::format(" {} of other points {} not compared.", others, others == 1 ? "is" : "are");
    }
    return words;
}

}  // namespace

ModelChoice choose_model(const std::vector<CurveFit>& fits) {
    ModelChoice choice;
    choice.weights.assign(fits.size(), 0.0);
    const auto order = comparable(fits);
    const std::string aside = left_aside(fits, order.size());
    if (order.empty()) {
        choice.why = fits.empty() ? "No model could be fitted." : "No fit has a finite likelihood.";
        return choice;
    }
    const CurveFit& best = fits[order[0]];
    double sum = 0.0;
    for (const std::size_t i : order)
        sum += choice.weights[i] = std::exp(-0.5 * (fits[i].bic - best.bic));
    for (double& weight : choice.weights)
        weight /= sum;
    if (order.size() == 1) {
        choice.chosen = order[0];
        choice.why = fmt::format("{}: the only model that these points carry.", best.model) + aside;
        return choice;
    }
    const CurveFit& next = fits[order[1]];
    const double lead = next.bic - best.bic;
    if (lead >= no_evidence) {
        choice.chosen = order[0];
        choice.why = fmt::format("{}: its BIC is {:.1f} below that of {}, the next best; {}.", best.model,
                                 lead, next.model,
                                 lead >= strong_evidence ? "strong evidence" : "some evidence, not strong") +
                     aside;
        return choice;
    }
    // Those that the points cannot tell from the best: the fewest parameters win.
    std::vector<std::size_t> level;
    for (const std::size_t i : order) {
        if (fits[i].bic - best.bic < no_evidence) level.push_back(i);
    }
    const std::size_t simplest = *std::min_element(
        level.begin(), level.end(),
        [&](std::size_t a, std::size_t b) { return fits[a].parameters.size() < fits[b].parameters.size(); });
    const CurveFit& chosen = fits[simplest];
    const std::size_t rival = simplest == order[0] ? order[1] : order[0];
    for (const std::size_t i : level) {
        if (i == simplest || fits[i].parameters.size() > chosen.parameters.size()) continue;
        const Difference apart = largest_difference(chosen, fits[i]);
        if (apart.in_errors <= 1.0) continue;
        choice.why = fmt::format(
                         "Cannot tell {} from {}: their BICs differ by {:.1f}, which is no evidence, and "
                         "both have {} parameters. Points near JD {:.0f} would tell: there the two are "
                         "{:.2f} mag apart.",
                         chosen.model, fits[i].model, std::abs(fits[i].bic - chosen.bic),
                         chosen.parameters.size(), apart.bjd_tdb, apart.mag) +
                     aside;
        return choice;
    }
    choice.chosen = simplest;
    const double off = std::abs(fits[rival].bic - chosen.bic);
    choice.why =
        (fits[rival].parameters.size() > chosen.parameters.size()
             ? fmt::format("{}: the simpler one. It cannot be told from {}, for their BICs differ by "
                           "{:.1f} only.",
                           chosen.model, fits[rival].model, off)
             : fmt::format("{}: it cannot be told from {}, for their BICs differ by {:.1f} only and "
                           "their curves agree within their errors.",
                           chosen.model, fits[rival].model, off)) +
        aside;
    return choice;
}

}  // namespace emberline::lightcurve
