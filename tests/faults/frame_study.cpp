// SPDX-License-Identifier: MIT
// Frames that vanish, shrink or become others while they are read.
#include <fmt/format.h>

#include <filesystem>
#include <fstream>

#include "faults/study.hpp"

namespace emberline::faults {
namespace {

namespace fs = std::filesystem;

constexpr std::streamoff fits_block = 2880;

// The same frames with the last bit of every pixel turned: other files, of the same sky.
void turn_last_bits(const std::string& path) {
    std::string bytes = testing::contents(path);
    std::size_t data = 0;
    for (std::size_t card = 0; data == 0 && card < bytes.size(); card += 80) {
        if (bytes.compare(card, 8, "END     ") == 0) data = (card / fits_block + 1) * fits_block;
    }
    for (std::size_t i = data + 1; data > 0 && i < bytes.size(); i += 2)
        bytes[i] = static_cast<char>(bytes[i] ^ 1);
    std::ofstream(path, std::ios::binary) << bytes;
}

const std::string& other_frames(Study& study) {
    return study.campaign("others", [&](const std::string& place) {
        fs::copy(study.fresh(), place, fs::copy_options::recursive);
        for (const auto& entry : fs::recursive_directory_iterator(place + "/frames")) {
            if (entry.is_regular_file()) turn_last_bits(entry.path().string());
        }
    });
}

// What frames are there is measured as if they had always been these.
void check_as_new(Study& study, const std::string& campaign, const Rows& committed, Tally& tally) {
    const Outcome again = testing::run(on(campaign, {"measure"}));
    if (again.status > 1)
        tally.difference(fmt::format("done again it ended with {}: {}", again.status, again.err));
    const auto missing = lost(committed, rows_of(ledger_of(campaign)));
    if (!missing.empty()) tally.loss(fmt::format("{} rows, the first: {}", missing.size(), missing[0]));
    const Answer found = answer_of(campaign);
    const std::string fresh = study.path("anew");
    fs::remove_all(fresh);
    fs::copy(campaign, fresh, fs::copy_options::recursive);
    for (const char* part : {"", "-wal", "-shm"})
        fs::remove(ledger_of(fresh) + part);
    (void)testing::run(on(fresh, {"measure"}));
    if (const std::string where = differ(answer_of(fresh), found); !where.empty()) tally.difference(where);
}

void yank(Study& study, Tally& tally, int trials, const std::string& program) {
    const Measured& measured = jobs(study, program).front();
    for (int i = 0; i < trials; ++i) {
        const std::string campaign = study.copy(measured.job.base);
        const char* const ways[] = {"gone", "cut", "emptied", "other", "over"};
        const std::string how = ways[i % 5];
        Words words = measured.job.words;
        words.insert(words.end(), {"-j", study.below(2) == 0 ? "1" : "2"});
        if (program == "measure") words = {"measure", "-j", words.back()};
        tally.trial();
        const Outcome outcome = testing::run(
            on(campaign, words),
            disturbed(fmt::format("yank {} {}", 1 + study.below(measured.extent.readings), how),
                      campaign + "/frames", {"EMBERLINE_FAULT_OTHER=" + other_frames(study) + "/frames"}));
        tally.ended(outcome);
        if (outcome.status > 3)
            tally.difference(fmt::format("{}: ended with {}: {}", how, outcome.status, outcome.err));
        if (const std::string found = unsound(ledger_of(campaign)); !found.empty()) tally.loss(found);
        const Rows committed = rows_of(ledger_of(campaign));
        // What became another may become again what it was.
        if (how == "gone" || how == "cut" || how == "emptied" || study.below(2) == 0) {
            fs::copy(measured.job.base + "/frames", campaign + "/frames",
                     fs::copy_options::recursive | fs::copy_options::overwrite_existing);
        }
        check_as_new(study, campaign, committed, tally);
    }
}

}  // namespace

std::vector<Kind> frame_kinds() {
    std::vector<Kind> kinds;
    for (const std::string program : {"measure", "watch"}) {
        kinds.push_back(
            {"yank-" + program, "a frame is gone, cut or another in mid-read",
             [program](Study& study, Tally& tally, int trials) { yank(study, tally, trials, program); }});
    }
    return kinds;
}

}  // namespace emberline::faults
