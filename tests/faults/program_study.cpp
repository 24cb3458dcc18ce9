// SPDX-License-Identifier: MIT
// Four programs on one ledger at once: two measure a half of the frames each, one reads, one sets aside.
// Together they come to what they come to one after the other.
#include <fmt/format.h>

#include <memory>

#include "faults/study.hpp"

namespace emberline::faults {
namespace {

using testing::Process;

const Words first_half = {"measure", "-j", "1", "{campaign}/frames/2024-03-14",
                          "{campaign}/frames/2024-03-18"};
const Words second_half = {"measure", "-j", "2", "{campaign}/frames/2024-03-22",
                           "{campaign}/frames/2024-03-26"};
const Words excluding = {"exclude", "2024-03-14", "--reason", "the Moon"};
const Words reading[] = {{"nights"}, {"export", "--level", "frame"}, {"export"}, {"report", "--dry-run"}};

void together(Study& study, Tally& tally, int trials) {
    // The first night is there from before, so that something can be set aside at once.
    const std::string& base = study.campaign("begun", [&](const std::string& place) {
        std::filesystem::copy(study.fresh(), place, std::filesystem::copy_options::recursive);
        must(on(place, {"measure", "{campaign}/frames/2024-03-14"}));
    });
    Measured alone{.job = {.name = "four programs", .base = base, .words = {"measure", "--again"}},
                   .before = rows_of(ledger_of(base))};
    const std::string undisturbed = study.copy(base);
    for (const Words& words : {first_half, second_half, excluding})
        must(on(undisturbed, words));
    alone.answer = answer_of(undisturbed);
    alone.whole = whole_files(undisturbed);
    for (int i = 0; i < trials; ++i) {
        const std::string campaign = study.copy(base);
        tally.trial();
        std::vector<std::unique_ptr<Process>> writers;
        for (const Words& words : {first_half, second_half, excluding})
            writers.push_back(std::make_unique<Process>(on(campaign, words)));
        for (bool busy = true; busy;) {
            const Outcome read = testing::run(on(campaign, reading[study.below(std::size(reading))]));
            // With all set aside that is measured yet, there is nothing to tell.
            if (read.status != 0 && read.status != 3)
                tally.difference(fmt::format("a reader ended with {}: {}", read.status, read.err));
            busy = false;
            for (const auto& writer : writers)
                busy = writer->running() || busy;
        }
        for (const auto& writer : writers) {
            const Outcome outcome = writer->wait();
            tally.ended(outcome);
            if (outcome.status != 0)
                tally.difference(fmt::format("a writer ended with {}: {}", outcome.status, outcome.err));
        }
        check_whole(alone, campaign, {}, tally);
        // As they left it, before anything is done again.
        if (const std::string where = differ(alone.answer, answer_of(campaign)); !where.empty())
            tally.difference("together: " + where);
        check_again(alone, campaign, {}, tally);
    }
}

}  // namespace

std::vector<Kind> program_kinds() {
    return {{"four-programs", "two measure, one reads, one sets aside, on one ledger", together}};
}

}  // namespace emberline::faults
