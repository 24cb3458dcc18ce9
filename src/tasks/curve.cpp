// SPDX-License-Identifier: MIT
#include "tasks/curve.hpp"

#include <algorithm>

#include "numerics/share_out.hpp"
#include "picture/curve_picture.hpp"
#include "tasks/curve_parts.hpp"
#include "tasks/curve_points.hpp"

namespace emberline::tasks {
namespace {

Result<void> check_models(const CurveRequest& request) {
    for (const std::string& name : request.models) {
        if (auto known = lightcurve::check_model_name(name); !known) return known;
    }
    return {};
}

BandCurve read_band(lightcurve::LightCurve curve, const CurveRequest& request, const TransientFacts& facts) {
    BandCurve band;
    band.curve = std::move(curve);
    const lightcurve::AnalysisOptions options{
        .fit = {.from_bjd_tdb = request.from_bjd_tdb, .to_bjd_tdb = request.to_bjd_tdb},
        .models = request.models,
        .context = {.explosion_bjd_tdb = facts.explosion_bjd_tdb, .redshift = facts.redshift.value_or(0.0)},
        .rates = request.rates,
        .threads = numerics::threads_for(request.threads)};
    band.analysis = lightcurve::analyse(band.curve, options);
    if (band.analysis.fits.empty() && !band.analysis.refused.empty())
        band.problem = band.analysis.refused.front().problem;
    band.checked = check_errors(band, options, request.checks);
    return band;
}

Result<void> draw(const std::string& path, CurveOutcome& outcome) {
    if (auto good = picture::draw_curve(curve_on_paper(outcome), path); !good) return good;
    outcome.pictures.push_back(path);
    return {};
}

Result<std::string> picture_path(const CurveRequest& request) {
    if (!request.picture.empty() || request.campaign_folder.empty()) return request.picture;
    const auto workspace = open_workspace(request.campaign_folder);
    if (!workspace) return fail(workspace.error());
    if (auto good = make_out_folder(*workspace); !good) return fail(good.error());
    return workspace->out_path("curve.svg");
}

}  // namespace

bool CurveOutcome::any_fit() const {
    return std::any_of(bands.begin(), bands.end(),
                       [](const BandCurve& b) { return !b.analysis.fits.empty(); });
}

Result<CurveOutcome> curve(const CurveRequest& request) {
    CurveOutcome outcome;
    if (auto good = check_models(request); !good) return fail(good.error());
    auto points = curve_points(request);
    if (!points) return fail(points.error());
    outcome.title = std::move(points->title);
    outcome.facts = points->facts;
    outcome.remarks = std::move(points->remarks);
    for (lightcurve::LightCurve& one : points->curves)
        outcome.bands.push_back(read_band(std::move(one), request, outcome.facts));
    derive(outcome);
    // Without a fit there is nothing new to see, and an earlier picture stays.
    if (!request.draw || !outcome.any_fit()) return outcome;
    const auto path = picture_path(request);
    if (!path) return fail(path.error());
    if (!path->empty()) {
        if (auto good = draw(*path, outcome); !good) return fail(good.error());
    }
    return outcome;
}

}  // namespace emberline::tasks
