// SPDX-License-Identifier: MIT
// The document of `curve --json`. Design, section 2: its outer shape is a contract, new keys are added to it.
#include <cmath>
#include <nlohmann/json.hpp>

#include "tasks/documents.hpp"
#include "tasks/json_values.hpp"

namespace emberline::tasks {
namespace {

using lightcurve::Analysis;
using lightcurve::CurveFit;

Json figure(const lightcurve::Figure& f) {
    return {{"value", f.value}, {"err", f.err}, {"low", f.low}, {"high", f.high}};
}

Json parameters(const CurveFit& fit) {
    Json json = Json::object();
    for (std::size_t i = 0; i < fit.parameters.size(); ++i) {
        const lightcurve::ParameterInfo& info = fit.parameter_info[i];
        const double zero = info.is_epoch ? fit.reference_bjd_tdb : 0.0;
        json[info.name] = {
            {"value", zero + fit.parameters[i]},
            {"err", finite_or_null(std::sqrt(fit.covariance(i, i)))},
            {"unit", info.is_epoch ? "BJD(TDB)" : info.unit},
            {"prior", info.prior ? Json{{"mean", zero + info.prior->mean}, {"sigma", info.prior->sigma}}
                                 : Json(nullptr)}};
    }
    return json;
}

Json fit_document(const CurveFit& fit) {
    Json json{{"name", fit.model},
              {"source", fit.source},
              {"parameters", parameters(fit)},
              {"reference_bjd_tdb", fit.reference_bjd_tdb},
              {"from_bjd_tdb", fit.from_bjd_tdb},
              {"to_bjd_tdb", fit.to_bjd_tdb},
              {"n", fit.n},
              {"n_limits", fit.n_limits},
              {"chi2", finite_or_null(fit.chi2)},
              {"dof", fit.dof},
              {"minus_two_log_likelihood", finite_or_null(fit.minus_two_log_likelihood)},
              {"bic", finite_or_null(fit.bic)},
              {"aicc", finite_or_null(fit.aicc)},
              {"extra_scatter_mag", fit.extra_scatter_mag},
              {"student_nu", maybe(fit.student_nu)},
              {"starts", fit.starts},
              {"starts_agreeing", fit.starts_agreeing},
              {"remarks", fit.remarks}};
    return json;
}

Json fits_document(const std::vector<CurveFit>& fits) {
    Json json = Json::array();
    for (const CurveFit& fit : fits)
        json.push_back(fit_document(fit));
    return json;
}

Json choice_document(const lightcurve::ModelChoice& choice, const std::vector<CurveFit>& fits) {
    return choice.chosen ? Json(fits[*choice.chosen].model) : Json(nullptr);
}

Json decline_document(const Analysis& a) {
    if (!a.decline) return nullptr;
    return {{"value", a.decline->mag_per_day.value},
            {"err", a.decline->mag_per_day.err},
            {"from_bjd_tdb", a.decline->from_bjd_tdb},
            {"to_bjd_tdb", a.decline->to_bjd_tdb}};
}

Json peak_document(const Analysis& a) {
    if (!a.peak) return nullptr;
    return {{"bjd_tdb", a.peak->bjd_tdb.value},
            {"bjd_tdb_err", a.peak->bjd_tdb.err},
            {"mag", a.peak->mag.value},
            {"mag_err", a.peak->mag.err},
            {"model", a.peak->model}};
}

Json rates_document(const Analysis& a) {
    Json json = Json::array();
    for (const lightcurve::Rate& rate : a.rates) {
        json.push_back(
            {{"name", rate.name},
             {"from_bjd_tdb", rate.interval.from_bjd_tdb},
             {"to_bjd_tdb", rate.interval.to_bjd_tdb},
             {"n", rate.n},
             {"mag_per_day", with_err(rate.mag_per_day)},
             {"mag_per_100_days", with_err({100.0 * rate.mag_per_day.value, 100.0 * rate.mag_per_day.err})}});
    }
    return json;
}

Json plateau_document(const Analysis& a) {
    if (!a.plateau) return nullptr;
    return {{"end_bjd_tdb", with_err(a.plateau->end_bjd_tdb)},
            {"length_d", maybe_with_err(a.plateau->length_d)},
            {"drop_mag", with_err(a.plateau->drop_mag)},
            {"slope_mag_per_day", with_err(a.plateau->slope_mag_per_day)}};
}

Json tail_document(const Analysis& a) {
    if (a.tail_fits.empty()) return nullptr;
    return {{"models", fits_document(a.tail_fits)},
            {"chosen", a.tail_choice ? choice_document(*a.tail_choice, a.tail_fits) : Json(nullptr)},
            {"why", a.tail_choice ? Json(a.tail_choice->why) : Json(nullptr)},
            {"rate_over_cobalt56", maybe_with_err(a.tail_over_cobalt)}};
}

Json offsets_document(const Analysis& a) {
    Json json = Json::array();
    for (const lightcurve::SeriesOffset& offset : a.offsets)
        json.push_back({{"series", offset.series}, {"offset_mag", with_err(offset.mag)}});
    return json;
}

Json checked_document(const BandCurve& band) {
    const CheckedErrors& checked = band.checked;
    const CurveFit* chosen = band.analysis.chosen();
    if (chosen == nullptr) return nullptr;
    Json json = Json::object();
    for (std::size_t j = 0; j < checked.profile.size(); ++j) {
        const auto& one = checked.profile[j];
        json["profile"][chosen->parameter_info[j].name] = one ? Json{{"minus", finite_or_null(one->minus)},
                                                                     {"plus", finite_or_null(one->plus)},
                                                                     {"parabolic", one->parabolic}}
                                                              : Json(nullptr);
    }
    if (checked.bootstrap) {
        for (std::size_t j = 0; j < checked.bootstrap->errors.size(); ++j)
            json["bootstrap"]["errors"][chosen->parameter_info[j].name] = checked.bootstrap->errors[j].err;
        json["bootstrap"]["trials"] = checked.bootstrap->parameters.rows();
        json["bootstrap"]["asked"] = checked.bootstrap->asked;
    }
    if (checked.sample) {
        const numerics::ChainDiagnosis& d = checked.sample->chain.diagnosis;
        json["sample"] = {{"parameters", parameters(checked.sample->fit)},
                          {"acceptance", d.acceptance},
                          {"converged", d.converged},
                          {"split_r_hat", d.split_r_hat},
                          {"effective_samples", d.effective_samples},
                          {"autocorrelation_steps", d.autocorrelation_steps},
                          {"summary", d.summary}};
    }
    for (const Problem& problem : checked.problems)
        json["problems"].push_back(document(problem));
    return json.empty() ? Json(nullptr) : json;
}

Json band_document(const BandCurve& band) {
    const Analysis& a = band.analysis;
    Json json;
    json["n"] = band.curve.points.size();
    json["series"] = band.curve.series;
    json["system"] = facts(band.curve.band).system;
    json["models"] = fits_document(a.fits);
    json["chosen"] = choice_document(a.choice, a.fits);
    json["why"] = a.choice.why;
    json["decline_rate_mag_per_day"] = decline_document(a);
    json["peak"] = peak_document(a);
    json["delta_m15"] = a.delta_m15 ? figure(*a.delta_m15) : Json(nullptr);
    json["rates"] = rates_document(a);
    json["plateau"] = plateau_document(a);
    json["tail"] = tail_document(a);
    json["offsets"] = offsets_document(a);
    json["phases"] = nullptr;
    if (band.phases) {
        json["phases"] = {{"first_d", band.phases->first_d},
                          {"last_d", band.phases->last_d},
                          {"rest_frame", band.phases->rest_frame}};
    }
    json["extinction_mag"] = maybe(band.extinction_mag);
    json["absolute_peak"] = nullptr;
    if (band.absolute_peak) {
        json["absolute_peak"] = with_err(band.absolute_peak->mag);
        json["absolute_peak"]["note"] = band.absolute_peak->note;
    }
    json["stretch"] = nullptr;
    if (band.stretch) {
        json["stretch"] = band.stretch->fainter_mag ? with_err(*band.stretch->fainter_mag) : Json::object();
        json["stretch"]["indication"] = band.stretch->sentence;
    }
    json["checked_errors"] = checked_document(band);
    json["refused"] = Json::array();
    for (const lightcurve::Refusal& refusal : a.refused)
        json["refused"].push_back({{"model", refusal.model}, {"problem", document(refusal.problem)}});
    json["remarks"] = a.remarks;
    if (band.problem) json["problem"] = document(*band.problem);
    return json;
}

Json colour_document(const lightcurve::ColourCurve& colours) {
    Json points = Json::array();
    for (const lightcurve::ColourPoint& p : colours.points) {
        points.push_back({{"bjd_tdb", p.bjd_tdb},
                          {"mag", p.mag},
                          {"random_err", p.random_err_mag},
                          {"common_err", p.common_err_mag}});
    }
    return {{"index", colours.index.name()},
            {"reddening_mag", colours.reddening_mag},
            {"note", colours.note},
            {"points", std::move(points)}};
}

Json shape_document(const lightcurve::ShapeHints& shape) {
    Json json{{"sentence", shape.sentence}, {"hints", Json::array()}};
    for (const lightcurve::ShapeHint& hint : shape.hints)
        json["hints"].push_back(
            {{"class", hint.klass}, {"consistent", hint.consistent}, {"sentence", hint.sentence}});
    return json;
}

}  // namespace

Json document(const CurveOutcome& outcome) {
    Json json;
    json["bands"] = Json::object();
    for (const BandCurve& band : outcome.bands)
        json["bands"][band.curve.band.name()] = band_document(band);
    json["colours"] = Json::array();
    for (const lightcurve::ColourCurve& colours : outcome.colours)
        json["colours"].push_back(colour_document(colours));
    json["transient"] = {{"redshift", maybe(outcome.facts.redshift)},
                         {"ebv_mag", maybe(outcome.facts.ebv_mag)},
                         {"distance_modulus_mag", maybe_with_err(outcome.facts.distance_modulus_mag)},
                         {"explosion_bjd_tdb", maybe_with_err(outcome.facts.explosion_bjd_tdb)}};
    json["shape"] = outcome.shape ? shape_document(*outcome.shape) : Json(nullptr);
    json["pictures"] = outcome.pictures;
    json["remarks"] = outcome.remarks;
    return json;
}

}  // namespace emberline::tasks
