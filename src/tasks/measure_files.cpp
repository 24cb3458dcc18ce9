// SPDX-License-Identifier: MIT
#include "tasks/measure_files.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <map>
#include <mutex>
#include <set>

#include "frame/frame.hpp"
#include "numerics/share_out.hpp"
#include "sky/precession.hpp"
#include "sky/time_scales.hpp"
#include "tasks/find_files.hpp"
#include "tasks/measure_file.hpp"

namespace emberline::tasks {
namespace {

using photometry::FrameFluxes;

// Frames measured between two visits to the ledger: enough to keep every core busy, few enough that memory
// does not grow with the number of frames and that little is lost when the power goes.
constexpr std::size_t batch_frames = 64;
constexpr std::size_t most_wrong_listed = 3;
constexpr double same_precession = 0.1;  // relative: corners of a frame differ a little

struct FileOutcome {
    MeasuredFile file;
    bool known = false;
};

class Measuring {
  public:
    Measuring(const Workspace& workspace, const MeasureRequest& request, ledger::Ledger& ledger)
        : workspace_(workspace),
          request_(request),
          ledger_(ledger),
          provenance_(workspace.provenance()),
          masters_(frame::Masters::open(workspace.campaign.master_paths())),
          templates_(workspace.sequence, workspace.campaign),
          tools_{workspace, masters_, templates_},
          threads_(numerics::threads_for(request.threads)) {}

    Result<void> run(const std::vector<std::string>& files, MeasureOutcome& outcome) {
        of_ = files.size();
        for (std::size_t first = 0; first < files.size() && !stopped(); first += batch_frames) {
            const std::size_t last = std::min(files.size(), first + batch_frames);
            const std::vector<std::string> batch(files.begin() + static_cast<std::ptrdiff_t>(first),
                                                 files.begin() + static_cast<std::ptrdiff_t>(last));
            if (auto good = run_batch(batch, outcome); !good) return good;
        }
        if (!unsolved_.empty() && !stopped()) {
            if (auto good = run_unsolved(outcome); !good) return good;
        }
        for (const auto& [band, problem] : templates_.refused())
            outcome.refused_templates.push_back(problem);
        outcome.refused_masters = masters_.refused();
        for (const auto& [remark, frames] : remarks_) {
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
        numerics::share_out(n, threads_, [&](std::size_t i) {
            if (!stopped()) work(i);
        });
    }

    void one_done() {
        const std::scoped_lock lock(progress_);
        ++done_;
        if (request_.progress) request_.progress(done_, of_);
    }

    Result<void> run_batch(const std::vector<std::string>& batch, MeasureOutcome& outcome) {
        std::vector<Result<std::string>> prints(batch.size());
        in_parallel(batch.size(), [&](std::size_t i) { prints[i] = frame::fingerprint(batch[i]); });
        if (auto good = follow_renamed(batch, prints, outcome); !good) return good;
        std::vector<FileOutcome> results(batch.size());
        for (std::size_t i = 0; i < batch.size() && !stopped(); ++i) {
            if (!prints[i] || prints[i]->empty()) continue;
            const auto known = knows_file(ledger_, *prints[i], provenance_.settings);
            if (!known) return fail(known.error());
            results[i].known = *known;
        }
        in_parallel(batch.size(), [&](std::size_t i) {
            if (!results[i].known) {
                if (prints[i]) {
                    results[i].file = measure_file(batch[i], *prints[i], tools_);
                } else {
                    results[i].file.refused.push_back(
                        {frame_name(batch[i], workspace_.campaign.folder), prints[i].error()});
                }
            }
            if (!results[i].file.wants_plate) one_done();
        });
        std::vector<MeasuredFile> files;
        for (std::size_t i = 0; i < results.size(); ++i) {
            if (results[i].known) {
                ++outcome.known;
                ++outcome.offered;
            } else if (results[i].file.wants_plate) {
                unsolved_.push_back(
                    {batch[i], *prints[i], std::move(results[i].file.refused), results[i].file.measurable});
            } else {
                files.push_back(std::move(results[i].file));
            }
        }
        return keep(files, outcome);
    }

    // A file that bears another name now while nothing of that content lies under the former one. A second
    // copy beside the first changes nothing.
    Result<void> follow_renamed(const std::vector<std::string>& batch,
                                const std::vector<Result<std::string>>& prints, MeasureOutcome& outcome) {
        std::vector<ledger::Renamed> renamed;
        std::set<std::string> settled;
        for (std::size_t i = 0; i < batch.size() && !stopped(); ++i) {
            if (!prints[i] || prints[i]->empty() || settled.contains(*prints[i])) continue;
            const auto name = ledger_.name_of(*prints[i]);
            if (!name) return fail(name.error());
            const std::string own = frame_name(batch[i], workspace_.campaign.folder);
            if (!*name || **name == own) continue;
            const auto former = frame::fingerprint(workspace_.campaign.path(**name));
            if (former && *former == *prints[i]) continue;
            renamed.push_back({*prints[i], own});
            settled.insert(*prints[i]);
        }
        if (renamed.empty()) return {};
        const auto changed = ledger_.rename(renamed);
        if (!changed) return fail(changed.error());
        outcome.renamed += *changed;
        return {};
    }

    // A night's frames go into the ledger in one transaction.
    Result<void> keep(std::vector<MeasuredFile>& files, MeasureOutcome& outcome) {
        std::map<std::string, std::vector<FrameFluxes>> by_night;
        for (MeasuredFile& file : files) {
            outcome.offered += file.measured.size() + file.refused.size();
            std::move(file.refused.begin(), file.refused.end(), std::back_inserter(outcome.refused));
            for (const std::string& remark : file.remarks)
                ++remarks_[remark];
            for (FrameFluxes& fluxes : file.measured)
                by_night[fluxes.night].push_back(std::move(fluxes));
        }
        for (auto& [night, frames] : by_night) {
            const auto recorded = ledger_.record(frames, provenance_);
            if (!recorded) return fail(recorded.error());
            nights_.insert(night);
            for (std::size_t i = 0; i < frames.size(); ++i) {
                const ledger::Recorded r = recorded->at(i);
                outcome.fresh += r == ledger::Recorded::fresh ? 1 : 0;
                outcome.superseding += r == ledger::Recorded::superseding ? 1 : 0;
                outcome.known += r == ledger::Recorded::unchanged ? 1 : 0;
                outcome.solved += r != ledger::Recorded::unchanged && frames[i].plate == "solved" ? 1 : 0;
            }
        }
        return {};
    }

    // Files whose own stars must tell where they point. All are matched with one frame's stars, so that what
    // they give depends neither on their order nor on the number of threads.
    Result<void> run_unsolved(MeasureOutcome& outcome) {
        night::PlateFinder finder(workspace_.campaign, workspace_.sequence);
        if (finder.refused_catalogue())
            outcome.remarks.push_back("It goes on without: " + one_line(*finder.refused_catalogue()));
        outcome.remarks.insert(outcome.remarks.end(), finder.remarks().begin(), finder.remarks().end());
        auto reference = ledger_.reference();
        if (reference && !*reference) reference = reference_of_ledger(ledger_, tools_);
        if (reference && !*reference) reference = reference_of_unsolved(finder);
        if (!reference) return fail(reference.error());
        if (*reference) {
            if (auto good = ledger_.keep_reference(**reference); !good) return good;
            finder.use(std::move(**reference));
        }
        for (std::size_t first = 0; first < unsolved_.size() && !stopped(); first += batch_frames) {
            const std::size_t n = std::min(batch_frames, unsolved_.size() - first);
            auto solved = solve(finder, first, n, false);
            if (!solved) return fail(solved.error());
            std::vector<MeasuredFile> files;
            std::vector<ledger::KeptPlate> plates;
            for (std::size_t i = 0; i < n; ++i) {
                SolvedFile& one = (*solved)[i];
                // A solution under which the sequence's stars are not found proves nothing yet.
                if (one.plate && !one.file.measured.empty()) plates.push_back(*one.plate);
                if (one.header_off_arcsec) {
                    wrong_.emplace_back(frame_name(unsolved_[first + i].path, workspace_.campaign.folder),
                                        *one.header_off_arcsec);
                }
                if (one.solved && !one.file.measured.empty()) ++against_[one.against];
                files.push_back(std::move(one.file));
            }
            if (auto good = ledger_.keep_plates(plates); !good) return good;
            if (auto good = keep(files, outcome); !good) return good;
        }
        tell_solved(outcome);
        return {};
    }

    Result<std::vector<SolvedFile>> solve(const night::PlateFinder& finder, std::size_t first, std::size_t n,
                                          bool with_reference) {
        std::vector<std::optional<ledger::KeptPlate>> kept(n);
        for (std::size_t i = 0; i < n; ++i) {
            auto plate = ledger_.plate(unsolved_[first + i].fingerprint);
            if (!plate) return fail(plate.error());
            kept[i] = std::move(*plate);
        }
        std::vector<SolvedFile> solved(n);
        in_parallel(n, [&](std::size_t i) {
            solved[i] = solve_and_measure(unsolved_[first + i], kept[i], finder, tools_, with_reference);
            if (!with_reference) one_done();
        });
        return solved;
    }

    // Where no frame at all came solved: of the first that a catalogue or the sequence solves.
    Result<std::optional<night::FieldReference>> reference_of_unsolved(const night::PlateFinder& finder) {
        const auto step = static_cast<std::size_t>(threads_);
        for (std::size_t first = 0; first < unsolved_.size() && !stopped(); first += step) {
            auto solved = solve(finder, first, std::min(step, unsolved_.size() - first), true);
            if (!solved) return fail(solved.error());
            for (SolvedFile& one : *solved) {
                // Measured as well: the sequence's stars are where the solution has them.
                if (!one.reference || one.file.measured.empty()) continue;
                if (one.plate) {
                    if (auto good = ledger_.keep_plate(*one.plate); !good) return fail(good.error());
                }
                return std::move(one.reference);
            }
        }
        return std::nullopt;
    }

    void tell_solved(MeasureOutcome& outcome) const {
        for (const auto& [against, files] : against_) {
            outcome.remarks.push_back(
                fmt::format("{} came without a right plate solution: found by {} own stars, matched with {}.",
                            files == 1 ? std::string("1 file") : fmt::format("{} files", files),
                            files == 1 ? "its" : "their", against));
        }
        for (std::size_t i = 0; i < std::min(most_wrong_listed, wrong_.size()); ++i) {
            outcome.remarks.push_back(
                fmt::format("{}: the plate solution in its header is wrong by up to {:.1f}′.",
                            wrong_[i].first, wrong_[i].second / 60.0));
        }
        if (wrong_.size() > most_wrong_listed) {
            outcome.remarks.push_back(
                fmt::format("So are those of {} more files.", wrong_.size() - most_wrong_listed));
        }
        doubt_equinox(outcome);
    }

    // A sequence of the equinox of date, and a transient of J2000: the stars are found, and the transient is
    // not where they lead to.
    void doubt_equinox(MeasureOutcome& outcome) const {
        if (wrong_.empty() || nights_.empty()) return;
        const auto date = sky::parse_instant(*nights_.begin());
        if (!date) return;
        const SkyPosition& place = workspace_.campaign.position;
        const double precessed_arcsec =
            separation(place, sky::from_equinox_of_date(place, *date)).arcseconds();
        const double off_arcsec = wrong_.front().second;
        if (std::abs(off_arcsec - precessed_arcsec) > same_precession * precessed_arcsec) return;
        outcome.remarks.push_back(
            fmt::format("So far has the equinox moved from J2000 to {}: are the positions of {} J2000? Where "
                        "they are of date and "
                        "the transient's is not, it was measured at the wrong place.",
                        nights_.begin()->substr(0, 4), workspace_.campaign.catalog));
    }

    const Workspace& workspace_;
    const MeasureRequest& request_;
    ledger::Ledger& ledger_;
    ledger::Provenance provenance_;
    frame::Masters masters_;
    night::HostTemplates templates_;
    FileTools tools_;
    std::map<std::string, std::size_t> remarks_;  // remark -> frames
    std::vector<UnsolvedFile> unsolved_;
    std::map<std::string, std::size_t> against_;         // what solved them -> files
    std::vector<std::pair<std::string, double>> wrong_;  // header -> arcsec
    int threads_;
    std::mutex progress_;
    std::size_t done_ = 0, of_ = 0;
    std::set<std::string> nights_;
};

}  // namespace

Result<bool> knows_file(const ledger::Ledger& ledger, const std::string& fingerprint,
                        const std::string& settings) {
    bool planes[3] = {};
    for (int plane = 0; plane < 3; ++plane) {
        const auto has = ledger.has(fingerprint, plane, settings);
        if (!has) return fail(has.error());
        planes[plane] = *has;
    }
    return planes[0] && planes[1] == planes[2];
}

Result<void> measure_files(const Workspace& workspace, const MeasureRequest& request,
                           const std::vector<std::string>& files, ledger::Ledger& ledger,
                           MeasureOutcome& outcome) {
    return Measuring(workspace, request, ledger).run(files, outcome);
}

}  // namespace emberline::tasks
