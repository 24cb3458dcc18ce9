// SPDX-License-Identifier: MIT
// Programs killed at any instant: at a call that changes the disk, in the middle of a write, or at any time.
#include <fmt/format.h>

#include <atomic>
#include <chrono>
#include <csignal>
#include <thread>

#include "faults/study.hpp"

namespace emberline::faults {
namespace {

using testing::Process;

// Another program that reads on while the first is disturbed: what it saw was committed.
class Witness {
  public:
    explicit Witness(std::string ledger) : ledger_(std::move(ledger)), watching_([this] { watch(); }) {}
    ~Witness() { end(); }
    Witness(const Witness&) = delete;
    Witness& operator=(const Witness&) = delete;
    // The last it saw, and what vanished before its eyes.
    void end() {
        over_ = true;
        if (watching_.joinable()) watching_.join();
    }
    [[nodiscard]] const Rows& seen() const { return seen_; }
    [[nodiscard]] const std::vector<std::string>& vanished() const { return vanished_; }

  private:
    void watch() {
        while (!over_) {
            try {
                Rows now = rows_of(ledger_);
                for (std::string& row : lost(seen_, now))
                    vanished_.push_back(std::move(row));
                seen_ = std::move(now);
            } catch (const std::exception&) {
                // Not made yet.
            }
            std::this_thread::sleep_for(std::chrono::milliseconds(2));
        }
    }

    std::string ledger_;
    Rows seen_;
    std::vector<std::string> vanished_;
    std::atomic<bool> over_{false};
    std::thread watching_;
};

Outcome ended_by(Process& process, int signal, double after_s) {
    const auto until = std::chrono::steady_clock::now() + std::chrono::duration<double>(after_s);
    while (std::chrono::steady_clock::now() < until && process.running())
        std::this_thread::sleep_for(std::chrono::microseconds(200));
    if (process.running()) process.signal(signal);
    return process.wait();
}

// Every other one at a call that changes the disk; the calls are where states differ.
Outcome killed_somewhere(Study& study, const Measured& measured, const std::string& campaign) {
    const Words words = on(campaign, measured.job.words);
    const long call = 1 + study.below(measured.extent.changes);
    switch (study.below(4)) {
        case 0: {
            Process process(words);
            return ended_by(process, SIGKILL, study.uniform() * measured.extent.seconds);
        }
        case 1:
            return testing::run(words, disturbed(fmt::format("tear {}", call), campaign));
        default:
            return testing::run(words, disturbed(fmt::format("kill {}", call), campaign));
    }
}

// What it said before the end is committed.
void check_said(const Measured& measured, const std::string& campaign, const Outcome& outcome, Tally& tally) {
    std::size_t said = 0, kept = 0;
    for (const std::string& line : testing::lines_of(outcome.out))
        said += measured.job.words.at(0) == "watch" && line.find(".fits") != std::string::npos &&
                        line.find("refused") == std::string::npos
                    ? 1
                    : 0;
    for (const auto& [key, row] : rows_of(ledger_of(campaign)))
        kept += key.starts_with("frame_fluxes ") && !measured.before.contains(key) ? 1 : 0;
    if (said > kept) tally.loss(fmt::format("{} frames were told of, {} are in the ledger", said, kept));
}

void kill(Study& study, Tally& tally, const std::string& name, int trials) {
    const std::vector<Measured>& all = jobs(study, name);
    for (int i = 0; i < trials; ++i) {
        const Measured& measured = all[static_cast<std::size_t>(i) % all.size()];
        const std::string campaign = study.copy(measured.job.base);
        tally.trial();
        Rows committed;
        if (study.below(2) == 0) {
            Witness witness(ledger_of(campaign));
            const Outcome outcome = killed_somewhere(study, measured, campaign);
            witness.end();
            tally.ended(outcome);
            for (const std::string& row : witness.vanished())
                tally.loss("before a reader's eyes: " + row);
            committed = witness.seen();
            check_said(measured, campaign, outcome, tally);
        } else {
            const Outcome outcome = killed_somewhere(study, measured, campaign);
            tally.ended(outcome);
            check_said(measured, campaign, outcome, tally);
            committed = rows_of(ledger_of(campaign));
        }
        check_whole(measured, campaign, committed, tally);
        check_again(measured, campaign, committed, tally);
    }
}

// Asked to end: what is begun is finished or left, and said by the exit status.
void interrupt(Study& study, Tally& tally, int trials) {
    const std::string names[] = {"measure", "watch", "report", "exclude", "export"};
    for (int i = 0; i < trials; ++i) {
        const std::vector<Measured>& all = jobs(study, names[static_cast<std::size_t>(i) % std::size(names)]);
        const Measured& measured = all[static_cast<std::size_t>(study.below(static_cast<long>(all.size())))];
        const std::string campaign = study.copy(measured.job.base);
        tally.trial();
        Process process(on(campaign, measured.job.words));
        const int signal = study.below(2) == 0 ? SIGINT : SIGTERM;
        const Outcome outcome = ended_by(process, signal, study.uniform() * measured.extent.seconds);
        tally.ended(outcome);
        if (outcome.status != 130 && outcome.status != 128 + signal && outcome.status != 0)
            tally.difference(
                fmt::format("{} ended with {}: {}", measured.job.name, outcome.status, outcome.err));
        const Rows committed = rows_of(ledger_of(campaign));
        check_whole(measured, campaign, committed, tally);
        check_again(measured, campaign, committed, tally);
    }
}

}  // namespace

std::vector<Kind> kill_kinds() {
    std::vector<Kind> kinds;
    for (const std::string name : {"measure", "watch", "report", "export", "exclude", "sequence", "stack"}) {
        kinds.push_back(
            {"kill-" + name, "`" + name + "` killed at any instant",
             [name](Study& study, Tally& tally, int trials) { kill(study, tally, name, trials); }});
    }
    kinds.push_back({"interrupt", "asked to end (SIGINT, SIGTERM)", interrupt});
    return kinds;
}

}  // namespace emberline::faults
