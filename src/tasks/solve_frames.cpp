// SPDX-License-Identifier: MIT
#include "tasks/solve_frames.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <filesystem>
#include <map>
#include <mutex>
#include <numeric>
#include <set>
#include <utility>

#include "frame/calibration.hpp"
#include "frame/frame.hpp"
#include "frame/solved_copy.hpp"
#include "ledger/ledger.hpp"
#include "night/plate_doubt.hpp"
#include "night/plate_finder.hpp"
#include "numerics/share_out.hpp"
#include "tasks/contained.hpp"
#include "tasks/find_files.hpp"
#include "tasks/measure_file.hpp"
#include "tasks/solve_means.hpp"

namespace emberline::tasks {
namespace {

namespace fs = std::filesystem;

std::string absolute(const std::string& path) {
    std::error_code error;
    const fs::path whole = fs::absolute(path, error);
    return error ? path : whole.string();
}

// Below the folder that all of the frames share, so that two nights' frames of one name do not meet.
std::vector<std::string> names_of_copies(const std::vector<std::string>& files) {
    std::optional<fs::path> shared;
    for (const std::string& file : files) {
        const fs::path parent = fs::path(absolute(file)).lexically_normal().parent_path();
        if (!shared) shared = parent;
        const auto [a, b] = std::mismatch(shared->begin(), shared->end(), parent.begin(), parent.end());
        fs::path both;
        std::for_each(shared->begin(), a, [&](const fs::path& part) { both /= part; });
        shared = both;
    }
    std::vector<std::string> names;
    for (const std::string& file : files) {
        std::string name = fs::path(absolute(file)).lexically_normal().lexically_relative(*shared).string();
        if (name.ends_with(".gz")) name.resize(name.size() - 3);
        names.push_back(std::move(name));
    }
    return names;
}

class Solving {
  public:
    Solving(const Workspace* workspace, const SolveRequest& request, const std::vector<std::string>& files,
            PlateMeans& means, ledger::Ledger* ledger)
        : request_(request),
          files_(files),
          means_(means),
          ledger_(ledger),
          folder_(workspace != nullptr ? workspace->campaign.folder : "."),
          threads_(numerics::threads_for(request.threads)) {
        if (request.copies) copies_ = names_of_copies(files);
    }

    Result<void> run(SolveOutcome& outcome) {
        outcome.frames.resize(files_.size());
        done_.assign(files_.size(), 0);
        std::vector<std::size_t> all(files_.size());
        std::iota(all.begin(), all.end(), std::size_t{0});
        solve_all(all, outcome.frames);
        if (!means_.finder->reference() && !stopped()) try_again(outcome.frames);
        if (storage_) return fail(*storage_);
        outcome.interrupted = stopped();
        std::size_t i = 0;
        std::erase_if(outcome.frames, [&](const SolvedFrame&) { return done_[i++] == 0; });
        return {};
    }

  private:
    [[nodiscard]] bool stopped() const {
        return request_.stop != nullptr && request_.stop->load(std::memory_order_relaxed);
    }
    [[nodiscard]] bool given_up() {
        const std::scoped_lock lock(one_at_a_time_);
        return storage_.has_value();
    }
    void tell() {
        const std::scoped_lock lock(one_at_a_time_);
        ++told_;
        if (request_.progress) request_.progress(told_, files_.size());
    }

    void solve_all(const std::vector<std::size_t>& which, std::vector<SolvedFrame>& frames) {
        numerics::share_out(which.size(), threads_, [&](std::size_t k) {
            if (stopped() || given_up()) return;
            const std::size_t i = which[k];
            if (auto thrown = contained(files_[i], [&] { frames[i] = solve(i); })) {
                frames[i] = {};
                frames[i].frame = frame_name(files_[i], folder_);
                frames[i].problem = std::move(*thrown);
            }
            if (std::exchange(done_[i], 1) == 0) tell();
        });
    }

    // The frame with the most stars may show more of those that the others have than the catalogue knows.
    void try_again(std::vector<SolvedFrame>& frames) {
        std::vector<std::size_t> refused;
        for (std::size_t i = 0; i < frames.size(); ++i) {
            if (unmatched_.contains(i)) refused.push_back(i);
        }
        const auto best = std::max_element(
            frames.begin(), frames.end(),
            [](const SolvedFrame& a, const SolvedFrame& b) { return a.matched < b.matched; });
        if (refused.empty() || best == frames.end() || best->matched == 0) return;
        const auto i = static_cast<std::size_t>(best - frames.begin());
        const auto plate = plates_.find(i);
        const auto opened = frame::open_frames(files_[i], means_.campaign.instruments, &means_.masters);
        const auto print = frame::fingerprint(files_[i]);
        if (plate == plates_.end() || !opened || !print) return;
        std::vector<frame::Frame> solved;
        for (const frame::Frame& one : *opened)
            solved.push_back(one.with_plate(plate->second, {true, static_cast<int>(best->matched), 0.0}));
        auto reference =
            night::PlateFinder::reference_from(night::telling_frame(solved), *print, best->frame);
        if (!reference) return;
        means_.finder->use(std::move(*reference));
        solve_all(refused, frames);
    }

    [[nodiscard]] SolvedFrame solve(std::size_t i) {
        SolvedFrame one;
        const std::string& path = files_[i];
        one.frame = frame_name(path, folder_);
        const auto print = frame::fingerprint(path);
        if (!print) {
            one.problem = print.error();
            return one;
        }
        const auto frames = frame::open_frames(path, means_.campaign.instruments, &means_.masters);
        if (!frames) {
            one.problem = frames.error();
            return one;
        }
        const frame::Frame& first = frames->front();
        one.had_solution = first.wcs().has_value();
        if (one.had_solution && !request_.even_if_solved) return one;
        const auto& reference = means_.finder->reference();
        const bool itself = means_.others && reference && reference->fingerprint == *print;
        const auto found = (itself ? means_.others : means_.finder)->find(*frames);
        if (!found) {
            one.problem = found.error();
            note_unmatched(i);
            return one;
        }
        describe(*found, first, one);
        if (!keep(i, *found, *print)) return one;
        if (request_.copies) copy(i, *found, one);
        return one;
    }

    static void describe(const night::FoundPlate& found, const frame::Frame& first, SolvedFrame& one) {
        const stars::PlateSolution& solution = found.solution;
        const frame::Wcs& wcs = solution.fit.wcs;
        one.against = found.against;
        one.order = solution.fit.order;
        one.detected = found.field.stars.size();
        one.references = solution.references_in_field;
        one.matched = solution.matched;
        one.rms_arcsec = solution.fit.rms_arcsec;
        one.false_probability = solution.false_probability;
        one.log_odds = solution.log_odds;
        one.scale_arcsec_per_px = wcs.scale_arcsec_per_px();
        one.position_angle_deg = wcs.position_angle_of_y().degrees();
        one.mirrored = wcs.mirrored();
        const frame::FrameFacts& facts = first.facts();
        const int width = facts.stored_width_px(), height = facts.stored_height_px();
        if (const auto middle = wcs.sky({(width - 1) / 2.0, (height - 1) / 2.0})) one.middle = *middle;
        if (!one.had_solution) return;
        // Of a mosaic's colour, which is what the frame speaks of, its solution is for the stored pixels.
        const auto header = frame::Wcs::parse(first.header().raw());
        if (!header) return;
        if (const auto off = night::plate_difference(*header, wcs, width, height)) {
            one.header_off_arcsec = off->middle_arcsec;
            one.header_off_corner_arcsec = off->most_arcsec;
        }
    }

    void note_unmatched(std::size_t i) {
        const std::scoped_lock lock(one_at_a_time_);
        unmatched_.insert(i);
    }

    // False where the ledger failed: then nothing goes on.
    bool keep(std::size_t i, const night::FoundPlate& found, const std::string& fingerprint) {
        const std::scoped_lock lock(one_at_a_time_);
        unmatched_.erase(i);
        plates_.emplace(i, found.solution.fit.wcs);
        if (ledger_ == nullptr) return true;
        const auto kept = ledger_->keep_plate(kept_plate(fingerprint, found));
        if (!kept) storage_ = kept.error();
        return kept.has_value();
    }

    void copy(std::size_t i, const night::FoundPlate& found, SolvedFrame& one) {
        const fs::path to = fs::path(*request_.copies) / copies_[i];
        std::error_code error;
        fs::create_directories(to.parent_path(), error);
        const auto written = frame::write_solved_copy(
            files_[i], to.string(), found.solution.fit.cards,
            {fmt::format("Plate solution by {}: {} stars matched with {}, residuals {:.2f} arcsec.", software,
                         one.matched, one.against, one.rms_arcsec)});
        if (written) {
            one.copy = to.string();
            return;
        }
        if (written.error().kind == ProblemKind::storage) {
            const std::scoped_lock lock(one_at_a_time_);
            storage_ = written.error();
            return;
        }
        SolvedFrame refused;
        refused.frame = one.frame;
        refused.had_solution = one.had_solution;
        refused.problem = written.error();
        one = refused;
    }

    const SolveRequest& request_;
    const std::vector<std::string>& files_;
    PlateMeans& means_;
    ledger::Ledger* ledger_;
    std::string folder_;
    std::vector<std::string> copies_;
    int threads_;
    std::vector<char> done_;    // each its own thread's
    std::mutex one_at_a_time_;  // what follows, and the ledger
    std::map<std::size_t, frame::Wcs> plates_;
    std::set<std::size_t> unmatched_;
    std::optional<Problem> storage_;
    std::size_t told_ = 0;
};

}  // namespace

Result<SolveOutcome> solve_frames(const Workspace* workspace, const SolveRequest& request) {
    if (workspace == nullptr && !request.catalogue && !request.reference) {
        return fail({.what = "There is nothing to match the frames with.",
                     .where = {},
                     .mend = "Name a campaign, a catalogue of the field, or a solved frame of it.",
                     .kind = ProblemKind::request});
    }
    const std::string skip = request.copies         ? *request.copies
                             : workspace != nullptr ? workspace->campaign.path("out")
                                                    : std::string();
    const auto files = find_frame_files(request.places, skip);
    if (!files) return fail(files.error());
    if (files->empty()) return fail(no_frames_in(request.places));
    std::optional<ledger::Ledger> ledger;
    if (workspace != nullptr) {
        auto opened = ledger::Ledger::open(workspace->ledger_path(), ledger::Ledger::Access::write);
        if (!opened) return fail(opened.error());
        ledger.emplace(std::move(*opened));
    }
    auto means = plate_means(workspace, request, *files, ledger ? &*ledger : nullptr);
    if (!means) return fail(means.error());
    SolveOutcome outcome;
    outcome.remarks = (*means)->remarks;
    Solving solving(workspace, request, *files, **means, ledger ? &*ledger : nullptr);
    if (auto good = solving.run(outcome); !good) return fail(good.error());
    return outcome;
}

}  // namespace emberline::tasks
