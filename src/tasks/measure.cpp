// SPDX-License-Identifier: MIT
#include "tasks/measure.hpp"

#include <fmt/format.h>
#include <tbb/blocked_range.h>
#include <tbb/parallel_for.h>
#include <tbb/task_arena.h>

#include <algorithm>
#include <filesystem>
#include <map>
#include <set>
#include <thread>

#include "frame/frame.hpp"
#include "night/measure_frame.hpp"
#include "tasks/find_files.hpp"

namespace emberline::tasks {
namespace {

using photometry::FrameFluxes;

// Frames measured between two visits to the ledger: enough to keep every core busy, few enough that memory
// does not grow with the number of frames and that little is lost when the power goes.
constexpr std::size_t batch_frames = 64;

struct FileOutcome {
    std::vector<FrameFluxes> measured;
    std::vector<RefusedFrame> refused;
    std::vector<std::string> uncalibrated;  // remarks of frames that no master of a kind fits, each frame's
    bool known = false;
    std::string known_night;
    bool done = false;
};

std::string plane_name(const std::string& name, int plane, int planes) {
    return planes > 1 ? fmt::format("{} (plane {})", name, plane + 1) : name;
}

FileOutcome measure_file(const std::string& path, const std::string& fingerprint, const Workspace& workspace,
                         const frame::Masters& masters, const night::HostTemplates& templates) {
    FileOutcome out;
    out.done = true;
    const std::string name = frame_name(path, workspace.campaign.folder);
    auto frames = frame::open_frames(path, workspace.campaign.instruments, &masters);
    if (!frames) {
        out.refused.push_back({name, frames.error()});
        return out;
    }
    for (const frame::Frame& one : *frames) {
        auto fluxes =
            night::measure_frame(one, name, fingerprint, workspace.sequence, workspace.campaign, &templates);
        if (fluxes) {
            if (one.calibration().caveats().has(Caveat::not_calibrated)) {
                const auto& remarks = one.calibration().remarks();
                out.uncalibrated.insert(out.uncalibrated.end(), remarks.begin(), remarks.end());
            }
            out.measured.push_back(std::move(*fluxes));
        } else {
            out.refused.push_back({plane_name(name, one.facts().plane, one.facts().planes), fluxes.error()});
        }
    }
    return out;
}

class Measuring {
  public:
    Measuring(const Workspace& workspace, const MeasureRequest& request, ledger::Ledger& ledger)
        : workspace_(workspace),
          request_(request),
          ledger_(ledger),
          provenance_(workspace.provenance()),
          masters_(frame::Masters::open(workspace.campaign.master_paths())),
          templates_(workspace.sequence, workspace.campaign),
          arena_(request.threads > 0 ? request.threads
                                     : static_cast<int>(std::max(1U, std::thread::hardware_concurrency()))) {}

    Result<void> run(const std::vector<std::string>& files, MeasureOutcome& outcome) {
        for (std::size_t first = 0; first < files.size() && !stopped(); first += batch_frames) {
            const std::size_t last = std::min(files.size(), first + batch_frames);
            const std::vector<std::string> batch(files.begin() + static_cast<std::ptrdiff_t>(first),
                                                 files.begin() + static_cast<std::ptrdiff_t>(last));
            if (auto good = run_batch(batch, first, files.size(), outcome); !good) return good;
        }
        for (const auto& [band, problem] : templates_.refused())
            outcome.refused_templates.push_back(problem);
        outcome.refused_masters = masters_.refused();
        for (const auto& [remark, frames] : uncalibrated_) {
            outcome.remarks.push_back(frames > 1 ? fmt::format("{} ({} frames)", remark, frames) : remark);
        }
        outcome.interrupted = stopped();
        outcome.touched_nights.assign(nights_.begin(), nights_.end());
        return {};
    }

  private:
    [[nodiscard]] bool stopped() const {
        return request_.stop != nullptr && request_.stop->load(std::memory_order_relaxed);
    }

    template <class Work>
    void in_parallel(std::size_t n, const Work& work) {
        arena_.execute([&] {
            tbb::parallel_for(tbb::blocked_range<std::size_t>(0, n, 1), [&](const auto& range) {
                for (std::size_t i = range.begin(); i != range.end(); ++i) {
                    if (!stopped()) work(i);
                }
            });
        });
    }

    Result<void> run_batch(const std::vector<std::string>& batch, std::size_t first, std::size_t of,
                           MeasureOutcome& outcome) {
        std::vector<Result<std::string>> prints(batch.size());
        in_parallel(batch.size(), [&](std::size_t i) { prints[i] = frame::fingerprint(batch[i]); });
        std::vector<FileOutcome> results(batch.size());
        for (std::size_t i = 0; i < batch.size() && !stopped(); ++i) {
            if (!prints[i] || prints[i]->empty()) continue;
            const auto known = knows(*prints[i]);
            if (!known) return fail(known.error());
            results[i].known = *known;
        }
        std::atomic<std::size_t> done{first};
        in_parallel(batch.size(), [&](std::size_t i) {
            if (!results[i].known) {
                if (prints[i]) {
                    results[i] = measure_file(batch[i], *prints[i], workspace_, masters_, templates_);
                } else {
                    results[i].done = true;
                    results[i].refused.push_back(
                        {frame_name(batch[i], workspace_.campaign.folder), prints[i].error()});
                }
            }
            const std::size_t now = ++done;
            if (request_.progress) {
                const std::scoped_lock lock(progress_);
                request_.progress(now, of);
            }
        });
        return keep(results, outcome);
    }

    // Of a colour cube, all three planes or none: one that was refused is tried again.
    Result<bool> knows(const std::string& fingerprint) const {
        bool planes[3] = {};
        for (int plane = 0; plane < 3; ++plane) {
            const auto has = ledger_.has(fingerprint, plane, provenance_.settings);
            if (!has) return fail(has.error());
            planes[plane] = *has;
        }
        return planes[0] && planes[1] == planes[2];
    }

    // A night's frames go into the ledger in one transaction.
    Result<void> keep(std::vector<FileOutcome>& results, MeasureOutcome& outcome) {
        std::map<std::string, std::vector<FrameFluxes>> by_night;
        for (FileOutcome& result : results) {
            if (result.known) {
                ++outcome.known;
                ++outcome.offered;
            }
            outcome.offered += result.measured.size() + result.refused.size();
            std::move(result.refused.begin(), result.refused.end(), std::back_inserter(outcome.refused));
            for (const std::string& remark : result.uncalibrated)
                ++uncalibrated_[remark];
            for (FrameFluxes& fluxes : result.measured)
                by_night[fluxes.night].push_back(std::move(fluxes));
        }
        for (auto& [night, frames] : by_night) {
            const auto recorded = ledger_.record(frames, provenance_);
            if (!recorded) return fail(recorded.error());
            nights_.insert(night);
            for (const ledger::Recorded r : *recorded) {
                outcome.fresh += r == ledger::Recorded::fresh ? 1 : 0;
                outcome.superseding += r == ledger::Recorded::superseding ? 1 : 0;
                outcome.known += r == ledger::Recorded::unchanged ? 1 : 0;
            }
        }
        return {};
    }

    const Workspace& workspace_;
    const MeasureRequest& request_;
    ledger::Ledger& ledger_;
    ledger::Provenance provenance_;
    frame::Masters masters_;
    night::HostTemplates templates_;
    std::map<std::string, std::size_t> uncalibrated_;  // remark -> frames
    tbb::task_arena arena_;
    std::mutex progress_;
    std::set<std::string> nights_;
};

Result<std::vector<std::string>> files_to_measure(const Workspace& workspace, const MeasureRequest& request) {
    std::vector<std::string> places = request.places;
    if (places.empty()) places.push_back(workspace.campaign.path("frames"));
    std::error_code error;
    if (request.places.empty() && !std::filesystem::exists(places[0], error)) {
        return fail({.what = "There are no frames to measure.",
                     .where = places[0],
                     .mend = "Put frames there, or name them: `emberline measure FILES`.",
                     .kind = ProblemKind::request});
    }
    auto files = find_frame_files(places, workspace.campaign.path("out"));
    if (files && files->empty()) {
        return fail({.what = "No FITS files were found.",
                     .where = places[0],
                     .mend = "Frames end in .fits, .fit or .fts, packed ones in .fz or .gz besides."});
    }
    return files;
}

Result<std::size_t> measured_otherwise(const ledger::Ledger& ledger, const std::string& settings) {
    std::size_t others = 0;
    std::optional<Problem> problem;
    std::vector<std::pair<std::string, int>> identities;
    const auto read = ledger.for_each_frame([&](const FrameFluxes& frame) {
        identities.emplace_back(frame.fingerprint, frame.plane);
        return true;
    });
    if (!read) return fail(read.error());
    for (const auto& [fingerprint, plane] : identities) {
        const auto same = ledger.has(fingerprint, plane, settings);
        if (!same) return fail(same.error());
        others += *same ? 0 : 1;
    }
    return others;
}

}  // namespace

Result<Resolved> solve_from_ledger(const Workspace& workspace, ledger::Ledger& ledger) {
    const auto frames = ledger.frames();
    if (!frames) return fail(frames.error());
    auto set_aside = set_aside_in(ledger);
    if (!set_aside) return fail(set_aside.error());
    auto solved = night::solve_campaign(*frames, workspace.sequence, workspace.campaign, *set_aside);
    if (!solved) return fail(solved.error());
    Resolved out{std::move(*solved), std::move(*set_aside), false};
    const auto changed = ledger.store(out.campaign.solution, workspace.provenance());
    if (!changed) return fail(changed.error());
    out.changed = *changed;
    const auto others = measured_otherwise(ledger, workspace.provenance().settings);
    if (!others) return fail(others.error());
    if (*others > 0) {
        out.campaign.remarks.push_back(
            fmt::format("{} frames were measured with other settings or positions: measure them again to "
                        "bring them up to date.",
                        *others));
    }
    return out;
}

Result<MeasureOutcome> measure(const Workspace& workspace, const MeasureRequest& request) {
    MeasureOutcome outcome;
    std::vector<std::string> files;
    if (!request.again) {
        auto found = files_to_measure(workspace, request);
        if (!found) return fail(found.error());
        files = std::move(*found);
    }
    auto ledger = ledger::Ledger::open(workspace.ledger_path(), ledger::Ledger::Access::write);
    if (!ledger) return fail(ledger.error());
    if (!request.again) {
        if (auto good = Measuring(workspace, request, *ledger).run(files, outcome); !good)
            return fail(good.error());
        if (outcome.interrupted) return outcome;
    }
    auto resolved = solve_from_ledger(workspace, *ledger);
    if (!resolved) {
        // With every frame refused there is nothing to solve, and the refusals say why.
        if (!outcome.refused.empty() && resolved.error().kind == ProblemKind::input) {
            if (outcome.fresh + outcome.known > 0) outcome.remarks.push_back(one_line(resolved.error()));
            return outcome;
        }
        return fail(resolved.error());
    }
    outcome.solution = std::move(resolved->campaign.solution);
    auto& remarks = resolved->campaign.remarks;
    outcome.remarks.insert(outcome.remarks.begin(), remarks.begin(), remarks.end());
    for (const night::HostChoice& host : resolved->campaign.host.choices) {
        outcome.template_refused = outcome.template_refused || host.template_refused;
        for (const std::string& remark : host.remarks)
            outcome.remarks.push_back(fmt::format("{}, {}: {}", host.band.name(), host.instrument, remark));
    }
    outcome.changed = resolved->changed;
    for (const auto* read : {&workspace.sequence.remarks, &workspace.campaign.remarks})
        outcome.remarks.insert(outcome.remarks.begin(), read->begin(), read->end());
    const auto& touched = outcome.touched_nights;
    outcome.judged_away =
        std::any_of(outcome.solution.frames.begin(), outcome.solution.frames.end(),
                    [&](const night::FrameMeasurement& f) {
                        const bool by_observer = resolved->set_aside.frames.contains(f.frame) ||
                                                 resolved->set_aside.nights.contains(f.night);
                        return !f.used && !by_observer &&
                               std::find(touched.begin(), touched.end(), f.night) != touched.end();
                    });
    const bool no_site = std::any_of(outcome.solution.frames.begin(), outcome.solution.frames.end(),
                                     [](const auto& f) { return f.caveats.has(Caveat::no_airmass); });
    if (no_site && !workspace.campaign.site) {
        outcome.remarks.emplace_back(
            "The site is not known: nights are counted from noon to noon UTC, and there is no airmass. Add "
            "[site] to "
            "campaign.toml and measure again.");
    }
    return outcome;
}

}  // namespace emberline::tasks
