// SPDX-License-Identifier: MIT
#include "tasks/transform.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <filesystem>
#include <map>
#include <set>

#include "frame/calibration.hpp"
#include "picture/transform_picture.hpp"
#include "sky/proper_motion.hpp"
#include "standard/photometric_catalogue.hpp"
#include "tasks/curves_of.hpp"
#include "tasks/find_files.hpp"
#include "tasks/known_terms.hpp"

namespace emberline::tasks {
namespace {

using night::BandTransformation;
using photometry::FrameFluxes;

struct Gathered {
    std::vector<FrameFluxes> frames;
    standard::Sequence stars;
    std::set<std::string> usable;
};

// All that a sequence may have magnitudes in.
std::vector<Band> bands_of_catalogue() {
    std::set<Band> wanted;
    for (const BandFacts& one : all_bands()) {
        const auto band = parse_band(one.name);
        if (band && sequence_band(*band) == *band) wanted.insert(*band);
    }
    return {wanted.begin(), wanted.end()};
}

standard::Sequence sequence_of(const standard::PhotometricCatalogue& catalogue, double epoch_jyear,
                               std::vector<std::string>& remarks) {
    standard::Sequence out;
    out.source = catalogue.source;
    out.bands = bands_of_catalogue();
    const auto listed = standard::on_bands(catalogue, out.bands, epoch_jyear);
    remarks.insert(remarks.end(), catalogue.remarks.begin(), catalogue.remarks.end());
    std::set<std::string> labels;
    for (const standard::StandardStar& star : listed.stars) {
        standard::ComparisonStar entry;
        entry.label =
            star.label.empty() || labels.contains(star.label) ? fmt::format("row {}", star.row) : star.label;
        labels.insert(entry.label);
        entry.position = star.position;
        entry.magnitudes = star.magnitudes;
        // A neighbour's light counts, whatever the catalogue says against it.
        entry.role = star.marks.any() ? standard::Role::ignore : standard::Role::comparison;
        entry.line = star.row;
        out.stars.push_back(std::move(entry));
    }
    return out;
}

Result<Gathered> measure_frames(const Workspace& workspace, const TransformRequest& request,
                                TransformOutcome& outcome) {
    const night::Campaign& campaign = workspace.campaign;
    const auto catalogue = standard::read_photometric_catalogue(request.catalogue);
    if (!catalogue) {
        Problem problem = catalogue.error();
        problem.kind = ProblemKind::request;
        return fail(problem);
    }
    const auto files = find_frame_files(request.places, campaign.path("out"));
    if (!files) return fail(files.error());
    const frame::Masters masters = frame::Masters::open(campaign.master_paths());
    Gathered out;
    for (std::size_t i = 0; i < files->size(); ++i) {
        if (request.stop != nullptr && request.stop->load()) {
            outcome.interrupted = true;
            return out;
        }
        if (request.progress) request.progress(i, files->size());
        const std::string name = frame_name((*files)[i], campaign.folder);
        const auto frames = frame::open_frames((*files)[i], campaign.instruments, &masters);
        const auto print = frame::fingerprint((*files)[i]);
        if (!frames || !print) {
            outcome.refused.push_back({name, !frames ? frames.error() : print.error()});
            continue;
        }
        for (const frame::Frame& one : *frames) {
            // Stars move: their places are those of the first frame's time, and a field is one night's.
            if (out.stars.stars.empty() && one.facts().mid_exposure)
                out.stars = sequence_of(*catalogue, sky::epoch_jyear_of(one.facts().mid_exposure->value.jd()),
                                        outcome.remarks);
            auto fluxes = night::measure_field(one, name, *print, out.stars, campaign);
            if (fluxes) {
                out.frames.push_back(std::move(*fluxes));
            } else {
                outcome.refused.push_back({name, fluxes.error()});
            }
        }
    }
    if (request.progress) request.progress(files->size(), files->size());
    for (const standard::ComparisonStar& star : out.stars.stars) {
        if (star.role == standard::Role::comparison) out.usable.insert(star.label);
    }
    if (out.frames.empty()) {
        Problem problem{.what = "No frame could be measured.",
                        .where = request.places.front(),
                        .mend = "Name FITS frames of a field that the catalogue covers."};
        if (!outcome.refused.empty())
            problem.what += " The first: " + one_line(outcome.refused.front().problem);
        return fail(problem);
    }
    return out;
}

// The frames that the newest solution uses.
Result<Gathered> frames_of_ledger(const Workspace& workspace, const TransformRequest& request) {
    const auto ledger = ledger::Ledger::open(workspace.ledger_path(), ledger::Ledger::Access::read);
    if (!ledger) return fail(ledger.error());
    auto frames = ledger->frames();
    if (!frames) return fail(frames.error());
    const auto newest = ledger->newest();
    if (!newest) return fail(newest.error());
    const auto set_aside = set_aside_in(*ledger);
    if (!set_aside) return fail(set_aside.error());
    std::set<std::pair<std::string, int>> used;
    for (const night::FrameMeasurement& frame : newest->frames) {
        if (frame.used) used.emplace(frame.fingerprint, frame.plane);
    }
    Gathered out;
    for (FrameFluxes& frame : *frames) {
        if (!used.contains({frame.fingerprint, frame.plane})) continue;
        if (!request.night.empty() && frame.night != request.night) continue;
        out.frames.push_back(std::move(frame));
    }
    if (out.frames.empty()) {
        return fail({.what = request.night.empty()
                                 ? "No frame in the ledger is in use."
                                 : fmt::format("No frame of {} in the ledger is in use.", request.night),
                     .where = workspace.ledger_path(),
                     .mend = "See `emberline nights` for the nights there are.",
                     .kind = ProblemKind::request});
    }
    out.stars = workspace.sequence;
    for (const standard::ComparisonStar& star : out.stars.stars) {
        if (star.role != standard::Role::ignore && !set_aside->stars.contains(star.label))
            out.usable.insert(star.label);
    }
    return out;
}

std::vector<BandTransformation> of_the_best_night(const Gathered& gathered, const night::Campaign& campaign,
                                                  std::vector<std::string>& remarks) {
    std::map<std::string, std::vector<FrameFluxes>> nights;
    for (const FrameFluxes& frame : gathered.frames)
        nights[frame.night].push_back(frame);
    std::map<std::pair<std::string, Band>, BandTransformation> best;
    for (const auto& [night, frames] : nights) {
        auto found = night::find_transformations(frames, gathered.stars, gathered.usable, campaign);
        for (BandTransformation& one : found.bands) {
            const auto [at, fresh] = best.try_emplace({one.instrument, one.band}, one);
            if (fresh) continue;
            const auto& term = one.found.colour_term;
            const auto& before = at->second.found.colour_term;
            if (term && (!before || term->err < before->err)) at->second = std::move(one);
        }
        remarks.insert(remarks.end(), found.remarks.begin(), found.remarks.end());
    }
    std::vector<BandTransformation> out;
    for (auto& [key, one] : best)
        out.push_back(std::move(one));
    return out;
}

std::string sentence_of(const BandTransformation& one, bool own, bool dry_run) {
    if (!one.found.colour_term) return "Nothing is stored: " + one.found.no_colour_term;
    if (dry_run) return "It would be kept for this instrument.";
    if (own)
        return "It is kept; solutions use it where the comparison stars cannot tell the term themselves.";
    return "It is what solutions start from where campaign.toml gives no term.";
}

ledger::KeptTransformation kept(const TransformRow& row) {
    const standard::Transformation& found = row.band.found;
    return {.instrument = row.band.instrument,
            .band = row.band.band,
            .colour_index = row.band.index.name(),
            .colour_term = *found.colour_term,
            .extinction = found.extinction,
            .colour_low_mag = found.colour_low_mag,
            .colour_high_mag = found.colour_high_mag,
            .scatter_mag = found.scatter_mag,
            .stars = static_cast<int>(found.stars),
            .frames = static_cast<int>(found.frames),
            .night = row.night,
            .against = row.against,
            .since = {}};
}

Result<void> store(const Workspace& workspace, std::vector<TransformRow>& rows) {
    std::vector<ledger::KeptTransformation> terms;
    for (TransformRow& row : rows) {
        row.stored = row.band.found.colour_term.has_value();
        if (row.stored) terms.push_back(kept(row));
    }
    if (terms.empty()) return {};
    auto ledger = ledger::Ledger::open(workspace.ledger_path(), ledger::Ledger::Access::write);
    if (!ledger) return fail(ledger.error());
    return ledger->keep_transformations(terms);
}

}  // namespace

Result<TransformOutcome> transform(const Workspace& workspace, const TransformRequest& request) {
    const auto bands = bands_named(request.bands);
    if (!bands) return fail(bands.error());
    const bool own = request.places.empty();
    std::error_code error;
    const bool own_table =
        own || std::filesystem::equivalent(request.catalogue,
                                           workspace.campaign.path(workspace.campaign.catalog), error);
    if (own != request.catalogue.empty()) {
        return fail({.what = own ? "A catalogue needs frames of its stars."
                                 : "Frames of a field need a catalogue of its stars.",
                     .where = "--catalogue",
                     .mend = "emberline sequence transform FRAMES --catalogue FILE",
                     .kind = ProblemKind::request});
    }
    TransformOutcome outcome;
    outcome.title = workspace.campaign.name;
    auto gathered = own ? frames_of_ledger(workspace, request) : measure_frames(workspace, request, outcome);
    if (!gathered) return fail(gathered.error());
    if (outcome.interrupted) return outcome;
    std::erase_if(gathered->frames, [&](const FrameFluxes& frame) {
        const bool other_band =
            !bands->empty() && std::find(bands->begin(), bands->end(), frame.band) == bands->end();
        return other_band || (!request.instrument.empty() && frame.instrument != request.instrument);
    });
    if (gathered->frames.empty()) {
        return fail({.what = "No frame is of that band and instrument.",
                     .where = "--band, --instrument",
                     .mend = "Leave out --band and --instrument to see what there is.",
                     .kind = ProblemKind::request});
    }
    outcome.frames = gathered->frames.size();
    std::vector<BandTransformation> found;
    if (own && !request.all_nights && request.night.empty()) {
        found = of_the_best_night(*gathered, workspace.campaign, outcome.remarks);
    } else {
        auto all = night::find_transformations(gathered->frames, gathered->stars, gathered->usable,
                                               workspace.campaign);
        found = std::move(all.bands);
        outcome.remarks.insert(outcome.remarks.end(), all.remarks.begin(), all.remarks.end());
    }
    for (BandTransformation& one : found) {
        TransformRow row;
        row.night = one.nights.size() == 1 ? one.nights.front()
                                           : fmt::format("{} to {}", one.nights.front(), one.nights.back());
        row.against = own_table ? own_stars : std::filesystem::path(request.catalogue).filename().string();
        row.sentence = sentence_of(one, own_table, request.dry_run);
        row.band = std::move(one);
        outcome.rows.push_back(std::move(row));
    }
    if (!request.dry_run) {
        if (auto good = store(workspace, outcome.rows); !good) return fail(good.error());
    }
    if (!request.picture) return outcome;
    if (auto made = make_out_folder(workspace); !made) return fail(made.error());
    outcome.picture = workspace.out_path("transform.svg");
    std::vector<BandTransformation> drawn;
    for (const TransformRow& row : outcome.rows)
        drawn.push_back(row.band);
    if (auto good = picture::draw_transformations(drawn, outcome.title, outcome.picture); !good)
        return fail(good.error());
    return outcome;
}

Result<std::vector<ledger::KeptTransformation>> kept_terms(const Workspace& workspace) {
    const auto ledger = ledger::Ledger::open(workspace.ledger_path(), ledger::Ledger::Access::read);
    if (!ledger) return fail(ledger.error());
    return ledger->every_transformation();
}

}  // namespace emberline::tasks
