// SPDX-License-Identifier: MIT
// Disks that are full, that fail, and that may only be read.
#include <fmt/format.h>

#include <filesystem>
#include <fstream>

#include "faults/small_disk.hpp"
#include "faults/study.hpp"

namespace emberline::faults {
namespace {

namespace fs = std::filesystem;

const std::string writing[] = {"measure", "report", "export", "exclude", "sequence", "stack", "watch"};

const Measured& any_of(Study& study, int trial, std::size_t kinds) {
    const auto& all = jobs(study, writing[static_cast<std::size_t>(trial) % kinds]);
    return all[static_cast<std::size_t>(study.below(static_cast<long>(all.size())))];
}

void check_words(const Measured& measured, const Outcome& outcome, const std::string& to_do, Tally& tally) {
    if (outcome.status == measured.status) return;
    if (outcome.status != 4 && outcome.status != 1)
        tally.difference(fmt::format("{} ended with {}: {}", measured.job.name, outcome.status, outcome.err));
    if ((outcome.err + outcome.out).find(to_do) == std::string::npos)
        tally.difference(fmt::format("{} does not say '{}': {}", measured.job.name, to_do, outcome.err));
}

// A disk that takes no more, or fails, from a random byte or call on.
void failing(Study& study, Tally& tally, int trials, const std::string& fault) {
    for (int i = 0; i < trials; ++i) {
        const Measured& measured = any_of(study, i, std::size(writing) - 1);  // a watch waits for room
        const std::string campaign = study.copy(measured.job.base);
        const Outcome outcome = run_disturbed(study, measured, campaign, fault, tally);
        check_words(measured, outcome, fault == "full" ? "space" : "disk", tally);
        const Rows committed = rows_of(ledger_of(campaign));
        check_whole(measured, campaign, committed, tally);
        check_again(measured, campaign, committed, tally);
    }
}

// Nothing can be written: who must, says so; who need not, works.
void read_only(Study& study, Tally& tally, int trials) {
    const Words reading[] = {{"nights"}, {"export"}, {"report", "--dry-run"}, {"curve", "--no-picture"}};
    for (int i = 0; i < trials; ++i) {
        const Measured& measured = any_of(study, i, std::size(writing));
        const std::string campaign = study.copy(measured.job.base);
        tally.trial();
        Words words = measured.job.words;
        if (words[0] == "watch") words = {"measure"};  // a watch waits until it may
        const Outcome outcome = testing::run(on(campaign, words), disturbed("readonly", campaign));
        tally.ended(outcome);
        if (outcome.status != 4)
            tally.difference(
                fmt::format("{} ended with {}: {}", measured.job.name, outcome.status, outcome.err));
        if (outcome.err.find("ead-only") == std::string::npos)
            tally.difference(fmt::format("{} does not say 'read-only': {}", measured.job.name, outcome.err));
        if (measured.job.readable) {
            for (const Words& read : reading) {
                const Outcome there = testing::run(on(campaign, read), disturbed("readonly", campaign));
                if (there.status != 0 || there.out != testing::run(on(campaign, read)).out)
                    tally.difference(
                        fmt::format("`{}` ended with {}: {}", fmt::join(read, " "), there.status, there.err));
            }
        }
        check_whole(measured, campaign, measured.before, tally);
        check_again(measured, campaign, measured.before, tally);
    }
}

// A real one, filled but for a random rest.
void small_disk(Study& study, Tally& tally, int trials) {
    for (int i = 0; i < trials; ++i) {
        const Measured& measured = any_of(study, i, std::size(writing) - 1);
        fs::remove_all(study.path("trial"));
        const SmallDisk disk(study.path("trial"), 8192);
        if (!disk.mounted()) {
            tally.skip("only a superuser can mount a small disk to fill");
            return;
        }
        const std::string campaign = study.path("trial");
        fs::copy(measured.job.base, campaign, fs::copy_options::recursive);
        const auto room = static_cast<long>(fs::space(campaign).available);
        const long rest = std::min(room, study.below(std::min(room, measured.extent.bytes + 65536)));
        const std::string filling = campaign + "/frames/filling";
        std::ofstream(filling, std::ios::binary) << std::string(static_cast<std::size_t>(room - rest), 'x');
        tally.trial();
        const Outcome outcome = testing::run(on(campaign, measured.job.words));
        tally.ended(outcome);
        check_words(measured, outcome, "space", tally);
        // Reading needs a page of room beside the ledger.
        fs::resize_file(filling, static_cast<std::uintmax_t>(std::max(0L, room - rest - 131072)));
        const Rows committed = rows_of(ledger_of(campaign));
        fs::remove(filling);
        check_whole(measured, campaign, committed, tally);
        check_again(measured, campaign, committed, tally);
    }
}

}  // namespace

std::vector<Kind> disk_kinds() {
    return {{"full-disk", "the disk takes no more from a random byte on",
             [](Study& study, Tally& tally, int trials) { failing(study, tally, trials, "full"); }},
            {"failing-disk", "every write fails from a random one on",
             [](Study& study, Tally& tally, int trials) { failing(study, tally, trials, "fail"); }},
            {"small-disk", "a real file system, filled", small_disk},
            {"read-only", "nothing can be written", read_only}};
}

}  // namespace emberline::faults
