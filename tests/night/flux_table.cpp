// SPDX-License-Identifier: MIT
#include "flux_table.hpp"

#include <fmt/format.h>

#include <cmath>
#include <filesystem>
#include <numbers>
#include <set>

#include "night/star_noise.hpp"
#include "photometry/noise.hpp"
#include "quantities/delimited_table.hpp"
#include "quantities/text.hpp"
#include "sky/time_scales.hpp"

namespace emberline::test {
namespace {

using photometry::FrameFluxes;
using photometry::StarFlux;

constexpr const char* frame_columns =
    "frame,night,band,jd_utc,bjd_tdb,exposure_s,airmass,scintillation,fwhm_px,scale_arcsec_per_px,elongation,"
    "radius_px,angle_arcsec";

// A background whose variance is that number, over a whole aperture and a sky known without error.
StarFlux star_of(const std::string& label, double flux_e, double background_e2, double airmass,
                 double radius_px) {
    StarFlux star;
    star.label = label;
    star.flux_e = {flux_e};
    star.area_px = {std::numbers::pi * radius_px * radius_px};
    star.sky_scatter_e = std::sqrt(background_e2 / photometry::square_area_px(star.area_px[0]));
    star.sky_pixels = 1e30;
    star.airmass = airmass;
    star.caveats.resize(1);
    return star;
}

}  // namespace

Result<std::vector<FrameFluxes>> read_flux_table(const std::string& path) {
    const auto table = read_table(path);
    if (!table) return fail(table.error());
    std::vector<FrameFluxes> frames;
    for (const TableRow& row : table->rows) {
        const auto text = [&](const char* name) { return row.fields[*table->column(name)]; };
        const auto number = [&](const char* name) { return parse_number(text(name)).value_or(0.0); };
        FrameFluxes f;
        f.frame = f.fingerprint = text("frame");
        f.night = text("night");
        f.band = *parse_band(text("band"));
        f.instrument = "main";
        f.mid_exposure = sky::from_jd(number("jd_utc"), TimeScale::utc);
        f.bjd_tdb = number("bjd_tdb");
        f.exposure_s = number("exposure_s");
        f.airmass = number("airmass");
        f.scintillation = number("scintillation");
        f.fwhm_px = number("fwhm_px");
        f.scale_arcsec_per_px = number("scale_arcsec_per_px");
        f.elongation = number("elongation");
        photometry::FrameAperture aperture{number("radius_px"), std::nullopt, std::nullopt};
        if (const auto angle = parse_number(text("angle_arcsec")))
            aperture.angle_arcsec = *angle;
        else
            aperture.fwhm_multiple = 1.0;
        f.apertures = {aperture};
        for (std::size_t c = 0; c < table->columns.size(); ++c) {
            const std::string& name = table->columns[c];
            if (!name.ends_with("_flux_e")) continue;
            const auto flux = parse_number(row.fields[c]);
            const auto background = parse_number(row.fields[c + 1]);
            const auto airmass = parse_number(row.fields[c + 2]);
            if (!flux || !background || !airmass) continue;
            f.stars.push_back(star_of(name.substr(0, name.size() - 7), *flux, *background, *airmass,
                                      f.apertures[0].radius_px));
        }
        frames.push_back(std::move(f));
    }
    return frames;
}

std::string write_flux_table(const std::vector<FrameFluxes>& frames, const std::vector<std::size_t>& aperture,
                             const std::vector<std::string>& remarks) {
    std::set<std::string> labels;
    for (const FrameFluxes& f : frames) {
        for (const StarFlux& star : f.stars)
            labels.insert(star.label);
    }
    std::string out;
    for (const std::string& remark : remarks)
        out += "# " + remark + '\n';
    out += frame_columns;
    for (const std::string& label : labels)
        out += fmt::format(",{0}_flux_e,{0}_background_e2,{0}_airmass", label);
    out += '\n';
    for (std::size_t i = 0; i < frames.size(); ++i) {
        const FrameFluxes& f = frames[i];
        const auto& a = f.apertures[aperture[i]];
        out += fmt::format("{},{},{},{:.7f},{:.7f},{:g},{:.4f},{:.2e},{:.3f},{:.4f},{:.3f},{:.3f},{}",
                           std::filesystem::path(f.frame).stem().stem().string(), f.night, f.band.name(),
                           f.mid_exposure.jd(), f.bjd_tdb, f.exposure_s, f.airmass.value_or(1.0),
                           f.scintillation, f.fwhm_px, f.scale_arcsec_per_px, f.elongation, a.radius_px,
                           a.angle_arcsec ? fmt::format("{:.6f}", *a.angle_arcsec) : "");
        for (const std::string& label : labels) {
            const StarFlux* star = f.find(label);
            const bool usable = star != nullptr && std::isfinite(star->flux_e[aperture[i]]) &&
                                !star->caveats[aperture[i]].has(Caveat::saturated) &&
                                !star->caveats[aperture[i]].has(Caveat::edge);
            if (!usable) {
                out += ",,,";
                continue;
            }
            const double background = night::noise_terms(f, *star, aperture[i]).background_e2;
            out += fmt::format(",{:.1f},{:.1f},{:.4f}", star->flux_e[aperture[i]], background,
                               star->airmass.value_or(1.0));
        }
        out += '\n';
    }
    return out;
}

}  // namespace emberline::test
