// SPDX-License-Identifier: MIT
// The same input gives the same bytes, with one thread and with two.
#include <fmt/format.h>

#include <filesystem>

#include "faults/study.hpp"

namespace emberline::faults {
namespace {

namespace fs = std::filesystem;

// One after the other: what each makes, the next may read.
const Words steps[] = {
    {"masters", "build", "{campaign}/calibration", "--replace"},
    {"measure"},
    {"exclude", "2024-03-14", "--reason", "the Moon"},
    {"curve", "--picture", "{campaign}/curve.svg"},
    {"stack", "--night", "2024-03-18", "--replace"},
    {"sequence", "audit"},
    {"sequence", "transform", "--night", "2024-03-18"},
    {"report"},
    {"export", "--format", "votable", "-o", "{campaign}/nights.xml"},
    {"export", "--level", "frame", "--format", "fits", "-o", "{campaign}/frames.fits"},
    {"forecast"},
    {"measure", "--again"},
};

struct Said {
    Answer answer;
    std::vector<std::string> words;
};

Said all_of_it(Study& study, const std::string& base, const char* threads, Tally& tally) {
    const std::string campaign = study.copy(base);
    Said said;
    for (const Words& step : steps) {
        Words words = step;
        words.insert(words.end(), {"-j", threads});
        const Outcome outcome = testing::run(on(campaign, words));
        // Without calibration frames there are no masters to build.
        const bool nothing_to_build = step[0] == "masters" && !fs::exists(campaign + "/calibration");
        if (outcome.status > 1 && !nothing_to_build)
            tally.difference(fmt::format("{} ended with {}: {}", step[0], outcome.status, outcome.err));
        said.words.push_back(
            fmt::format("{} {}\n{}{}", fmt::join(step, " "), outcome.status, outcome.out, outcome.err));
    }
    said.answer = answer_of(campaign);
    return said;
}

void threads(Study& study, Tally& tally, int trials) {
    const std::string& plain = study.campaign("galaxy", [](const std::string& place) {
        must({"rehearse", place, "-q", "--nights", "3", "--frames", "2", "--width", "160", "--height", "160",
              "--stars", "8", "--band", "B", "--band", "V"});
    });
    const std::string& mosaic = study.campaign("mosaic", [](const std::string& place) {
        must({"rehearse", place, "-q", "--nights", "4", "--frames", "2", "--width", "160", "--height", "160",
              "--stars", "8", "--mosaic", "RGGB", "--calibration", "5"});
    });
    for (int i = 0; i < trials; ++i) {
        for (const std::string& base : {plain, mosaic}) {
            tally.trial();
            const Said one = all_of_it(study, base, "1", tally), two = all_of_it(study, base, "2", tally);
            for (std::size_t k = 0; k < one.words.size(); ++k) {
                if (one.words[k] != two.words[k])
                    tally.difference(
                        fmt::format("two threads say: {}\none says: {}", two.words[k], one.words[k]));
            }
            const std::string where = differ(one.answer, two.answer);
            if (!where.empty()) tally.difference("with two threads " + where);
            tally.ended(where.empty() ? "the same" : "different");
        }
    }
}

}  // namespace

std::vector<Kind> thread_kinds() {
    return {{"threads", "everything with one thread and with two", threads}};
}

}  // namespace emberline::faults
