// SPDX-License-Identifier: MIT
#include "tasks/stack.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <filesystem>
#include <map>
#include <set>

#include "frame/parse_header.hpp"
#include "frame/row_writer.hpp"
#include "night/choose_stack.hpp"
#include "sky/time_scales.hpp"
#include "tasks/find_files.hpp"
#include "tasks/known_terms.hpp"

namespace emberline::tasks {
namespace {

namespace fs = std::filesystem;
using photometry::FrameFluxes;

struct Group {
    std::vector<night::StackCandidate> candidates;
    std::vector<LeftOut> left_out;
};
using Groups = std::map<std::pair<std::string, Band>, Group>;  // by night and band

struct Wanted {
    std::optional<std::string> night;
    std::optional<Band> band;
    bool has(const std::string& its_night, const Band& its_band) const {
        return (!night || *night == its_night) && (!band || *band == its_band);
    }
};

class Gathering {
  public:
    Gathering(const Workspace& workspace, const Wanted& wanted, const ledger::Ledger* ledger)
        : workspace_(workspace),
          wanted_(wanted),
          ledger_(ledger),
          masters_(frame::Masters::open(workspace.campaign.master_paths())) {}

    // All frames of a file that are wanted; `plane` and `print`: as the ledger has it.
    Result<void> add(const std::string& path, std::optional<int> plane, const std::string& print) {
        const night::Campaign& campaign = workspace_.campaign;
        const std::string name = frame_name(path, campaign.folder);
        const auto own = frame::fingerprint(path);
        if (!own) return leave(name, own.error());
        if (!print.empty() && *own != print) {
            return leave(name, {.what = "The file is not what was measured under its name.",
                                .where = name,
                                .mend = "Run `emberline measure` first."});
        }
        auto frames = frame::open_frames(path, campaign.instruments, &masters_);
        if (!frames) return leave(name, frames.error());
        std::optional<ledger::KeptPlate> kept;
        if (ledger_ != nullptr) {
            auto plate = ledger_->plate(*own);
            if (!plate) return fail(plate.error());
            kept = std::move(*plate);
        }
        for (frame::Frame& one : *frames) {
            if (plane && one.facts().plane != *plane) continue;
            take(std::move(one), name, *own, kept);
        }
        return {};
    }
    void leave_out(const std::string& night, const Band& band, LeftOut one) {
        groups[{night, band}].left_out.push_back(std::move(one));
    }

    Groups groups;
    std::vector<LeftOut> nowhere;  // files that do not even tell their night and band

  private:
    Result<void> leave(const std::string& name, Problem problem) {
        nowhere.push_back({name, std::move(problem)});
        return {};
    }

    void take(frame::Frame one, const std::string& name, const std::string& print,
              const std::optional<ledger::KeptPlate>& kept) {
        const frame::FrameFacts& facts = one.facts();
        if (!facts.mid_exposure || !facts.band) {
            nowhere.push_back({name,
                               {.what = "Its header does not tell when it was taken and in what band.",
                                .where = name,
                                .mend = "Look at it with `emberline inspect`."}});
            return;
        }
        const auto& site = workspace_.campaign.site;
        const double longitude_deg = site         ? site->longitude.degrees()
                                     : facts.site ? facts.site->value.longitude.degrees()
                                                  : 0.0;
        const std::string night = sky::night_of(facts.mid_exposure->value, longitude_deg);
        const Band band = facts.band->value;
        if (!wanted_.has(night, band)) return;
        Group& group = groups[{night, band}];
        std::optional<frame::Header> plate;
        if (kept) {
            if (auto wcs = frame::Wcs::parse(kept->cards)) {
                one = one.with_plate(*wcs, {true, kept->stars, kept->rms_arcsec});
                plate = frame::parse_header(kept->cards);
            }
        }
        if (!one.wcs()) {
            group.left_out.push_back({name, one.wcs().error()});
            return;
        }
        // Two instruments see other colours on other pixels: their frames do not add up to one.
        if (!group.candidates.empty()) {
            const std::string& first = group.candidates.front().frame.facts().instrument;
            if (facts.instrument != first) {
                group.left_out.push_back(
                    {name,
                     {.what = fmt::format("It was taken with the instrument '{}', the first "
                                          "frame of the stack with '{}'.",
                                          facts.instrument, first),
                      .where = name,
                      .mend = "Name its instrument's frames, with an --output of their own."}});
                return;
            }
        }
        group.candidates.push_back({name, print, std::move(one), std::move(plate)});
    }

    const Workspace& workspace_;
    const Wanted& wanted_;
    const ledger::Ledger* ledger_;
    frame::Masters masters_;
};

// The newest night's, or the night's that is asked for.
Result<void> gather_from_ledger(const Workspace& workspace, const ledger::Ledger& ledger, Wanted& wanted,
                                Gathering& gathering) {
    const auto solved = ledger.newest();
    if (!solved) return fail(solved.error());
    const auto fluxes = ledger.frames();
    if (!fluxes) return fail(fluxes.error());
    std::set<std::string> stacks;
    for (const FrameFluxes& one : *fluxes) {
        if (!one.stack_of.empty()) stacks.insert(one.fingerprint);
    }
    if (!wanted.night) {
        for (const night::FrameMeasurement& one : solved->frames) {
            if (stacks.contains(one.fingerprint) || (wanted.band && one.band != *wanted.band)) continue;
            if (!wanted.night || one.night > *wanted.night) wanted.night = one.night;
        }
    }
    for (const night::FrameMeasurement& one : solved->frames) {
        if (stacks.contains(one.fingerprint) || !wanted.has(one.night, one.band)) continue;
        if (!one.used && !one.reason.starts_with(night::replaced_by_stack)) {
            gathering.leave_out(one.night, one.band,
                                {one.frame, {.what = one.reason, .where = one.frame, .mend = ""}});
            continue;
        }
        if (auto good = gathering.add(workspace.campaign.path(one.frame), one.plane, one.fingerprint); !good)
            return good;
    }
    return {};
}

Result<void> write_stack(const std::string& path, const night::NightStack& stack) {
    std::error_code error;
    fs::create_directories(fs::path(path).parent_path(), error);
    auto writer = frame::RowWriter::create(path, stack.width_px, stack.height_px,
                                           {{"", -32, stack.cards}, {"VARIANCE", -32, stack.variance_cards}});
    if (!writer) return fail(writer.error());
    if (auto good = (*writer)->write(0, 0, stack.adu); !good) return good;
    if (auto good = (*writer)->write(1, 0, stack.variance_adu2); !good) return good;
    return (*writer)->finish();
}

// The night's value from the campaign solved with some of its frames only.
std::optional<night::NightMeasurement> night_by(const Workspace& workspace,
                                                const night::SetAsideByObserver& set_aside,
                                                const std::vector<FrameFluxes>& frames,
                                                const StackedBand& band, bool of_stack) {
    std::vector<FrameFluxes> chosen;
    for (const FrameFluxes& one : frames) {
        const bool here = one.night == band.night && one.band == band.band;
        const bool stack = !one.stack_of.empty();
        if (here && (of_stack ? one.frame != band.path : stack)) continue;
        chosen.push_back(one);
    }
    if (chosen.empty()) return std::nullopt;
    const auto solved = night::solve_campaign(chosen, workspace.sequence, workspace.campaign, set_aside);
    if (!solved) return std::nullopt;
    for (const night::NightMeasurement& one : solved->solution.nights) {
        if (one.night == band.night && one.band == band.band) return one;
    }
    return std::nullopt;
}

std::optional<ValueWithError> magnitude_of(const std::optional<night::NightMeasurement>& night) {
    if (!night || night->is_limit || !night->magnitude_mag || !night->random_err_mag) return std::nullopt;
    return ValueWithError{*night->magnitude_mag, *night->random_err_mag};
}

Result<void> compare(const Workspace& workspace, const ledger::Ledger& ledger, StackedBand& band) {
    const auto frames = ledger.frames();
    if (!frames) return fail(frames.error());
    const auto set_aside = set_aside_in(ledger);
    if (!set_aside) return fail(set_aside.error());
    const FrameFluxes* stack = nullptr;
    std::vector<const FrameFluxes*> single;
    for (const FrameFluxes& one : *frames) {
        if (one.frame == band.path) stack = &one;
        if (one.night == band.night && one.band == band.band && one.stack_of.empty()) single.push_back(&one);
    }
    if (stack == nullptr) {
        band.advice = "The stack could not be measured.";
        return {};
    }
    auto known = known_terms(workspace, ledger);
    if (!known) return fail(known.error());
    Workspace informed = workspace;
    informed.campaign = std::move(known->campaign);
    const auto by_stack = night_by(informed, *set_aside, *frames, band, true);
    const auto by_frames = night_by(informed, *set_aside, *frames, band, false);
    band.stack_mag = magnitude_of(by_stack);
    band.frames_mag = magnitude_of(by_frames);
    if (by_stack) band.stack_limit_mag = by_stack->limit_mag;
    if (by_frames) band.frames_limit_mag = by_frames->limit_mag;
    const auto choice =
        night::choose(night::stack_evidence(single, *stack), workspace.campaign.measure.limit_sigma);
    band.stack_chosen = choice.stack;
    band.advice =
        (choice.stack ? "The stack is used for this night. " : "The frames are used for this night. ") +
        choice.reason;
    return {};
}

Result<Wanted> wanted_by(const StackRequest& request) {
    Wanted wanted{request.night, std::nullopt};
    if (!request.band) return wanted;
    auto known = parse_band(*request.band);
    if (!known) {
        known.error().kind = ProblemKind::request;
        return fail(known.error());
    }
    wanted.band = *known;
    return wanted;
}

Result<void> gather(const Workspace& workspace, const StackRequest& request, const ledger::Ledger* ledger,
                    Wanted& wanted, Gathering& gathering) {
    if (request.places.empty()) return gather_from_ledger(workspace, *ledger, wanted, gathering);
    const auto files = find_frame_files(request.places, workspace.campaign.path("out"));
    if (!files) return fail(files.error());
    for (const std::string& path : *files) {
        if (auto good = gathering.add(path, std::nullopt, ""); !good) return good;
    }
    if (!wanted.night && !gathering.groups.empty()) wanted.night = gathering.groups.rbegin()->first.first;
    return {};
}

std::string path_of(const Workspace& workspace, const StackRequest& request, const std::string& night,
                    const Band& band) {
    std::error_code error;
    if (request.output) return fs::absolute(*request.output, error).string();
    return workspace.campaign.path(fmt::format("stacks/{}_{}.fits", night, band.name()));
}

// Before the first of them is stacked: what is made by then would not be told of.
Result<void> check_groups(const Workspace& workspace, const StackRequest& request, const Wanted& wanted,
                          const Gathering& gathering) {
    if (gathering.groups.empty()) {
        return fail({.what = wanted.night ? fmt::format("There are no frames of {} to stack.", *wanted.night)
                                          : "There are no frames to stack.",
                     .where = gathering.nowhere.empty() ? workspace.campaign.folder
                                                        : one_line(gathering.nowhere.front().problem),
                     .mend = "Name frames, or a night that is measured: `emberline nights` lists them.",
                     .kind = ProblemKind::request});
    }
    if (request.output && gathering.groups.size() > 1) {
        return fail({.what = "Frames of several bands cannot go into one file.",
                     .where = *request.output,
                     .mend = "Say which with --band, or leave --output out.",
                     .kind = ProblemKind::request});
    }
    if (request.replace) return {};
    for (const auto& [key, group] : gathering.groups) {
        const std::string path = path_of(workspace, request, key.first, key.second);
        std::error_code error;
        if (!fs::exists(path, error)) continue;
        return fail({.what = "There is a file of that name already.",
                     .where = path,
                     .mend = "Name another with --output, or say --replace.",
                     .kind = ProblemKind::request});
    }
    return {};
}

Result<void> measure_stack(const Workspace& workspace, const StackRequest& request, const std::string& path,
                           StackedBand& band, StackOutcome& out) {
    MeasureRequest measuring;
    measuring.places = {path};
    measuring.threads = request.threads;
    measuring.stop = request.stop;
    const auto measured = measure(workspace, measuring);
    if (!measured) return fail(measured.error());
    out.interrupted = measured->interrupted;
    if (out.interrupted) return {};
    for (const RefusedFrame& one : measured->refused)
        out.remarks.push_back(fmt::format("{}: {}", one.frame, one_line(one.problem)));
    const auto ledger = ledger::Ledger::open(workspace.ledger_path(), ledger::Ledger::Access::read);
    if (!ledger) return fail(ledger.error());
    return compare(workspace, *ledger, band);
}

// One night and band: stacked, written, measured. A band that cannot be stacked is refused, and others go on.
Result<void> add_stack(const Workspace& workspace, const StackRequest& request, StackedBand band,
                       Group& group, StackOutcome& out) {
    const std::string path = path_of(workspace, request, band.night, band.band);
    band.path = frame_name(path, workspace.campaign.folder);
    auto made = night::stack_night(group.candidates, workspace.sequence, workspace.campaign, request.progress,
                                   request.stop);
    if (!made && made.error().kind == ProblemKind::interrupted) {
        out.interrupted = true;
        return {};
    }
    if (!made) {
        out.refused.push_back(at(fmt::format("{}, {}", band.night, band.band.name()), made.error()));
        return {};
    }
    if (auto good = write_stack(path, *made); !good) return good;
    band.used = made->used.size();
    band.members = std::move(made->used);
    band.clipped_pixels = made->clipped_pixels;
    band.fwhm_arcsec = made->fwhm_arcsec;
    band.exposure_s = made->exposure_s;
    band.left_out = std::move(group.left_out);
    std::move(made->left_out.begin(), made->left_out.end(), std::back_inserter(band.left_out));
    if (request.measure) {
        if (auto good = measure_stack(workspace, request, path, band, out); !good) return good;
    }
    out.bands.push_back(std::move(band));
    return {};
}

}  // namespace

Result<StackOutcome> stack(const Workspace& workspace, const StackRequest& request) {
    auto wanted = wanted_by(request);
    if (!wanted) return fail(wanted.error());
    std::error_code error;
    std::optional<ledger::Ledger> ledger;
    if (request.places.empty() || fs::exists(workspace.ledger_path(), error)) {
        auto opened = ledger::Ledger::open(workspace.ledger_path(), ledger::Ledger::Access::read);
        if (!opened) return fail(opened.error());
        ledger.emplace(std::move(*opened));
    }
    Gathering gathering(workspace, *wanted, ledger ? &*ledger : nullptr);
    if (auto good = gather(workspace, request, ledger ? &*ledger : nullptr, *wanted, gathering); !good)
        return fail(good.error());
    ledger.reset();  // measuring writes to it
    std::erase_if(gathering.groups,
                  [&](const auto& one) { return !wanted->has(one.first.first, one.first.second); });
    if (auto good = check_groups(workspace, request, *wanted, gathering); !good) return fail(good.error());
    StackOutcome out;
    for (auto& [key, group] : gathering.groups) {
        StackedBand band;
        band.night = key.first;
        band.band = key.second;
        if (auto good = add_stack(workspace, request, std::move(band), group, out); !good)
            return fail(good.error());
        if (out.interrupted) return out;
    }
    for (const LeftOut& one : gathering.nowhere)
        out.remarks.push_back(fmt::format("{}: {}", one.path, one_line(one.problem)));
    return out;
}

}  // namespace emberline::tasks
