// SPDX-License-Identifier: MIT
#include <filesystem>

#include "sky/time_scales.hpp"
#include "tasks/documents.hpp"
#include "tasks/json_values.hpp"

namespace emberline::tasks {
namespace {

Json place(const std::optional<frame::PixelPosition>& p) {
    return p ? Json{{"x_px", p->x}, {"y_px", p->y}} : Json(nullptr);
}

Json aperture(const std::optional<ApertureInUse>& a) {
    if (!a) return nullptr;
    return {
        {"radius_px", a->radius_px}, {"inner_px", a->inner_px}, {"outer_px", a->outer_px}, {"psf", a->psf}};
}

Json star(const ViewedStar& s) {
    return {{"label", s.label},
            {"role", role_word(s.mark)},
            {"x_px", s.position.x},
            {"y_px", s.position.y},
            {"catalogue_mag", maybe(s.catalogue_mag)},
            {"suspect", s.suspect},
            {"why", s.why}};
}

}  // namespace

Json document(const FrameView& view) {
    Json json = {{"id", view.id},
                 {"name", view.name},
                 {"frame", view.frame},
                 {"night", view.night.empty() ? Json(nullptr) : Json(view.night)},
                 {"band", view.band.name()},
                 {"instrument", view.instrument},
                 {"mid_utc", view.mid_exposure ? Json(sky::iso(*view.mid_exposure, 0)) : Json(nullptr)},
                 {"exposure_s", maybe(view.exposure_s)},
                 {"airmass", maybe(view.airmass)},
                 {"used", view.used},
                 {"reason", view.reason},
                 {"flags", flags(view.caveats)},
                 {"fwhm_px", maybe(view.fwhm_px)},
                 {"transient", place(view.transient)},
                 {"nucleus", place(view.nucleus)},
                 {"aperture", aperture(view.aperture)},
                 {"stars", Json::array()},
                 {"px_per_arcsec", maybe(view.px_per_arcsec)},
                 {"scale_arcsec_per_px", maybe(view.scale_arcsec_per_px)},
                 {"mag", maybe(view.magnitude_mag)},
                 {"err_mag", maybe(view.err_mag)},
                 {"limit_mag", maybe(view.limit_mag)}};
    for (const ViewedStar& one : view.stars)
        json["stars"].push_back(star(one));
    return json;
}

Json document(const std::vector<ledger::ListedFrame>& frames) {
    Json list = Json::array();
    for (const ledger::ListedFrame& f : frames) {
        list.push_back({{"id", FrameId{f.fingerprint, f.plane}.text()},
                        {"name", std::filesystem::path(f.frame).filename().string()},
                        {"frame", f.frame},
                        {"night", f.night},
                        {"band", f.band.name()},
                        {"instrument", f.instrument},
                        {"plane", f.plane},
                        {"jd_utc", f.jd_utc},
                        {"mid_utc", sky::iso(sky::from_jd(f.jd_utc, TimeScale::utc), 0)},
                        {"exposure_s", f.exposure_s},
                        {"used", f.used},
                        {"reason", f.reason},
                        {"fwhm_arcsec", f.fwhm_arcsec}});
    }
    return {{"frames", std::move(list)}};
}

}  // namespace emberline::tasks
