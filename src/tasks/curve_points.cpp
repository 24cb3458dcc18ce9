// SPDX-License-Identifier: MIT
#include "tasks/curve_points.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <filesystem>
#include <map>
#include <set>

#include "exchange/series.hpp"
#include "tasks/curves_of.hpp"

namespace emberline::tasks {
namespace {

using lightcurve::LightCurve;

Result<std::vector<LightCurve>> campaign_curves(const CurveRequest& request, const Workspace& workspace,
                                                CurvePoints& points) {
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
        points.remarks.push_back(
            fmt::format("{} of {} points lie outside the nights asked for.", all - measurements.size(), all));
    }
    const auto host =
        std::count_if(measurements.begin(), measurements.end(),
                      [](const night::Measurement& m) { return m.caveats.has(Caveat::host_unmodelled); });
    if (host > 0) {
        points.remarks.push_back(
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

Result<Curves> gather(const CurveRequest& request, CurvePoints& points) {
    Curves curves;
    points.facts = request.facts;
    if (!request.campaign_folder.empty()) {
        const auto workspace = open_workspace(request.campaign_folder);
        if (!workspace) return fail(workspace.error());
        points.title = workspace->campaign.name;
        fill(points.facts.redshift, workspace->campaign.redshift);
        fill(points.facts.ebv_mag, workspace->campaign.ebv_mag);
        fill(points.facts.distance_modulus_mag, workspace->campaign.distance_modulus);
        fill(points.facts.explosion_bjd_tdb, explosion_bjd_tdb(workspace->campaign));
        auto own = campaign_curves(request, *workspace, points);
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
            points.remarks.push_back(request.series.size() > 1 ? fmt::format("{}: {}", path, remark)
                                                               : std::move(remark));
        if (points.title.empty()) points.title = std::filesystem::path(path).stem().string();
        for (LightCurve& one : series->curves)
            curves[one.band].push_back(std::move(one));
    }
    return curves;
}

}  // namespace

Result<CurvePoints> curve_points(const CurveRequest& request) {
    const auto wanted = bands_named(request.bands);
    if (!wanted) return fail(wanted.error());
    CurvePoints points;
    auto curves = gather(request, points);
    if (!curves) return fail(curves.error());
    for (auto& [band, of_band] : *curves) {
        if (!wanted->empty() && std::find(wanted->begin(), wanted->end(), band) == wanted->end()) continue;
        points.curves.push_back(lightcurve::merge_series(std::move(of_band), request.offset_prior_mag));
    }
    if (points.curves.empty()) {
        return fail({.what = "There are no points to fit.",
                     .where = request.series.empty() ? request.campaign_folder : request.series.front(),
                     .mend = "Measure some nights first, or name other bands."});
    }
    std::sort(points.curves.begin(), points.curves.end(), [](const LightCurve& a, const LightCurve& b) {
        return facts(a.band).wavelength_nm < facts(b.band).wavelength_nm;
    });
    return points;
}

}  // namespace emberline::tasks
