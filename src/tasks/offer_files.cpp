// SPDX-License-Identifier: MIT
#include "tasks/offer_files.hpp"

#include <algorithm>
#include <filesystem>

#include "frame/frame.hpp"
#include "night/plate_doubt.hpp"
#include "tasks/contained.hpp"
#include "tasks/find_files.hpp"
#include "tasks/measure_files.hpp"

namespace emberline::tasks {
namespace {

using Fate = OfferedFile::Fate;

bool is_there(const std::string& path) {
    std::error_code error;
    return std::filesystem::exists(path, error);
}

class Offering {
  public:
    Offering(const Workspace& workspace, const OfferRequest& request)
        : workspace_(workspace), request_(request), settings_(workspace.provenance().settings) {}

    Result<Offered> run() {
        open_ledger();
        std::vector<std::string> fresh;
        std::size_t unknown = 0;
        for (const std::string& path : request_.files) {
            OfferedFile& file = offered_.files.emplace_back();
            file.path = path;
            file.name = frame_name(path, workspace_.campaign.folder);
            if (stopped() || unknown >= request_.most_fresh) continue;
            if (auto good = look_into(file); !good) return fail(good.error());
            const bool for_measure = file.fate == Fate::measured || file.fate == Fate::renamed;
            unknown += file.fate == Fate::measured ? 1 : 0;
            if (for_measure) fresh.push_back(path);
        }
        // Readers and writers do not wait for each other, but an old reader keeps the log from being tidied.
        ledger_.reset();
        if (!fresh.empty() || (request_.solve_anyway && has_ledger_)) {
            MeasureRequest wanted{.places = fresh,
                                  .again = fresh.empty(),
                                  .threads = request_.threads,
                                  .stop = request_.stop,
                                  .progress = {}};
            auto outcome = measure(workspace_, wanted);
            // What is measured stays measured where the campaign cannot be solved with it.
            const bool unsolvable = !outcome && outcome.error().kind == ProblemKind::input;
            if (!outcome && !unsolvable) return fail(outcome.error());
            if (outcome) {
                offered_.outcome = std::move(*outcome);
            } else {
                offered_.outcome.emplace().remarks.push_back(one_line(outcome.error()));
            }
            for (OfferedFile& file : offered_.files)
                tell_fate(file);
        }
        return std::move(offered_);
    }

  private:
    [[nodiscard]] bool stopped() const { return request_.stop != nullptr && request_.stop->load(); }

    // Where it cannot be read nothing counts as known, and who writes says why.
    void open_ledger() {
        has_ledger_ = is_there(workspace_.ledger_path());
        if (!has_ledger_) return;
        auto ledger = ledger::Ledger::open(workspace_.ledger_path(), ledger::Ledger::Access::read);
        if (ledger) ledger_.emplace(std::move(*ledger));
    }

    Result<void> look_into(OfferedFile& file) {
        const auto print = frame::fingerprint(file.path);
        if (print && ledger_) {
            const auto known = knows_file(*ledger_, *print, settings_);
            if (!known) return fail(known.error());
            if (*known) return look_up_name(file, *print);
        }
        const auto problem = print ? unopened(file.path) : std::optional(print.error());
        if (!problem) {
            file.fate = Fate::measured;
        } else if (!is_there(file.path)) {
            file.fate = Fate::gone;
        } else {
            file.fate = Fate::unwhole;
            file.refused.push_back({file.name, *problem});
        }
        return {};
    }

    // What keeps it from being opened; nothing where it can be.
    [[nodiscard]] std::optional<Problem> unopened(const std::string& path) const {
        std::optional<Problem> problem;
        auto thrown = contained(path, [&] {
            if (const auto frames = frame::open_frames(path, workspace_.campaign.instruments); !frames)
                problem = frames.error();
        });
        return thrown ? thrown : problem;
    }

    Result<void> look_up_name(OfferedFile& file, const std::string& print) {
        const auto name = ledger_->name_of(print);
        if (!name) return fail(name.error());
        file.fate = Fate::known;
        if (!*name || **name == file.name) return {};
        file.other_name = **name;
        const auto former = frame::fingerprint(workspace_.campaign.path(**name));
        if (!former || *former != print) file.fate = Fate::renamed;
        return {};
    }

    void tell_fate(OfferedFile& file) const {
        const MeasureOutcome& outcome = *offered_.outcome;
        if (file.fate != Fate::measured && file.fate != Fate::renamed) return;
        for (const night::FrameMeasurement& m : outcome.solution.frames) {
            if (m.frame == file.name) file.measurements.push_back(m);
        }
        for (const RefusedFrame& refused : outcome.refused) {
            // Planes of a cube are named behind the file.
            if (refused.frame == file.name || refused.frame.starts_with(file.name + " (plane "))
                file.refused.push_back(refused);
        }
        if (file.fate == Fate::renamed) return;
        if (outcome.interrupted && file.refused.empty()) {
            file.fate = Fate::unsolved;
        } else if (!file.refused.empty() && file.measurements.empty()) {
            file.fate = wants_plate(file) ? Fate::no_plate : Fate::refused;
            if (!is_there(file.path)) file.fate = Fate::gone;
        }
    }

    // Read anew: the refusals' reasons alone do not tell.
    [[nodiscard]] bool wants_plate(const OfferedFile& file) const {
        if (!workspace_.campaign.plate.solve) return false;
        bool wanted = false;
        const auto thrown = contained(file.path, [&] {
            const auto frames = frame::open_frames(file.path, workspace_.campaign.instruments);
            wanted =
                frames && std::any_of(frames->begin(), frames->end(), [&](const frame::Frame& one) {
                    return !one.wcs() || std::any_of(file.refused.begin(), file.refused.end(),
                                                     [&](const RefusedFrame& refused) {
                                                         return night::plate_may_mend(one, refused.problem);
                                                     });
                });
        });
        return wanted && !thrown;
    }

    const Workspace& workspace_;
    const OfferRequest& request_;
    std::string settings_;
    std::optional<ledger::Ledger> ledger_;
    bool has_ledger_ = false;
    Offered offered_;
};

}  // namespace

Result<Offered> offer_files(const Workspace& workspace, const OfferRequest& request) {
    return Offering(workspace, request).run();
}

}  // namespace emberline::tasks
