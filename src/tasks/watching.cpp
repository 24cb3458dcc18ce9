// SPDX-License-Identifier: MIT
#include "tasks/watching.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <set>

#include "ledger/ledger.hpp"
#include "tasks/landing_files.hpp"
#include "tasks/running_night.hpp"

namespace emberline::tasks {
namespace {

using Clock = std::chrono::steady_clock;
using Fate = OfferedFile::Fate;
using Verdict = LandingFiles::Verdict;

constexpr auto tick = std::chrono::milliseconds(50);
constexpr double events_gather_s = 0.1;     // they come in swarms
constexpr double looks_share = 0.2;         // of the time may be spent on looking
constexpr std::size_t fewest_together = 4;  // frames measured before the campaign is solved again,
constexpr std::size_t most_together = 256;  // twice as many each time while more are waiting

// Two remarks that differ in their numbers alone are one.
std::string without_numbers(const std::string& text) {
    std::string out;
    std::copy_if(text.begin(), text.end(), std::back_inserter(out),
                 [](char c) { return (c < '0' || c > '9') && c != '.' && c != '-' && c != '+'; });
    return out;
}

class Watching {
  public:
    Watching(const WatchWorld& world, const FolderEvents& events, const WatchRequest& request,
             const WatchPatience& patience, const std::function<void(const WatchEvent&)>& tell)
        : world_(world),
          events_(events),
          request_(request),
          patience_(patience),
          tell_(tell),
          files_({request.settle_s, request.give_up_s}),
          busy_(Clock::now()) {}

    Result<WatchOutcome> run() {
        for (;;) {
            const SteadyTime now = Clock::now();
            if (stop_asked()) {
                stop();
                break;
            }
            follow_look(now);
            if (!seen_once_ && gone_) return fail(*gone_);
            if (auto good = follow_offer(now); !good) {
                tell_left();
                return fail(good.error());
            }
            tell_news(now);
            if (at_end(now)) break;
            if (events_.wait(tick) && !event_) event_ = Clock::now();
        }
        tell_left();
        leave();
        return outcome_;
    }

  private:
    [[nodiscard]] bool stop_asked() const { return request_.stop != nullptr && request_.stop->load(); }

    // Looks ---------------------------------------------------------------------------------------------

    [[nodiscard]] bool look_is_due(SteadyTime now) const {
        if (!looked_) return true;
        const double since_s = seconds_between(*looked_, now);
        if (since_s < looking_s_ / looks_share) return false;
        if (since_s >= patience_.look_s) return true;
        if (event_ && seconds_between(*event_, now) >= events_gather_s) return true;
        const auto rest = files_.next_rest();
        return rest && *rest <= now && since_s >= request_.settle_s / 4.0;
    }

    void follow_look(SteadyTime now) {
        if (!look_.under_way()) {
            if (!look_is_due(now)) return;
            event_.reset();
            look_.start(world_.list);
            return;
        }
        const double takes_s = look_.seconds(now);
        if (!silent_ && takes_s >= patience_.silent_s) {
            silent_ = true;
            tell_state(WatchEvent::Kind::folder_silent,
                       fmt::format("The folder does not answer since {:.0f} s: it is waited for.", takes_s));
        }
        auto found = look_.take();
        if (!found) return;
        looked_ = now;
        looking_s_ = takes_s;
        if (std::exchange(silent_, false) && *found)
            tell_state(WatchEvent::Kind::folder_back, "The folder answers again.");
        if (!*found) {
            if (gone_) return;
            gone_ = found->error();
            if (!seen_once_) return;
            WatchEvent event{.kind = WatchEvent::Kind::folder_gone};
            event.problem = gone_;
            event.sentence = "The folder is gone: it is waited for.";
            tell_(event);
            return;
        }
        if (gone_) tell_state(WatchEvent::Kind::folder_back, "The folder is back.");
        gone_.reset();
        seen_once_ = true;
        files_.see(**found, now);
        if (const auto change = files_.latest_change()) busy_ = std::max(busy_, *change);
    }

    // Offers --------------------------------------------------------------------------------------------

    Result<void> follow_offer(SteadyTime now) {
        if (offer_.under_way()) {
            auto offered = offer_.take();
            if (!offered) return {};
            busy_ = now;
            return settle(*offered, now);
        }
        if (retry_ && now < *retry_) return {};
        if (!files_.waiting()) return {};
        in_hand_ = files_.take();
        start_offer({.files = in_hand_, .most_fresh = together_, .solve_anyway = solve_waits_});
        return {};
    }

    void start_offer(OfferRequest request) {
        request.threads = request_.threads;
        request.stop = stop_.get();
        // What is left behind may go on longer than this object.
        offer_.start(
            [offer = world_.offer, request = std::move(request), stop = stop_] { return offer(request); });
    }

    Result<void> settle(const Result<Offered>& offered, SteadyTime now) {
        if (!offered) return settle_failure(offered.error(), now);
        if (retry_) tell_state(WatchEvent::Kind::note, "The ledger can be used again.");
        retry_.reset();
        retry_s_ = patience_.retry_s;
        const bool any = std::any_of(offered->files.begin(), offered->files.end(), [](const OfferedFile& f) {
            return f.fate == Fate::measured && !f.measurements.empty();
        });
        if (any) {
            ++successes_;
            files_.try_plates_again(false);
        }
        std::size_t late = 0;
        for (const OfferedFile& file : offered->files) {
            known_at_start_ += at_start_ && file.fate == Fate::known ? 1 : 0;
            late += file.fate == Fate::later ? 1 : 0;
            judge(file, now);
        }
        together_ = late > 0 ? std::min(2 * together_, most_together) : fewest_together;
        if (offered->outcome && !offered->outcome->interrupted) {
            solve_waits_ = false;
            solution_ = offered->outcome->solution;
        }
        tell_offered(*offered);
        if (at_start_ && late == 0) {
            at_start_ = false;
            if (known_at_start_ > 0) tell_known();
        }
        return {};
    }

    // Only what passes by itself is waited for.
    Result<void> settle_failure(const Problem& problem, SteadyTime now) {
        for (const std::string& path : in_hand_)
            files_.judge(path, Verdict::later, std::nullopt, now);
        if (!ledger::may_pass(problem)) return fail(problem);
        if (!retry_ || problem.what != failure_) {
            WatchEvent event{.kind = WatchEvent::Kind::note};
            event.problem = problem;
            event.sentence = "Nothing can be measured just now; it is tried again.";
            tell_(event);
        }
        failure_ = problem.what;
        retry_ = now + std::chrono::duration_cast<Clock::duration>(std::chrono::duration<double>(retry_s_));
        retry_s_ = std::min(2.0 * retry_s_, patience_.longest_retry_s);
        return {};
    }

    void judge(const OfferedFile& file, SteadyTime now) {
        std::optional<Problem> problem;
        if (!file.refused.empty()) problem = file.refused.front().problem;
        switch (file.fate) {
            case Fate::measured:
            case Fate::known:
            case Fate::renamed:
                files_.judge(file.path, Verdict::done, problem, now);
                break;
            case Fate::refused:
                files_.judge(file.path, Verdict::refused, problem, now);
                break;
            case Fate::no_plate:
                files_.judge(file.path, Verdict::no_plate, problem, now);
                break;
            case Fate::unwhole:
                files_.judge(file.path, Verdict::unwhole, problem, now);
                break;
            case Fate::unsolved:
            case Fate::gone:
            case Fate::later:
                files_.judge(file.path, Verdict::later, std::nullopt, now);
                break;
        }
    }

    // Telling -------------------------------------------------------------------------------------------

    void tell_state(WatchEvent::Kind kind, std::string sentence) const {
        WatchEvent event{.kind = kind};
        event.sentence = std::move(sentence);
        tell_(event);
    }

    void tell_offered(const Offered& offered) {
        std::vector<WatchEvent> events;
        for (const OfferedFile& file : offered.files) {
            if (file.fate == Fate::measured) {
                add_measured(events, file);
            } else if (file.fate == Fate::renamed) {
                WatchEvent& event = events.emplace_back();
                event.frame = file.name;
                event.sentence = fmt::format("is {} under a new name.", file.other_name);
            } else if (file.fate == Fate::known && !file.other_name.empty() && !at_start_) {
                WatchEvent& event = events.emplace_back();
                event.frame = file.name;
                event.sentence = fmt::format("is a copy of {}, which was measured.", file.other_name);
            }
            if (file.fate == Fate::unsolved) unsolved_.push_back(file.name);
            if (file.fate != Fate::unwhole && file.fate != Fate::gone) add_refused(events, file);
        }
        if (offered.outcome) {
            for (const std::string& remark : offered.outcome->remarks) {
                if (!remarks_.insert(without_numbers(remark)).second) continue;
                WatchEvent& event = events.emplace_back();
                event.sentence = remark;
            }
        }
        add_running(events);
        for (const WatchEvent& event : events)
            tell_(event);
    }

    void add_measured(std::vector<WatchEvent>& events, const OfferedFile& file) {
        ++outcome_.measured;
        unused_names_.erase(file.name);
        WatchEvent& event = events.emplace_back();
        event.kind = WatchEvent::Kind::measured;
        event.frame = file.name;
        event.measurements = file.measurements;
        if (file.measurements.empty()) event.sentence = "measured; there is no magnitude yet.";
        for (const night::FrameMeasurement& m : file.measurements) {
            if (!m.used) unused_names_.insert(file.name);
        }
    }

    // A frame that is tried again for its plate solution is told of once for each reason.
    void add_refused(std::vector<WatchEvent>& events, const OfferedFile& file) {
        for (const RefusedFrame& refused : file.refused) {
            const std::string reason = without_numbers(refused.problem.what);
            const auto [at, fresh] = refused_.try_emplace(refused.frame, reason);
            if (!fresh && at->second == reason && file.fate == Fate::no_plate) continue;
            at->second = reason;
            WatchEvent& event = events.emplace_back();
            event.kind = WatchEvent::Kind::refused;
            event.frame = refused.frame;
            event.problem = refused.problem;
        }
        if (file.fate == Fate::measured && file.refused.empty()) refused_.erase(file.name);
    }

    void add_running(std::vector<WatchEvent>& events) {
        std::set<std::string> told;
        for (auto event = events.rbegin(); event != events.rend(); ++event) {
            for (const night::FrameMeasurement& m : event->measurements) {
                if (!told.insert(m.night).second) continue;
                event->running = running_night(solution_, m.night, request_.until_mag);
                if (outcome_.night.empty() || m.night >= outcome_.night.front().value.night)
                    outcome_.night = event->running;
            }
        }
        if (told.empty() || outcome_.night.empty()) return;
        outcome_.reached = request_.until_mag && goal_reached(outcome_.night, *request_.until_mag);
    }

    // At the start: what lies there from before, and how far the latest night had come.
    void tell_known() const {
        WatchEvent event{.kind = WatchEvent::Kind::note};
        event.sentence = known_at_start_ == 1
                             ? "One frame here is known already."
                             : fmt::format("{} frames here are known already.", known_at_start_);
        if (!solution_.nights.empty())
            event.running = running_night(solution_, solution_.nights.back().night, request_.until_mag);
        tell_(event);
    }

    void tell_news(SteadyTime now) {
        for (const LandingFiles::News& news : files_.news(now))
            tell_file(news, false);
    }

    void tell_file(const LandingFiles::News& news, bool at_end) {
        using NewsKind = LandingFiles::News::Kind;
        WatchEvent event{.kind = WatchEvent::Kind::waiting};
        event.frame = news.name;
        event.problem = news.problem;
        if (news.kind == NewsKind::being_written) {
            event.sentence = "is still being written: it is waited for.";
        } else if (news.kind == NewsKind::unwhole) {
            event.sentence = "is not whole, or no frame: it is waited for.";
        } else if (news.kind == NewsKind::growing_on && !at_end) {
            event.sentence = fmt::format(
                "has kept changing for {:.0f} s. It is waited for without a word "
                "from here on, and holds up no other.",
                request_.give_up_s);
        } else {
            event.kind = WatchEvent::Kind::refused;
            if (!event.problem) {
                event.problem = Problem{.what = "It was still being written when the watch ended.",
                                        .where = news.name,
                                        .mend = "Measure it once it is whole."};
            }
            refused_[news.name] = without_numbers(event.problem->what);
        }
        tell_(event);
    }

    void tell_left() {
        for (const LandingFiles::News& news : files_.left())
            tell_file(news, true);
        outcome_.refused = refused_.size();
        outcome_.unused = !unused_names_.empty();
    }

    // Ends ----------------------------------------------------------------------------------------------

    // Not while there are files in hand, or at rest, or on the way.
    [[nodiscard]] bool at_end(SteadyTime now) {
        if (offer_.under_way() || files_.waiting() || retry_) return false;
        if (outcome_.reached) return true;
        if (!request_.idle_s || !seen_once_ || files_.settling()) return false;
        if (seconds_between(busy_, now) < *request_.idle_s) return false;
        // Frames without a plate solution get their last chance.
        if (successes_ == last_chance_) return true;
        last_chance_ = successes_;
        files_.try_plates_again(true);
        return !files_.waiting();
    }

    // Frames in hand are finished or dropped; what they gave is solved with. A disk that holds them is left
    // to itself.
    void stop() {
        outcome_.interrupted = true;
        stop_->store(true);
        if (offer_.under_way()) {
            tell_state(WatchEvent::Kind::note,
                       "Stopping: frames in hand are finished first. Once more ends the program at once.");
            if (!wait_for_offer(patience_.grace_s)) return;
        }
        if (unsolved_.empty()) return;
        stop_ = std::make_shared<std::atomic<bool>>(false);
        const std::vector<std::string> names = unsolved_;
        start_offer({.files = {}, .most_fresh = 0, .solve_anyway = true});
        if (wait_for_offer(patience_.solve_s)) tell_unsolved(names);
    }

    bool wait_for_offer(double most_s) {
        const SteadyTime since = Clock::now();
        while (seconds_between(since, Clock::now()) < most_s) {
            if (const auto offered = offer_.take()) {
                (void)settle(*offered, Clock::now());
                return true;
            }
            (void)events_.wait(tick);
        }
        return false;
    }

    // Frames that were measured when the stop came, before the campaign was solved.
    void tell_unsolved(const std::vector<std::string>& names) {
        std::vector<WatchEvent> events;
        for (const std::string& name : names) {
            OfferedFile file;
            file.name = name;
            std::copy_if(solution_.frames.begin(), solution_.frames.end(),
                         std::back_inserter(file.measurements),
                         [&](const night::FrameMeasurement& m) { return m.frame == name; });
            if (!file.measurements.empty()) add_measured(events, file);
        }
        add_running(events);
        for (const WatchEvent& event : events)
            tell_(event);
    }

    void leave() {
        const SteadyTime since = Clock::now();
        while (look_.under_way() && !silent_ && !look_.take() && seconds_between(since, Clock::now()) < 1.0)
            (void)events_.wait(tick);
        outcome_.left_behind = look_.under_way() || offer_.under_way();
    }

    const WatchWorld& world_;
    const FolderEvents& events_;
    const WatchRequest& request_;
    const WatchPatience& patience_;
    const std::function<void(const WatchEvent&)>& tell_;
    LandingFiles files_;
    WatchOutcome outcome_;

    Errand<std::vector<FileSeen>> look_;
    std::optional<SteadyTime> looked_, event_;
    double looking_s_ = 0.0;
    bool silent_ = false, seen_once_ = false;
    std::optional<Problem> gone_;

    Errand<Offered> offer_;
    std::shared_ptr<std::atomic<bool>> stop_ = std::make_shared<std::atomic<bool>>(false);
    std::vector<std::string> in_hand_, unsolved_;
    std::size_t together_ = fewest_together;
    bool solve_waits_ = true;  // the ledger may hold frames that a killed program never solved with
    std::optional<SteadyTime> retry_;
    double retry_s_ = patience_.retry_s;
    std::string failure_;

    night::Solution solution_;
    bool at_start_ = true;
    std::size_t known_at_start_ = 0;
    std::size_t successes_ = 0, last_chance_ = 0;
    std::set<std::string> remarks_, unused_names_;
    std::map<std::string, std::string> refused_;  // frame -> reason
    SteadyTime busy_;                             // something landed, or was measured
};

}  // namespace

Result<WatchOutcome> watch_world(const WatchWorld& world, const FolderEvents& events,
                                 const WatchRequest& request, const WatchPatience& patience,
                                 const std::function<void(const WatchEvent&)>& tell) {
    return Watching(world, events, request, patience, tell).run();
}

}  // namespace emberline::tasks
