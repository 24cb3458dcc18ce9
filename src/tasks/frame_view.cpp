// SPDX-License-Identifier: MIT
#include "tasks/frame_view.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <filesystem>
#include <functional>

#include "night/host_template.hpp"

namespace emberline::tasks {
namespace {

using ledger::Ledger;
using photometry::FrameFluxes;
using picture::FieldMap;
using picture::StarMark;

constexpr std::string_view template_prefix = "template-";

std::string file_name(const std::string& path) {
    return std::filesystem::path(path).filename().string();
}

Result<Ledger> open_ledger(const Workspace& workspace) {
    return Ledger::open(workspace.ledger_path(), Ledger::Access::read);
}

std::optional<double> catalogue_mag(const Workspace& workspace, const std::string& label, const Band& band) {
    const standard::ComparisonStar* star = workspace.sequence.find(label);
    const auto known = star != nullptr ? star->magnitude(sequence_band(band)) : std::nullopt;
    return known ? std::optional(known->value) : std::nullopt;
}

// A refused frame was measured with no stars: there, what they are for the rest of its night.
const night::Measurement& chosen_stars(const night::FrameMeasurement& frame, const ledger::Solution& night) {
    if (!frame.comparison_labels.empty() || !frame.check.label.empty()) return frame;
    for (const night::NightMeasurement& one : night.nights) {
        if (one.band == frame.band && one.instrument == frame.instrument) return one;
    }
    return frame;
}

struct Judged {
    night::FrameMeasurement measured;
    ledger::Solution night;
    std::vector<ledger::Exclusion> exclusions;
};

std::vector<ViewedStar> stars_of(const Workspace& workspace, const FrameFluxes& fluxes,
                                 const std::optional<Judged>& judged) {
    std::vector<ViewedStar> stars;
    for (const photometry::StarFlux& star : fluxes.stars) {
        if (star.label == photometry::transient_label) continue;
        ViewedStar out{.label = star.label,
                       .position = star.position,
                       .catalogue_mag = catalogue_mag(workspace, star.label, fluxes.band)};
        if (judged) {
            const night::Measurement& chosen = chosen_stars(judged->measured, judged->night);
            out.mark = mark_in(chosen, star.label);
            if (out.mark == StarMark::unused) {
                const bool in_band = out.catalogue_mag.has_value();
                out.why = in_band ? why_unused(star.label, chosen, {&fluxes, 1}, judged->exclusions, false)
                                  : "no magnitude in this band";
            }
            const night::StarVerdict* verdict = verdict_of(star.label, chosen, judged->night.stars);
            if (verdict != nullptr && verdict->suspect) {
                out.suspect = true;
                out.why = verdict->why;
            }
        }
        stars.push_back(std::move(out));
    }
    return stars;
}

// From the sky about the transient to pixels, by whatever knows it.
using ToPixel = std::function<std::optional<frame::PixelPosition>(double east_arcsec, double north_arcsec)>;

void set_field(const Workspace& workspace, const ToPixel& pixel, FrameView& view) {
    view.transient = pixel(0.0, 0.0);
    constexpr double arm_arcsec = 10.0;  // long beside what rounding does, short beside any distortion
    const auto east = pixel(arm_arcsec, 0.0), north = pixel(0.0, arm_arcsec);
    if (view.transient && east && north) {
        const auto& o = *view.transient;
        view.px_per_arcsec = {(east->x - o.x) / arm_arcsec, (north->x - o.x) / arm_arcsec,
                              (east->y - o.y) / arm_arcsec, (north->y - o.y) / arm_arcsec};
    }
    if (!workspace.campaign.nucleus) return;
    const SkyOffset away = offset(workspace.campaign.position, *workspace.campaign.nucleus);
    view.nucleus = pixel(away.east.arcseconds(), away.north.arcseconds());
}

Result<std::optional<Judged>> judged_of(const Ledger& ledger, const MeasuredFrame& frame) {
    if (!frame.measured) return std::nullopt;
    auto night = ledger.newest_of(frame.fluxes.night);
    if (!night) return fail(night.error());
    auto exclusions = ledger.exclusions();
    if (!exclusions) return fail(exclusions.error());
    return Judged{*frame.measured, std::move(*night), std::move(*exclusions)};
}

Result<FrameView> measured_view(const Workspace& workspace, const FrameId& id) {
    const auto ledger = open_ledger(workspace);
    if (!ledger) return fail(ledger.error());
    const auto found = find_measured(*ledger, id);
    if (!found) return fail(found.error());
    const auto judged = judged_of(*ledger, *found);
    if (!judged) return fail(judged.error());

    const FrameFluxes& f = found->fluxes;
    FrameView view{.id = id.text(),
                   .name = file_name(f.frame),
                   .frame = f.frame,
                   .night = f.night,
                   .band = f.band,
                   .instrument = f.instrument,
                   .mid_exposure = f.mid_exposure,
                   .exposure_s = f.exposure_s,
                   .airmass = f.airmass,
                   .caveats = f.caveats};
    if (f.fwhm_px > 0.0) view.fwhm_px = f.fwhm_px;
    if (f.scale_arcsec_per_px > 0.0) view.scale_arcsec_per_px = f.scale_arcsec_per_px;
    if (const auto map = FieldMap::of(f)) {
        set_field(
            workspace,
            [&](double east, double north) {
                return std::optional(map->pixel({east, north}));
            },
            view);
    }
    view.stars = stars_of(workspace, f, *judged);
    if (!found->measured) {
        view.used = false;
        view.reason = "The campaign was not solved since the frame was measured.";
        return view;
    }
    const night::FrameMeasurement& m = *found->measured;
    view.used = m.used;
    view.reason = m.reason;
    view.caveats = m.caveats;
    view.aperture = aperture_of({&f, &m}, workspace.campaign.measure);
    view.magnitude_mag = m.magnitude_mag;
    view.err_mag = m.total_err_mag();
    view.limit_mag = m.limit_mag;
    return view;
}

// As campaign.toml has it; empty: it names none for that band.
std::string template_file(const Workspace& workspace, const Band& band) {
    const auto& files = workspace.campaign.host_templates;
    auto named = files.find(band.name());
    if (named == files.end()) named = files.find("");
    return named == files.end() ? std::string() : named->second;
}

Result<frame::Frame> open_template(const Workspace& workspace, const Band& band) {
    const std::string file = template_file(workspace, band);
    if (file.empty()) {
        return fail({.what = fmt::format("The campaign has no template for {}.", band.name()),
                     .where = workspace.campaign.path("campaign.toml"),
                     .mend = "Name one under [host], or make one: `emberline masters template`."});
    }
    const auto planes = frame::open_frames(workspace.campaign.path(file), workspace.campaign.instruments);
    if (!planes) return fail(planes.error());
    return night::most_like(*planes, band);
}

StarMark mark_of(const Workspace& workspace, const standard::ComparisonStar& star) {
    if (star.label == workspace.campaign.check_label || star.role == standard::Role::check)
        return StarMark::check;
    return star.role == standard::Role::ignore ? StarMark::unused : StarMark::comparison;
}

// What of the sequence lies on it, by its plate solution.
Result<FrameView> template_view(const Workspace& workspace, const Band& band) {
    const auto frame = open_template(workspace, band);
    if (!frame) return fail(frame.error());
    const frame::FrameFacts& facts = frame->facts();
    FrameView view;
    view.id = std::string(template_prefix) + band.name();
    view.frame = template_file(workspace, band);
    view.name = file_name(view.frame);
    view.band = facts.band ? facts.band->value : band;
    view.instrument = facts.instrument;
    if (facts.mid_exposure) view.mid_exposure = facts.mid_exposure->value;
    if (facts.exposure_s) view.exposure_s = facts.exposure_s->value;
    view.caveats = facts.caveats;
    if (!frame->wcs()) return view;
    const frame::Wcs& wcs = *frame->wcs();
    const auto on_frame = [&](const SkyPosition& place) -> std::optional<frame::PixelPosition> {
        const auto pixel = wcs.pixel(place);
        return pixel && facts.holds(*pixel) ? std::optional(*pixel) : std::nullopt;
    };
    view.scale_arcsec_per_px = wcs.scale_arcsec_per_px();
    set_field(
        workspace,
        [&](double east, double north) {
            return on_frame(
                displaced(workspace.campaign.position, {Angle::arcseconds(east), Angle::arcseconds(north)}));
        },
        view);
    for (const standard::ComparisonStar& star : workspace.sequence.stars) {
        if (const auto pixel = on_frame(star.position))
            view.stars.push_back({.label = star.label,
                                  .mark = mark_of(workspace, star),
                                  .position = *pixel,
                                  .catalogue_mag = catalogue_mag(workspace, star.label, view.band),
                                  .why = {}});
    }
    return view;
}

}  // namespace

std::string ViewId::text() const {
    return measured ? measured->text() : std::string(template_prefix) + template_of.name();
}

Result<ViewId> parse_view_id(std::string_view text) {
    if (text.starts_with(template_prefix)) {
        const auto band = parse_band(text.substr(template_prefix.size()));
        if (band) return ViewId{.measured = {}, .template_of = *band};
    } else if (auto id = parse_frame_id(text)) {
        return ViewId{.measured = std::move(*id), .template_of = {}};
    }
    return fail({.what = fmt::format("'{}' stands for no frame.", text),
                 .where = "the request",
                 .mend = "Frames are named by what the night's list gives as their id.",
                 .kind = ProblemKind::request});
}

Result<FrameView> frame_view(const Workspace& workspace, const ViewId& id) {
    return id.measured ? measured_view(workspace, *id.measured) : template_view(workspace, id.template_of);
}

Result<frame::Frame> frame_pixels(const Workspace& workspace, const ViewId& id) {
    if (!id.measured) return open_template(workspace, id.template_of);
    const auto ledger = open_ledger(workspace);
    if (!ledger) return fail(ledger.error());
    const auto found = find_measured(*ledger, *id.measured);
    if (!found) return fail(found.error());
    return open_as_measured(found->fluxes, workspace,
                            frame::Masters::open(workspace.campaign.master_paths()));
}

std::string pixels_version(const Workspace& workspace, const frame::Frame& pixels) {
    const frame::FrameFacts& facts = pixels.facts();
    const std::string of = fmt::format(
        "{} {} {} {}", frame::fingerprint(facts.path).value_or(facts.path), facts.plane,
        facts.lattice ? facts.pattern->value : "",
        facts.masters.empty() ? std::string()
                              : frame::masters_text(workspace.campaign.masters, workspace.campaign.folder));
    return fmt::format("{:016x}", std::hash<std::string>{}(of));
}

Result<std::vector<ledger::ListedFrame>> frame_list(const Workspace& workspace,
                                                    const std::optional<std::string>& night) {
    const auto ledger = open_ledger(workspace);
    if (!ledger) return fail(ledger.error());
    return night ? ledger->list_of(*night) : ledger->deepest_frames();
}

}  // namespace emberline::tasks
