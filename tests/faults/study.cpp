// SPDX-License-Identifier: MIT
#include "faults/study.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <chrono>
#include <cstring>
#include <filesystem>
#include <fstream>
#include <iterator>
#include <stdexcept>

namespace emberline::faults {
namespace {

namespace fs = std::filesystem;

using testing::contents;
using testing::run;

// Left by what was killed: never under a name that anybody reads.
bool unfinished(const std::string& name) {
    return name.ends_with(".part") || name.find(".unfinished") != std::string::npos ||
           name.find(".svg.") != std::string::npos;
}

// The campaign's own files, those that the ledger is made of and the frames aside.
std::map<std::string, std::string> files_in(const std::string& campaign) {
    std::map<std::string, std::string> out;
    for (const auto& entry : fs::recursive_directory_iterator(campaign)) {
        const std::string name = fs::relative(entry.path(), campaign).string();
        if (!entry.is_regular_file() || name.starts_with("frames/") || name.starts_with("campaign.ledger") ||
            unfinished(entry.path().filename().string()))
            continue;
        out.emplace(name, contents(entry.path().string()));
    }
    return out;
}

// A machine's time of making, where a file must have one: "DATE    = '2026-…" and "made 2026-…".
void forget_time(std::string& text) {
    for (const char* before : {"DATE    = '", "CHECKSUM= '", "DATASUM = '"}) {
        for (std::size_t at = text.find(before); at != std::string::npos; at = text.find(before, at + 1)) {
            const std::size_t from = at + std::strlen(before), to = text.find('\'', from);
            if (to != std::string::npos)
                std::fill(text.begin() + static_cast<std::ptrdiff_t>(from),
                          text.begin() + static_cast<std::ptrdiff_t>(to), '-');
        }
    }
}

}  // namespace

// Telling ---------------------------------------------------------------------------------------------------

void Tally::ended(const Outcome& outcome) {
    ended(outcome.status > 128 ? fmt::format("signal {}", outcome.status - 128)
                               : fmt::format("exit {}", outcome.status));
}

void Tally::loss(const std::string& what) {
    ++losses_;
    fmt::print(stderr, "LOSS in {}, trial {}: {}\n", kind_, trials_, what);
}

void Tally::difference(const std::string& what) {
    ++differences_;
    fmt::print(stderr, "DIFFERENCE in {}, trial {}: {}\n", kind_, trials_, what);
}

std::string Tally::line() const {
    if (!skipped_.empty()) return fmt::format("{:28} SKIPPED: {}", kind_, skipped_);
    std::string ends;
    for (const auto& [how, n] : ends_)
        ends += fmt::format("{}{} {}", ends.empty() ? "" : ", ", n, how);
    return fmt::format("{:28} {:6} {:7} {:12}   {}", kind_, trials_, losses_, differences_, ends);
}

// Running ---------------------------------------------------------------------------------------------------

std::string ledger_of(const std::string& campaign) {
    return campaign + "/campaign.ledger";
}

Words on(const std::string& campaign, Words words) {
    words.insert(words.end(), {"-q", "-c", campaign});
    for (std::string& word : words) {
        if (const auto at = word.find("{campaign}"); at != std::string::npos) word.replace(at, 10, campaign);
    }
    return words;
}

testing::Setting disturbed(const std::string& fault, const std::string& under, Words more) {
    testing::Setting setting;
    setting.environment = {"LD_PRELOAD=" EMBERLINE_FAULT_INJECTOR, "EMBERLINE_FAULT=" + fault,
                           "EMBERLINE_FAULT_UNDER=" + under};
    setting.environment.insert(setting.environment.end(), more.begin(), more.end());
    return setting;
}

Outcome run_disturbed(Study& study, const Measured& measured, const std::string& campaign,
                      const std::string& fault, Tally& tally) {
    const long most = fault == "full" ? measured.extent.bytes : measured.extent.changes;
    tally.trial();
    Outcome outcome = testing::run(on(campaign, measured.job.words),
                                   disturbed(fmt::format("{} {}", fault, 1 + study.below(most)), campaign));
    tally.ended(outcome);
    return outcome;
}

Outcome must(const Words& words) {
    Outcome outcome = run(words);
    if (outcome.status != 0)
        throw std::runtime_error(
            fmt::format("{} ended with {}: {}", words.at(0), outcome.status, outcome.err));
    return outcome;
}

// Campaigns -------------------------------------------------------------------------------------------------

const std::string& Study::campaign(const std::string& name,
                                   const std::function<void(const std::string&)>& make) {
    const auto found = made_.find(name);
    if (found != made_.end()) return found->second;
    const std::string place = path("made-" + name);
    make(place);
    return made_.emplace(name, place).first->second;
}

const std::string& Study::fresh() {
    return campaign("fresh", [](const std::string& place) {
        must({"rehearse", place, "-q", "--no-host", "--nights", "4", "--frames", "2", "--width", "160",
              "--height", "160", "--stars", "6"});
        std::ofstream settings(place + "/campaign.toml", std::ios::app);
        settings << "[report.server]\nreporting_group = 1\ndata_source_group = 1\ninstrument = 2\n"
                    "at_type = 1\nfilters = { V = 3 }\nunits = { Vega = 4 }\narchive = \"an older survey\"\n";
    });
}

const std::string& Study::half_measured() {
    return campaign("half", [this](const std::string& place) {
        fs::copy(fresh(), place, fs::copy_options::recursive);
        must(on(place, {"measure", "{campaign}/frames/2024-03-14", "{campaign}/frames/2024-03-18"}));
        must(on(place, {"report"}));
        must(on(place, {"exclude", "{campaign}/frames/2024-03-14/V_002.fits", "--reason", "a cloud"}));
    });
}

const std::string& Study::measured() {
    return campaign("measured", [this](const std::string& place) {
        fs::copy(half_measured(), place, fs::copy_options::recursive);
        must(on(place, {"measure"}));
    });
}

std::string Study::copy(const std::string& campaign) {
    // Always the same place: some texts hold the path.
    const std::string place = path("trial");
    fs::remove_all(place);
    fs::copy(campaign, place, fs::copy_options::recursive);
    return place;
}

Measured Study::undisturbed(Job job) {
    Measured out{.job = std::move(job), .extent = {}, .answer = {}, .before = {}, .whole = {}};
    const std::string place = copy(out.job.base), counted = path("counted");
    out.whole = whole_files(place);
    out.before = rows_of(ledger_of(place));
    fs::remove(counted);
    const auto since = std::chrono::steady_clock::now();
    const Outcome outcome =
        run(on(place, out.job.words), disturbed("count", place, {"EMBERLINE_FAULT_TALLY=" + counted}));
    out.extent.seconds = std::chrono::duration<double>(std::chrono::steady_clock::now() - since).count();
    if (outcome.status != 0 && outcome.status != 1)
        throw std::runtime_error(
            fmt::format("{} ended with {}: {}", out.job.name, outcome.status, outcome.err));
    out.status = outcome.status;
    long numbers[3] = {};
    const std::string bytes = contents(counted);
    if (bytes.size() != sizeof numbers) throw std::runtime_error("the injector did not count");
    std::memcpy(numbers, bytes.data(), sizeof numbers);
    out.extent.changes = numbers[0];
    out.extent.bytes = numbers[1];
    out.extent.readings = numbers[2];
    out.answer = answer_of(place);
    out.whole.merge(whole_files(place));
    return out;
}

// Judging ---------------------------------------------------------------------------------------------------

Answer answer_of(const std::string& campaign) {
    Answer answer{present(ledger_of(campaign)), {}};
    for (const Words& words : {Words{"export", "--level", "frame"},
                               {"export", "--level", "night"},
                               {"report", "--dry-run", "--again"},
                               {"nights"}})
        answer.texts.emplace(fmt::format("{}", fmt::join(words, " ")), run(on(campaign, words)).out);
    for (auto& [name, text] : files_in(campaign)) {
        if (name.find(".before-") != std::string::npos) continue;  // a copy bears the time of its making
        forget_time(text);
        answer.texts.emplace(name, std::move(text));
    }
    return answer;
}

std::string differ(const Answer& wanted, const Answer& found) {
    std::vector<std::string> missing, besides;
    std::set_difference(wanted.rows.begin(), wanted.rows.end(), found.rows.begin(), found.rows.end(),
                        std::back_inserter(missing));
    std::set_difference(found.rows.begin(), found.rows.end(), wanted.rows.begin(), wanted.rows.end(),
                        std::back_inserter(besides));
    if (!missing.empty() || !besides.empty()) {
        const std::string first = missing.empty() ? "nothing" : missing[0];
        const std::string second = besides.empty() ? "nothing" : besides[0];
        const auto apart = std::mismatch(first.begin(), first.end(), second.begin(), second.end()).first;
        const auto from = static_cast<std::size_t>(std::max<std::ptrdiff_t>(0, apart - first.begin() - 30));
        return fmt::format("{} rows are missing, {} there besides; {:.40}: …{:.80} and …{:.80}",
                           missing.size(), besides.size(), first, first.substr(from),
                           from < second.size() ? second.substr(from) : "");
    }
    for (const auto& [name, text] : wanted.texts) {
        const auto other = found.texts.find(name);
        if (other == found.texts.end()) return name + " is not there";
        if (other->second != text) return name + " is another";
    }
    for (const auto& [name, text] : found.texts) {
        if (!wanted.texts.contains(name)) return name + " is there besides";
    }
    return {};
}

std::set<std::string> whole_files(const std::string& campaign) {
    std::set<std::string> out;
    for (auto& [name, text] : files_in(campaign)) {
        forget_time(text);
        out.insert(std::move(text));
    }
    return out;
}

void check_whole(const Measured& measured, const std::string& campaign, const Rows& committed, Tally& tally) {
    const std::string ledger = ledger_of(campaign);
    if (measured.job.readable) {
        const Outcome nights = run(on(campaign, {"nights"}));
        if (nights.status != 0) tally.loss("`nights` says: " + nights.err);
    }
    if (const std::string found = unsound(ledger); !found.empty()) {
        tally.loss("the ledger is unsound: " + found);
        return;
    }
    for (const Rows* before : {&measured.before, &committed}) {
        const auto missing = lost(*before, rows_of(ledger));
        if (!missing.empty()) tally.loss(fmt::format("{} rows, the first: {}", missing.size(), missing[0]));
    }
    for (auto& [name, text] : files_in(campaign)) {
        forget_time(text);
        if (!measured.whole.contains(text)) tally.loss(name + " is half-written");
    }
    if (measured.job.judge) measured.job.judge(campaign, tally);
}

void check_again(const Measured& measured, const std::string& campaign, const Rows& committed, Tally& tally) {
    const Words& words = measured.job.again.empty() ? measured.job.words : measured.job.again;
    const Outcome outcome = run(on(campaign, words));
    // A job with something to say may have said it before.
    if (outcome.status != 0 && (outcome.status != measured.status || words != measured.job.words)) {
        tally.difference(fmt::format("done again it ended with {}: {}", outcome.status, outcome.err));
        return;
    }
    const auto missing = lost(committed, rows_of(ledger_of(campaign)));
    if (!missing.empty())
        tally.loss(fmt::format("{} rows once it was done again, the first: {}", missing.size(), missing[0]));
    if (const std::string found = differ(measured.answer, answer_of(campaign)); !found.empty())
        tally.difference(found);
}

}  // namespace emberline::faults
