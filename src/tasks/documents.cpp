// SPDX-License-Identifier: MIT
#include "tasks/documents.hpp"

#include "sky/time_scales.hpp"
#include "tasks/json_values.hpp"

namespace emberline::tasks {
namespace {

template <class T>
void put(Json& json, const char* key, const frame::MaybeFact<T>& fact) {
    json[key] = fact ? Json{{"value", fact->value}, {"source", fact->source}} : Json(nullptr);
}

Json shared(const night::Measurement& m) {
    Json json;
    json["night"] = m.night;
    json["band"] = m.band.name();
    json["instrument"] = m.instrument;
    json["jd_utc"] = m.jd_utc;
    json["bjd_tdb"] = m.bjd_tdb;
    json["exposure_s"] = m.exposure_s;
    json["airmass"] = maybe(m.airmass);
    json["is_limit"] = m.is_limit;
    json["mag"] = maybe(m.magnitude_mag);
    json["mag_err"] = maybe(m.total_err_mag());
    json["mag_err_random"] = maybe(m.random_err_mag);
    json["mag_err_common"] = maybe(m.common_err_mag);
    json["limit_mag"] = maybe(m.limit_mag);
    json["flux_e"] = m.flux_e.value;
    json["flux_err_e"] = m.flux_e.err;
    json["zero_point"] = m.zero_point_mag;
    json["method"] = m.method;
    json["transformed"] = m.transformed;
    json["aperture_arcsec"] = m.aperture_arcsec;
    json["comparison_stars"] = m.comparison_labels;
    json["check_star"] = {{"label", m.check.label},
                          {"mag", maybe(m.check.magnitude_mag)},
                          {"err", maybe(m.check.err_mag)},
                          {"residual", maybe(m.check.residual_mag)}};
    json["flags"] = flags(m.caveats);
    return json;
}

Json fact_document(const InspectedFrame& one) {
    const frame::FrameFacts& f = one.facts;
    Json json;
    json["plane"] = f.plane;
    json["width_px"] = f.width_px;
    json["height_px"] = f.height_px;
    json["pixel_type"] = f.pixel_type;
    put(json, "pattern", f.pattern);
    json["mosaic"] = f.lattice ? Json{{"colour", colour_name(f)},
                                      {"stored_width_px", f.lattice->stored_width_px},
                                      {"stored_height_px", f.lattice->stored_height_px},
                                      {"pitch_px", f.lattice->pitch_px()}}
                               : Json(nullptr);
    json["mid_exposure_utc"] =
        f.mid_exposure ? Json{{"value", sky::iso(f.mid_exposure->value)}, {"source", f.mid_exposure->source}}
                       : Json(nullptr);
    put(json, "exposure_s", f.exposure_s);
    put(json, "stacked_exposures", f.stacked_exposures);
    put(json, "filter", f.filter);
    json["band"] = f.band ? Json{{"value", f.band->value.name()}, {"source", f.band->source}} : Json(nullptr);
    put(json, "gain_e_per_adu", f.gain_e_per_adu);
    put(json, "read_noise_e", f.read_noise_e);
    put(json, "saturation_adu", f.saturation_adu);
    put(json, "gain_setting", f.gain_setting);
    put(json, "temperature_c", f.temperature_c);
    put(json, "calibrated", f.calibrated);
    json["masters"] = f.masters;
    put(json, "binning", f.binning);
    put(json, "aperture_mm", f.aperture_mm);
    put(json, "observer", f.observer);
    put(json, "telescope", f.telescope);
    put(json, "camera", f.camera);
    put(json, "object", f.object);
    json["instrument"] = f.instrument;
    json["wcs"] = one.plate ? Json{{"projection", one.plate->description},
                                   {"scale_arcsec_per_px", one.plate->scale_arcsec_per_px},
                                   {"mirrored", one.plate->mirrored},
                                   {"position_angle_deg", one.plate->position_angle_deg},
                                   {"centre_ra_deg", one.plate->centre.ra.degrees()},
                                   {"centre_dec_deg", one.plate->centre.dec.degrees()}}
                            : Json(nullptr);
    json["stars_on_frame"] = maybe(one.stars_on_frame);
    json["missing"] = one.missing;
    json["remarks"] = f.remarks;
    json["flags"] = flags(f.caveats);
    return json;
}

}  // namespace

Json document(const Problem& problem) {
    return {{"what", problem.what}, {"where", problem.where}, {"mend", problem.mend}};
}

Json document(const night::NightMeasurement& night) {
    Json json = shared(night);
    json["n_frames"] = night.n_frames;
    json["n_rejected"] = night.n_rejected;
    json["chi2"] = night.chi2;
    return json;
}

Json document(const night::FrameMeasurement& frame) {
    Json json = {{"frame", frame.frame}, {"used", frame.used}, {"reason", frame.reason}};
    json.update(shared(frame));
    json["plane"] = frame.plane;
    json["n_comparison"] = frame.n_comparison;
    json["fwhm_px"] = frame.fwhm_px;
    if (!frame.used) {
        for (const char* key : {"flux_e", "flux_err_e", "zero_point", "aperture_arcsec", "is_limit"})
            json[key] = nullptr;
    }
    json["relative_transparency"] = frame.relative_transparency;
    return json;
}

Json document(const MeasureOutcome& outcome) {
    Json refused = Json::array();
    for (const RefusedFrame& frame : outcome.refused) {
        Json entry = {{"frame", frame.frame}};
        entry.update(document(frame.problem));
        refused.push_back(std::move(entry));
    }
    Json json;
    json["offered"] = outcome.offered;
    json["measured"] = outcome.fresh + outcome.superseding;
    json["superseding"] = outcome.superseding;
    json["solved"] = outcome.solved;
    json["known"] = outcome.known;
    json["renamed"] = outcome.renamed;
    json["refused"] = std::move(refused);
    json["refused_masters"] = Json::array();
    for (const Problem& problem : outcome.refused_masters)
        json["refused_masters"].push_back(one_line(problem));
    json["refused_templates"] = Json::array();
    for (const Problem& problem : outcome.refused_templates)
        json["refused_templates"].push_back(one_line(problem));
    json["interrupted"] = outcome.interrupted;
    json["changed"] = outcome.changed;
    json["nights"] = Json::array();
    for (const auto& night : outcome.solution.nights)
        json["nights"].push_back(document(night));
    json["frames"] = Json::array();
    for (const auto& frame : outcome.solution.frames)
        json["frames"].push_back(document(frame));
    json["remarks"] = outcome.remarks;
    return json;
}

Json document(const NightsOutcome& outcome) {
    Json json;
    json["nights"] = Json::array();
    for (const auto& night : outcome.solution.nights)
        json["nights"].push_back(document(night));
    json["set_aside"] = Json::array();
    for (const ledger::Exclusion& e : outcome.exclusions) {
        json["set_aside"].push_back({{"what", e.key}, {"reason", e.reason}, {"since", e.since}});
    }
    return json;
}

Json document(const std::vector<InspectedFile>& files) {
    Json json = Json::array();
    for (const InspectedFile& file : files) {
        Json entry = {{"file", file.path}};
        entry["problem"] = file.problem ? document(*file.problem) : Json(nullptr);
        entry["frames"] = Json::array();
        for (const InspectedFrame& one : file.frames)
            entry["frames"].push_back(fact_document(one));
        json.push_back(std::move(entry));
    }
    return {{"files", std::move(json)}};
}

Json document(const Explanation& explanation) {
    Json json;
    json["surroundings"] = Json::array();
    for (const Surroundings& s : explanation.surroundings) {
        json["surroundings"].push_back({{"night", s.night},
                                        {"band", s.band.name()},
                                        {"aperture_arcsec", s.aperture_arcsec},
                                        {"fwhm_arcsec", s.fwhm_arcsec},
                                        {"sky_e_per_px", s.sky_e_per_px},
                                        {"sky_scatter_e", s.sky_scatter_e},
                                        {"unevenness", s.unevenness},
                                        {"comparison_unevenness", s.comparison_unevenness},
                                        {"host_unmodelled", s.host_unmodelled}});
    }
    json["apertures"] = Json::array();
    for (const ApertureAnswer& a : explanation.answers) {
        json["apertures"].push_back({{"night", a.night},
                                     {"band", a.band.name()},
                                     {"fwhm_multiple", a.fwhm_multiple},
                                     {"mag", maybe(a.magnitude_mag)},
                                     {"mag_err_random", maybe(a.random_err_mag)},
                                     {"limit_mag", maybe(a.limit_mag)},
                                     {"chosen", a.chosen}});
    }
    json["hosts"] = Json::array();
    for (const HostOfBand& h : explanation.hosts) {
        Json host{{"band", h.band.name()},
                  {"instrument", h.instrument},
                  {"method", h.method},
                  {"surface_mag_arcsec2", maybe(h.surface_mag_arcsec2)}};
        host["place"] = h.place ? Json{{"east_arcsec", h.place->east_arcsec},
                                       {"north_arcsec", h.place->north_arcsec},
                                       {"err_arcsec", h.place->err_arcsec}}
                                : Json();
        json["hosts"].push_back(std::move(host));
    }
    json["methods"] = Json::array();
    for (const MethodAnswer& m : explanation.methods) {
        json["methods"].push_back({{"night", m.night},
                                   {"band", m.band.name()},
                                   {"instrument", m.instrument},
                                   {"method", m.method},
                                   {"mag", maybe(m.magnitude_mag)},
                                   {"mag_err_random", maybe(m.random_err_mag)},
                                   {"mag_err_common", maybe(m.common_err_mag)},
                                   {"limit_mag", maybe(m.limit_mag)},
                                   {"chosen", m.chosen}});
    }
    json["growth"] = Json::array();
    for (const GrowthOfLight& g : explanation.growth) {
        json["growth"].push_back({{"night", g.night},
                                  {"band", g.band.name()},
                                  {"radius_fwhm", g.radius_fwhm},
                                  {"stars", g.stars},
                                  {"transient", g.transient}});
    }
    json["pictures"] = explanation.pictures;
    json["remarks"] = explanation.remarks;
    return json;
}

}  // namespace emberline::tasks
