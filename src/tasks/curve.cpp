// SPDX-License-Identifier: MIT
#include "tasks/curve.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "exchange/series.hpp"
#include "picture/curve_picture.hpp"
#include "quantities/value_with_error.hpp"
#include "tasks/curves_of.hpp"

namespace emberline::tasks {
namespace {

Result<std::vector<lightcurve::LightCurve>> campaign_curves(const CurveRequest& request,
                                                            CurveOutcome& outcome) {
    const auto workspace = open_workspace(request.campaign_folder);
    if (!workspace) return fail(workspace.error());
    outcome.title = workspace->campaign.name;
    const auto ledger = ledger::Ledger::open(workspace->ledger_path(), ledger::Ledger::Access::read);
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
    return curves_of(measurements, workspace->campaign.measure.limit_sigma);
}

BandCurve fit_band(lightcurve::LightCurve curve, const CurveRequest& request) {
    BandCurve band;
    band.curve = std::move(curve);
    const lightcurve::FitOptions options{.from_bjd_tdb = request.from_bjd_tdb,
                                         .to_bjd_tdb = request.to_bjd_tdb};
    for (const std::string& name : request.models) {
        auto model = lightcurve::make_model(name);
        if (!model) continue;
        auto fitted = lightcurve::fit(band.curve, std::move(*model), options);
        if (!fitted) {
            band.problem = fitted.error();
            continue;
        }
        band.fits.push_back(std::move(*fitted));
        if (!band.chosen || band.fits.back().bic < band.fits[*band.chosen].bic)
            band.chosen = band.fits.size() - 1;
    }
    return band;
}

picture::CurveOnPaper on_paper(const BandCurve& band) {
    picture::CurveOnPaper paper;
    paper.curve = band.curve;
    if (!band.chosen) return paper;
    paper.fit = band.fits[*band.chosen];
    return paper;
}

Result<void> draw(const std::string& path, CurveOutcome& outcome) {
    picture::CurvePicture drawing;
    drawing.title = outcome.title;
    for (const BandCurve& band : outcome.bands) {
        drawing.bands.push_back(on_paper(band));
        if (!band.chosen) continue;
        if (const auto rate = lightcurve::decline_rate(band.fits[*band.chosen])) {
            drawing.subtitle.push_back(
                fmt::format("{}: {} mag/d", band.curve.band.name(), with_error(rate->mag_per_day)));
        }
    }
    if (auto good = picture::draw_curve(drawing, path); !good) return good;
    outcome.pictures.push_back(path);
    return {};
}

Result<std::string> picture_path(const CurveRequest& request) {
    if (!request.picture.empty() || request.campaign_folder.empty() || request.series) return request.picture;
    const auto workspace = open_workspace(request.campaign_folder);
    if (!workspace) return fail(workspace.error());
    if (auto good = make_out_folder(*workspace); !good) return fail(good.error());
    return workspace->out_path("curve.svg");
}

}  // namespace

bool CurveOutcome::any_fit() const {
    return std::any_of(bands.begin(), bands.end(), [](const BandCurve& b) { return b.chosen.has_value(); });
}

Result<CurveOutcome> curve(const CurveRequest& request) {
    CurveOutcome outcome;
    for (const std::string& name : request.models) {
        if (auto model = lightcurve::make_model(name); !model) {
            model.error().kind = ProblemKind::request;
            return fail(model.error());
        }
    }
    std::vector<lightcurve::LightCurve> curves;
    if (request.series) {
        auto series = exchange::read_series(*request.series);
        if (!series) return fail(series.error());
        curves = std::move(series->curves);
        outcome.remarks = std::move(series->remarks);
        outcome.title = *request.series;
    } else {
        auto own = campaign_curves(request, outcome);
        if (!own) return fail(own.error());
        curves = std::move(*own);
    }
    for (const std::string& name : request.models) {
        if (auto model = lightcurve::make_model(name); !model) {
            model.error().kind = ProblemKind::request;
            return fail(model.error());
        }
    }
    std::vector<Band> wanted;
    for (const std::string& name : request.bands) {
        auto band = parse_band(name);
        if (!band) {
            band.error().kind = ProblemKind::request;
            return fail(band.error());
        }
        wanted.push_back(*band);
    }
    for (lightcurve::LightCurve& one : curves) {
        if (!wanted.empty() && std::find(wanted.begin(), wanted.end(), one.band) == wanted.end()) continue;
        outcome.bands.push_back(fit_band(std::move(one), request));
    }
    if (outcome.bands.empty()) {
        return fail({.what = "There are no points to fit.",
                     .where = request.series.value_or(request.campaign_folder),
                     .mend = "Measure some nights first, or name other bands."});
    }
    std::sort(outcome.bands.begin(), outcome.bands.end(), [](const BandCurve& a, const BandCurve& b) {
        return facts(a.curve.band).wavelength_nm < facts(b.curve.band).wavelength_nm;
    });
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
