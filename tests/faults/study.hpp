// SPDX-License-Identifier: MIT
// tests/faults/study — the parts of the fault study: a job of the program is done once undisturbed, then from
// the same start disturbed at random instants and done again. Three things must hold each time: the ledger is
// sound, nothing that was committed is missing, and the end is that of the undisturbed run to the last digit.
#pragma once

#include <cstdint>
#include <functional>
#include <map>
#include <memory>
#include <random>
#include <set>
#include <string>
#include <vector>

#include "faults/ledger_rows.hpp"
#include "program/process.hpp"

namespace emberline::faults {

using testing::Outcome;
using testing::Words;

// A line of the fault table.
class Tally {
  public:
    explicit Tally(std::string kind) : kind_(std::move(kind)) {}
    void trial() { ++trials_; }
    void ended(const std::string& how) { ++ends_[how]; }
    void ended(const Outcome& outcome);
    // Both are told at once, on standard error.
    void loss(const std::string& what);        // something committed is missing, or half-written, or unsound
    void difference(const std::string& what);  // another end than undisturbed, or a wrong way of failing
    void skip(const std::string& why) { skipped_ = why; }

    [[nodiscard]] const std::string& kind() const { return kind_; }
    [[nodiscard]] int trials() const { return trials_; }
    [[nodiscard]] bool good() const { return losses_ == 0 && differences_ == 0; }
    [[nodiscard]] std::string line() const;

  private:
    std::string kind_;
    int trials_ = 0, losses_ = 0, differences_ = 0;
    std::map<std::string, int> ends_;
    std::string skipped_;
};

// What a campaign says, to the last digit.
struct Answer {
    std::multiset<std::string> rows;           // of the ledger
    std::map<std::string, std::string> texts;  // tables, the report, files: name -> bytes
};
[[nodiscard]] Answer answer_of(const std::string& campaign);
// Where they differ; empty: nowhere.
[[nodiscard]] std::string differ(const Answer& wanted, const Answer& found);

// The extent of an undisturbed run.
struct Extent {
    double seconds = 0.0;
    long changes = 0, bytes = 0, readings = 0;
};

// What is disturbed.
struct Job {
    std::string name;
    std::string base;  // the campaign before
    Words words;
    Words again = {};        // what brings it to its end afterwards; empty: the same
    bool readable = true;    // `nights` works before
    bool needs_disk = true;  // it cannot do its work where nothing can be written
    std::function<void(const std::string& campaign, Tally& tally)> judge = {};  // besides, after the fault
};

// A job with what it comes to undisturbed.
struct Measured {
    Job job;
    int status = 0;  // 1: done, with something to say
    Extent extent;
    Answer answer;
    Rows before;
    std::set<std::string> whole;  // contents that a file may have: all that were there before, or come to be
};

class Study {
  public:
    explicit Study(std::uint64_t seed) : random_(seed) {}

    [[nodiscard]] std::string path(const std::string& inside) const { return folder_.path(inside); }
    // Made by the program once: `name`, then the same each time.
    const std::string& campaign(const std::string& name, const std::function<void(const std::string&)>& make);
    // An empty campaign of eight frames and four nights, with a comparison sequence.
    const std::string& fresh();
    // With the first two nights measured, one star set aside, and reported.
    const std::string& half_measured();
    // All of it measured; the first two nights reported.
    const std::string& measured();

    // A copy that a trial may spoil; the one before is gone.
    [[nodiscard]] std::string copy(const std::string& campaign);
    [[nodiscard]] Measured undisturbed(Job job);

    [[nodiscard]] long below(long n) { return std::uniform_int_distribution<long>(0, n - 1)(random_); }
    [[nodiscard]] double uniform() { return std::uniform_real_distribution<double>(0.0, 1.0)(random_); }

  private:
    testing::Folder folder_;
    std::mt19937_64 random_;
    std::map<std::string, std::string> made_;
};

// The program with `fault` told to the injector, on files below `under`.
[[nodiscard]] testing::Setting disturbed(const std::string& fault, const std::string& under, Words more = {});
// The job there, with `fault` at a random one of its bytes ("full") or of its calls that change the disk.
[[nodiscard]] Outcome run_disturbed(Study& study, const Measured& measured, const std::string& campaign,
                                    const std::string& fault, Tally& tally);
// Succeeds, or the study cannot go on.
Outcome must(const Words& words);

[[nodiscard]] std::string ledger_of(const std::string& campaign);
[[nodiscard]] Words on(const std::string& campaign, Words words);  // with -q -c

// Contents of the files there, in full.
[[nodiscard]] std::set<std::string> whole_files(const std::string& campaign);

// Ledger sound; no row of `committed` lost; no file half-written.
void check_whole(const Measured& measured, const std::string& campaign, const Rows& committed, Tally& tally);
// Done again, the end is the undisturbed one.
void check_again(const Measured& measured, const std::string& campaign, const Rows& committed, Tally& tally);

// The kinds, a file each.
struct Kind {
    std::string name;
    std::string of;  // what is told of it
    std::function<void(Study&, Tally&, int trials)> run;
};
[[nodiscard]] std::vector<Kind> kill_kinds();       // kill_study.cpp
[[nodiscard]] std::vector<Kind> migration_kinds();  // migration_study.cpp
[[nodiscard]] std::vector<Kind> disk_kinds();       // disk_study.cpp
[[nodiscard]] std::vector<Kind> frame_kinds();      // frame_study.cpp
[[nodiscard]] std::vector<Kind> program_kinds();    // program_study.cpp
[[nodiscard]] std::vector<Kind> thread_kinds();     // thread_study.cpp

// The jobs that kills, full disks and signals share (jobs.cpp). Each is measured once.
[[nodiscard]] const std::vector<Measured>& jobs(Study& study, const std::string& name);

}  // namespace emberline::faults
