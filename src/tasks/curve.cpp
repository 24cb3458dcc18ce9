// SPDX-License-Identifier: MIT
#include "tasks/curve.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <filesystem>
#include <map>
#include <set>

#include "exchange/series.hpp"
#include "numerics/share_out.hpp"
#include "picture/curve_picture.hpp"
#include "tasks/curve_parts.hpp"
#include "tasks/curves_of.hpp"

namespace emberline::tasks {
namespace {

using lightcurve::LightCurve;

Result<std::vector<LightCurve>> campaign_curves(const CurveRequest& request, const Workspace& workspace,
                                                CurveOutcome& outcome) {
    const auto ledger = ledger::Ledger::open(workspace.ledger_path(), ledger::Ledger::Access::read);
    if (!ledger) return fail(ledger.error());
    std::vector<night::Measurement> measurements;
    const auto read = request.frames
                          ? ledger->for_each_frame_measurement([&](const night::FrameMeasurement& m) {
                                if (m.used) measurements.push_back(m);
                                return true;
                            })
                          : ledger->for_each_night_measurement([&](const night::NightMeasurement& m) {
                                measurements.push_back(m);
                                return true;
                            });
    if (!read) return fail(read.error());
    const std::size_t all = measurements.size();
    std::erase_if(measurements, [&](const night::Measurement& m) {
        return (request.from_night && m.night < *request.from_night) ||
               (request.to_night && m.night > *request.to_night);
    });
    if (measurements.size() < all) {
        outcome.remarks.push_back(
            fmt::format("{} of {} points lie outside the nights asked for.", all - measurements.size(), all));
    }
    const auto host =
        std::count_if(measurements.begin(), measurements.end(),
                      [](const night::Measurement& m) { return m.caveats.has(Caveat::host_unmodelled); });
    if (host > 0) {
        outcome.remarks.push_back(
            fmt::format("{} of {} points carry host-unmodelled: host light can bend the decline, and its "
                        "error does not cover that.",
                        host, measurements.size()));
    }
    return curves_of(measurements, workspace.campaign.measure.limit_sigma);
}

template <class T>
void fill(std::optional<T>& asked, const std::optional<T>& known) {
    if (!asked) asked = known;
}

// Everybody's points by band, one's own first.
using Curves = std::map<Band, std::vector<LightCurve>>;

Result<Curves> gather(const CurveRequest& request, CurveOutcome& outcome) {
    Curves curves;
    outcome.facts = request.facts;
    if (!request.campaign_folder.empty()) {
        const auto workspace = open_workspace(request.campaign_folder);
        if (!workspace) return fail(workspace.error());
        outcome.title = workspace->campaign.name;
        fill(outcome.facts.redshift, workspace->campaign.redshift);
        fill(outcome.facts.ebv_mag, workspace->campaign.ebv_mag);
        fill(outcome.facts.distance_modulus_mag, workspace->campaign.distance_modulus);
        fill(outcome.facts.explosion_bjd_tdb, explosion_bjd_tdb(workspace->campaign));
        auto own = campaign_curves(request, *workspace, outcome);
        if (!own) return fail(own.error());
        for (LightCurve& one : *own)
            curves[one.band].push_back(std::move(one));
    }
    std::set<std::filesystem::path> seen;
    for (const std::string& path : request.series) {
        std::error_code ignored;
        if (!seen.insert(std::filesystem::weakly_canonical(path, ignored)).second) {
            return fail(
                {.what = "The same file of points is given twice: they would count as two observers'.",
                 .where = path,
                 .mend = "Name it once.",
                 .kind = ProblemKind::request});
        }
        auto series = exchange::read_series(path);
        if (!series) return fail(series.error());
        for (std::string& remark : series->remarks)
            outcome.remarks.push_back(request.series.size() > 1 ? fmt::format("{}: {}", path, remark)
                                                                : std::move(remark));
        if (outcome.title.empty()) outcome.title = std::filesystem::path(path).stem().string();
        for (LightCurve& one : series->curves)
            curves[one.band].push_back(std::move(one));
    }
    return curves;
}

Result<void> check_models(const CurveRequest& request) {
    for (const std::string& name : request.models) {
        if (auto known = lightcurve::check_model_name(name); !known) return known;
    }
    return {};
}

BandCurve read_band(std::vector<LightCurve> curves, const CurveRequest& request,
                    const TransientFacts& facts) {
    BandCurve band;
    band.curve = lightcurve::merge_series(std::move(curves), request.offset_prior_mag);
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
    const auto wanted = bands_named(request.bands);
    if (!wanted) return fail(wanted.error());
    auto curves = gather(request, outcome);
    if (!curves) return fail(curves.error());
    for (auto& [band, ofband] : *curves) {
        if (!wanted->empty() && std::find(wanted->begin(), wanted->end(), band) == wanted->end()) continue;
        outcome.bands.push_back(read_band(std::move(ofband), request, outcome.facts));
    }
    if (outcome.bands.empty()) {
        return fail({.what = "There are no points to fit.",
                     .where = request.series.empty() ? request.campaign_folder : request.series.front(),
                     .mend = "Measure some nights first, or name other bands."});
    }
    std::sort(outcome.bands.begin(), outcome.bands.end(), [](const BandCurve& a, const BandCurve& b) {
        return facts(a.curve.band).wavelength_nm < facts(b.curve.band).wavelength_nm;
    });
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
