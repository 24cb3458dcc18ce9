// SPDX-License-Identifier: MIT
#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "night/mean_place.hpp"
#include "numerics/robust.hpp"
#include "sky/time_scales.hpp"
#include "tasks/measured_frame.hpp"
#include "tasks/night_sheet_parts.hpp"

namespace emberline::tasks {
namespace {

using night::FrameInSolution;
using photometry::FrameFluxes;
using picture::FieldMap;
using picture::FinderImage;
using picture::SheetLine;
using picture::StarMark;

constexpr std::size_t most_files = 8;  // looked into for one that is still as it was measured

// The band that a person looks at first: the surest number; without one, the deepest limit.
const picture::SheetBand* leading(const std::vector<picture::SheetBand>& bands) {
    const auto rank = [](const picture::SheetBand& b) {
        return b.measured.is_limit ? 1000.0 - b.measured.limit_mag.value_or(0.0)
                                   : b.measured.total_err_mag().value_or(100.0);
    };
    const auto best = std::min_element(bands.begin(), bands.end(),
                                       [&](const auto& a, const auto& b) { return rank(a) < rank(b); });
    return best == bands.end() ? nullptr : &*best;
}

// The most telling first: in use, of the leading band, by weight; refused frames by their sharpness.
std::vector<FrameInSolution> by_quality(const NightInLedger& night, const picture::SheetBand* band) {
    struct Ranked {
        FrameInSolution frame;
        double rank;
    };
    std::vector<Ranked> ranked;
    for (const FrameInSolution& one : night::frames_in_solution(night.frames, night.solution)) {
        if (!FieldMap::of(*one.fluxes)) continue;
        double rank = -one.fluxes->fwhm_px * one.fluxes->scale_arcsec_per_px - 1000.0;
        for (const night::JudgedExposure& e : night.judged.exposures) {
            if (e.used && e.frame == one.fluxes->frame && e.plane == one.fluxes->plane) rank = e.weight;
        }
        if (band != nullptr && one.fluxes->band == band->measured.band &&
            one.fluxes->instrument == band->measured.instrument)
            rank += 10.0;
        ranked.push_back({one, rank});
    }
    std::stable_sort(ranked.begin(), ranked.end(),
                     [](const Ranked& a, const Ranked& b) { return a.rank > b.rank; });
    std::vector<FrameInSolution> out;
    for (const Ranked& one : ranked)
        out.push_back(one.frame);
    return out;
}

std::optional<picture::FieldAperture> aperture_on_sky(const FrameInSolution& one,
                                                      const night::MeasureSettings& settings) {
    const auto own = aperture_of(one, settings);
    if (!own) return std::nullopt;
    const double scale = one.fluxes->scale_arcsec_per_px;
    return picture::FieldAperture{own->radius_px * scale, own->inner_px * scale, own->outer_px * scale,
                                  own->psf};
}

StarMark mark_of(const std::string& label, const picture::SheetBand* band) {
    if (band == nullptr) return StarMark::unused;
    for (const picture::SheetStar& star : band->stars) {
        if (star.label == label) return star.mark;
    }
    return StarMark::unused;
}

FinderImage positions(const FrameInSolution& one, const picture::SheetBand* band,
                      const Workspace& workspace) {
    FinderImage finder;
    const FrameFluxes& f = *one.fluxes;
    const auto map = FieldMap::of(f);
    const photometry::StarFlux& transient = *f.find(photometry::transient_label);
    for (const photometry::StarFlux& star : f.stars) {
        if (&star == &transient) continue;
        picture::FieldStar out{
            .label = star.label, .place = map->place(star.position), .mark = mark_of(star.label, band)};
        if (const standard::ComparisonStar* known = workspace.sequence.find(star.label)) {
            if (const auto mag = known->magnitude(sequence_band(f.band))) out.magnitude_mag = mag->value;
        }
        finder.stars.push_back(std::move(out));
    }
    if (workspace.campaign.nucleus) {
        const SkyOffset away = offset(workspace.campaign.position, *workspace.campaign.nucleus);
        finder.nucleus = picture::FieldPlace{away.east.arcseconds(), away.north.arcseconds()};
    }
    finder.aperture = aperture_on_sky(one, workspace.campaign.measure);
    picture::choose_fields(finder);
    return finder;
}

Result<picture::FieldPictures> look(const FrameInSolution& one, const FinderImage& finder,
                                    const Workspace& workspace, const frame::Masters& masters) {
    const FrameFluxes& f = *one.fluxes;
    const auto frame = open_as_measured(f, workspace, masters);
    if (!frame) return fail(frame.error());
    return picture::field_pictures(*frame, *FieldMap::of(f), finder.half_field_arcsec,
                                   finder.half_close_arcsec);
}

std::string arcsec_pair(double east, double east_err, double north, double north_err) {
    return fmt::format("{:.2f} ± {:.2f}″ {}, {:.2f} ± {:.2f}″ {}", std::abs(east), east_err,
                       east >= 0.0 ? "east" : "west", std::abs(north), north_err,
                       north >= 0.0 ? "north" : "south");
}

std::string aperture_words(const night::MeasureSettings& m) {
    if (m.aperture_fwhm) return fmt::format("radius of {:g} FWHM, as set", *m.aperture_fwhm);
    if (m.aperture_arcsec) return fmt::format("radius of {:g}″, as set", *m.aperture_arcsec);
    return "radius chosen for the least error";
}

std::string annulus_words(const night::MeasureSettings& m) {
    if (m.annulus_inner_arcsec && m.annulus_outer_arcsec)
        return fmt::format("{:g}″ to {:g}″", *m.annulus_inner_arcsec, *m.annulus_outer_arcsec);
    return fmt::format("{:g} to {:g} FWHM, outside every aperture", m.annulus_inner_fwhm,
                       m.annulus_outer_fwhm);
}

std::string host_words(const night::Campaign& campaign) {
    if (campaign.host_method)
        return fmt::format("taken away by: {}", photometry::word(*campaign.host_method));
    return campaign.host_templates.empty() ? "looked for under the transient, without a template"
                                           : "taken away by a template where one fits";
}

void instrument_lines(const NightInLedger& night, std::vector<SheetLine>& lines) {
    std::vector<std::string> done;
    for (const FrameFluxes& f : night.frames) {
        const std::string key = f.instrument + f.band.name();
        if (std::find(done.begin(), done.end(), key) != done.end()) continue;
        done.push_back(key);
        std::vector<double> gains, noises, scales;
        for (const FrameFluxes& other : night.frames) {
            if (other.instrument != f.instrument || other.band != f.band) continue;
            gains.push_back(other.gain_e_per_adu);
            noises.push_back(other.read_noise_e);
            scales.push_back(other.scale_arcsec_per_px);
        }
        lines.push_back(
            {fmt::format("instrument, {}", f.band.name()),
             fmt::format("{}{}{:.3f}″ a pixel, gain {:.3g} e⁻/ADU, read noise {:.3g} e⁻", f.instrument,
                         f.filter.empty() ? ": " : fmt::format(", filter {}: ", f.filter),
                         numerics::median(scales), numerics::median(gains), numerics::median(noises))});
    }
}

}  // namespace

SheetFinder sheet_finder(const NightInLedger& night, const std::vector<picture::SheetBand>& bands,
                         const Workspace& workspace) {
    SheetFinder out;
    const picture::SheetBand* band = leading(bands);
    const std::vector<FrameInSolution> candidates = by_quality(night, band);
    if (candidates.empty()) {
        out.words = "No frame of the night tells where its stars are: there is no finder.";
        out.gone = true;
        return out;
    }
    const frame::Masters masters = frame::Masters::open(workspace.campaign.master_paths());
    std::string why;
    for (std::size_t i = 0; i < std::min(candidates.size(), most_files); ++i) {
        FinderImage finder = positions(candidates[i], band, workspace);
        auto pictures = look(candidates[i], finder, workspace, masters);
        if (!pictures) {
            if (why.empty()) why = one_line(pictures.error());
            continue;
        }
        finder.pictures = std::move(*pictures);
        const FrameFluxes& f = *candidates[i].fluxes;
        out.image = std::move(finder);
        out.words = fmt::format("{}, {}, {:g} s at {} UTC{}. North is up, east is left.", f.frame,
                                f.band.name(), f.exposure_s, sky::iso(f.mid_exposure, 0).substr(11, 8),
                                candidates[i].measured->used ? "" : " (not used)");
        return out;
    }
    out.image = positions(candidates.front(), band, workspace);
    out.words = fmt::format(
        "The night's frames are not at hand any more, so that the stars of the sequence are drawn where "
        "they were measured. {} North is up, east is left.",
        why);
    out.gone = true;
    return out;
}

std::vector<SheetLine> sheet_place(const NightInLedger& night, const Workspace& workspace) {
    const night::Campaign& campaign = workspace.campaign;
    std::vector<SheetLine> lines;
    lines.push_back(
        {"in the campaign", fmt::format("{} {} (ICRS)", sexagesimal_hours(campaign.position.ra, 2),
                                        sexagesimal_degrees(campaign.position.dec, 1))});
    std::vector<const FrameFluxes*> used;
    for (const FrameInSolution& one : night::frames_in_solution(night.frames, night.solution)) {
        if (one.measured->used) used.push_back(one.fluxes);
    }
    const auto place = night::mean_place(used, campaign);
    if (!place) {
        lines.push_back(
            {"this night", "not measured: too faint to be centred, or measured before positions were kept"});
        return lines;
    }
    lines.push_back({"this night", fmt::format("{} {} (ICRS)", sexagesimal_hours(place->place.ra, 4),
                                               sexagesimal_degrees(place->place.dec, 3))});
    lines.push_back(
        {"error", fmt::format("{:.3f}″ east, {:.3f}″ north, of which {:.3f}″ is common to all frames",
                              place->east_err_arcsec, place->north_err_arcsec, place->common_err_arcsec)});
    lines.push_back(
        {"by", fmt::format("{} of {} frame{}", place->method, place->frames, place->frames == 1 ? "" : "s")});
    const night::PlaceOffset& c = place->from_campaign;
    lines.push_back({"from the campaign's position",
                     arcsec_pair(c.east_arcsec, c.east_err_arcsec, c.north_arcsec, c.north_err_arcsec)});
    if (place->from_nucleus) {
        const night::PlaceOffset& n = *place->from_nucleus;
        lines.push_back(
            {"from the nucleus",
             fmt::format("{}; {:.2f} ± {:.2f}″ in position angle {:.0f}°",
                         arcsec_pair(n.east_arcsec, n.east_err_arcsec, n.north_arcsec, n.north_err_arcsec),
                         n.distance_arcsec, n.distance_err_arcsec, n.position_angle_deg)});
    }
    return lines;
}

std::vector<SheetLine> sheet_settings(const NightInLedger& night, const Workspace& workspace) {
    const night::Campaign& campaign = workspace.campaign;
    const night::MeasureSettings& m = campaign.measure;
    std::vector<SheetLine> lines;
    instrument_lines(night, lines);
    lines.push_back({"aperture", aperture_words(m)});
    lines.push_back({"annulus", annulus_words(m)});
    lines.push_back({"PSF fit", m.psf ? (*m.psf ? "always" : "never") : "where its error is smaller"});
    lines.push_back({"host", host_words(campaign)});
    lines.push_back({"colour term", m.colour_term ? "fitted with the sequence's stars" : "none"});
    lines.push_back({"limits", fmt::format("below {:g} σ", m.limit_sigma)});
    lines.push_back(
        {"refused", fmt::format("frames that lost more than {:g} mag to cloud, with stars more than {:g} "
                                "times as long as wide, or with fewer than {} comparison star{}",
                                m.refuse_cloud_mag, m.refuse_elongation, m.least_comparison_stars,
                                m.least_comparison_stars == 1 ? "" : "s")});
    if (campaign.masters.empty()) {
        lines.push_back({"masters", "none named: frames are taken as calibrated"});
    } else {
        std::size_t flats = 0;
        for (const auto& [band, files] : campaign.masters.flat)
            flats += files.size();
        lines.push_back(
            {"masters", fmt::format("{} bias, {} dark, {} flat, {} of defects", campaign.masters.bias.size(),
                                    campaign.masters.dark.size(), flats, campaign.masters.defects.size())});
    }
    // A page that is mailed does not tell where somebody lives.
    if (campaign.site) {
        lines.push_back(
            {"site", fmt::format("latitude {:.1f}°, longitude {:.1f}°, rounded",
                                 campaign.site->latitude.degrees(), campaign.site->longitude.degrees())});
    }
    return lines;
}

}  // namespace emberline::tasks
