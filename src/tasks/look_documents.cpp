// SPDX-License-Identifier: MIT
#include "tasks/documents.hpp"
#include "tasks/json_values.hpp"

namespace emberline::tasks {
namespace {

Json points(const std::vector<RadialPoint>& list) {
    Json out = Json::array();
    for (const RadialPoint& point : list)
        out.push_back({{"radius_px", point.radius_px}, {"adu", point.adu}});
    return out;
}

template <class T>
Json numbers(const std::vector<T>& values) {
    Json out = Json::array();
    for (const T value : values)
        out.push_back(finite_or_null(static_cast<double>(value)));
    return out;
}

Json place(const frame::PixelPosition& p) {
    return {{"x_px", p.x}, {"y_px", p.y}};
}

Json cutout(const frame::Cutout& pixels) {
    return {{"x_px", pixels.box.x0},
            {"y_px", pixels.box.y0},
            {"width_px", pixels.box.width},
            {"height_px", pixels.box.height},
            {"adu", numbers(pixels.adu)}};
}

Json text_or_null(const std::string& text) {
    return text.empty() ? Json(nullptr) : Json(text);
}

}  // namespace

Json document(const LookedStar& star) {
    Json json;
    json["frame"] = star.frame;
    json["label"] = text_or_null(star.label);
    json["role"] = text_or_null(star.role);
    json["x_px"] = star.position.x;
    json["y_px"] = star.position.y;
    json["position_err_px"] = star.position_err_px;
    json["ra_deg"] = star.place ? Json(star.place->ra.degrees()) : Json(nullptr);
    json["dec_deg"] = star.place ? Json(star.place->dec.degrees()) : Json(nullptr);
    const auto& profile = star.profile;
    json["fwhm_px"] = profile ? Json(profile->fwhm_px) : Json(nullptr);
    json["fwhm_err_px"] = profile ? Json(profile->fwhm_err_px) : Json(nullptr);
    json["elongation"] = profile ? Json(profile->elongation) : Json(nullptr);
    json["direction_deg"] = profile ? Json(profile->direction.degrees()) : Json(nullptr);
    json["moffat_beta"] = profile ? Json(profile->moffat_beta) : Json(nullptr);
    json["peak_adu"] = finite_or_null(star.peak_adu);
    json["saturated"] = star.saturated;
    json["sky_adu"] = star.sky_adu;
    json["sky_err_adu"] = star.sky_err_adu;
    json["sky_noise_adu"] = star.sky_noise_adu;
    json["method"] = star.method;
    json["aperture_px"] = star.aperture_px;
    json["inner_px"] = star.inner_px;
    json["outer_px"] = star.outer_px;
    json["flux_e"] = finite_or_null(star.flux_e.value);
    json["flux_err_e"] = finite_or_null(star.flux_e.err);
    json["signal_to_noise"] = finite_or_null(star.flux_e.signal_to_noise());
    json["instrumental_mag"] = maybe(star.instrumental_mag);
    json["mag"] = star.magnitude ? Json(star.magnitude->value) : Json(nullptr);
    json["err_mag"] = star.magnitude ? Json(star.magnitude->err) : Json(nullptr);
    json["catalogue_mag"] = star.catalogue_mag ? Json(star.catalogue_mag->value) : Json(nullptr);
    json["catalogue_err_mag"] = star.catalogue_mag ? Json(star.catalogue_mag->err) : Json(nullptr);
    json["residual_mag"] = maybe(star.residual_mag);
    json["flags"] = flags(star.caveats);
    json["profile"] = points(star.rings);
    json["profile_fit"] = points(star.fitted);
    json["growth"] = Json::array();
    for (const GrowthPoint& point : star.growth) {
        json["growth"].push_back(
            {{"radius_px", point.radius_px}, {"share", point.share}, {"err", finite_or_null(point.err)}});
    }
    json["cutout"] = cutout(star.cutout);
    json["remarks"] = star.remarks;
    return json;
}

Json document(const HostRows& rows) {
    Json json;
    json["frame"] = rows.frame;
    json["methods"] = Json::array();
    for (const HostModel& model : rows.methods) {
        json["methods"].push_back({{"method", model.method},
                                   {"used", model.used},
                                   {"model_adu", numbers(model.model_adu)},
                                   {"residual_sigma", numbers(model.residual_sigma)}});
    }
    json["data_adu"] = numbers(rows.data.adu);
    json["x_px"] = rows.data.box.x0;
    json["y_px"] = rows.data.box.y0;
    json["width_px"] = rows.data.box.width;
    json["height_px"] = rows.data.box.height;
    json["noise_adu"] = rows.noise_adu;
    json["transient"] = place(rows.transient);
    json["nucleus"] = rows.nucleus ? place(*rows.nucleus) : Json(nullptr);
    json["words"] = rows.words;
    return json;
}

}  // namespace emberline::tasks
