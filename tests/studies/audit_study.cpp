// SPDX-License-Identifier: MIT
// tests/studies/audit_study — does the audit find the bad comparison stars, and nothing else? Invented
// campaigns of twelve comparison stars, six nights of five frames each with cloud, flips and trails, are
// measured from their frames.
//
//   emberline_audit_study [seeds] [threads] [limits]
//
// First: one star varies by 0.15 mag either way in 5.3 days, one has a companion 2 mag fainter 2.5″ away, one
// is 0.25 mag wrong in the table. Each must be found for what it is, and no other accused. Then the same
// campaigns without any bad star. Exit status 1: of a kind more than one in twenty were missed (one in a
// short run), or more than one good star was accused in fifty campaigns (none in a short run).
// With `limits`: how often smaller faults are found. Variations and wrong magnitudes are put into the clean
// campaigns' fluxes and tables; companions are exposed. Nothing is asked of these rates.
#include <fmt/format.h>

#include <algorithm>
#include <chrono>
#include <cmath>
#include <cstdlib>
#include <map>
#include <mutex>
#include <numbers>
#include <string>
#include <vector>

#include "frame/frame.hpp"
#include "night/audit_sequence.hpp"
#include "night/measure_frame.hpp"
#include "numerics/random.hpp"
#include "quantities/magnitude.hpp"
#include "rehearsal/rehearse.hpp"
#include "study.hpp"

namespace {

using namespace emberline;
using night::StarFault;
using study::must;

constexpr rehearsal::VariableStar shown_variable{0.15, 5.3};
constexpr rehearsal::BlendedStar shown_blend{2.5, 2.0};
constexpr double shown_wrong_mag = 0.25;

rehearsal::RehearsalOptions plain(std::uint64_t seed) {
    rehearsal::RehearsalOptions o;
    o.seed = seed;
    o.nights = 6;
    o.frames = 5;
    o.width_px = o.height_px = 400;
    o.host = false;
    o.comparison_stars = 12;
    return o;
}

struct Measured {
    night::Campaign campaign;
    standard::Sequence sequence;
    std::vector<photometry::FrameFluxes> fluxes;
    std::vector<rehearsal::TroubledStar> troubled;
};

Measured measure(const rehearsal::RehearsalOptions& options, const std::string& folder) {
    const auto invented = must(rehearsal::invent_campaign(options));
    must(rehearsal::rehearse(folder, invented));
    Measured out;
    out.campaign = must(night::read_campaign(folder));
    out.sequence = must(standard::read_sequence(out.campaign.path(out.campaign.catalog)));
    out.troubled = invented.sky.troubled;
    for (const auto& planned : invented.frames) {
        for (const frame::Frame& f :
             must(frame::open_frames(folder + "/" + planned.path, out.campaign.instruments))) {
            auto fluxes = night::measure_frame(f, planned.path, planned.path, out.sequence, out.campaign);
            if (fluxes) out.fluxes.push_back(std::move(*fluxes));
        }
    }
    std::error_code ignored;
    std::filesystem::remove_all(folder, ignored);
    return out;
}

night::SequenceAudit audit(const Measured& m) {
    return must(night::audit_sequence(m.fluxes, m.sequence, m.campaign, {}));
}

const night::AuditedStar& star_named(const night::SequenceAudit& audit, const std::string& label) {
    const auto found = std::find_if(audit.stars.begin(), audit.stars.end(),
                                    [&](const auto& trial) { return trial.star.label == label; });
    if (found == audit.stars.end()) throw std::runtime_error("star " + label + " was not judged");
    return found->star;
}

StarFault fault_of(rehearsal::TroubleKind kind) {
    switch (kind) {
        case rehearsal::TroubleKind::varies:
            return StarFault::varies;
        case rehearsal::TroubleKind::blended:
            return StarFault::blended;
        case rehearsal::TroubleKind::wrong:
            break;
    }
    return StarFault::catalogue_value;
}

struct Count {
    std::size_t of = 0, found = 0, otherwise = 0, doubted = 0;  // accused of another fault; cannot tell
};
struct Totals {
    std::map<std::string, Count> found;
    std::size_t campaigns = 0, stars = 0, wrongly = 0, doubted = 0;
    double seconds = 0.0;
};

void count(Count& c, const night::AuditedStar& star, StarFault fault) {
    ++c.of;
    c.found += star.fault == fault ? 1 : 0;
    c.otherwise += star.accused() && star.fault != fault ? 1 : 0;
    c.doubted += star.fault == StarFault::cannot_tell ? 1 : 0;
}

std::mutex lock;

void score(const Measured& m, const std::string& title, Totals& totals, std::uint64_t seed) {
    const auto start = std::chrono::steady_clock::now();
    const auto result = audit(m);
    const std::chrono::duration<double> taken = std::chrono::steady_clock::now() - start;
    const std::scoped_lock held(lock);
    totals.seconds += taken.count();
    ++totals.campaigns;
    for (const auto& trouble : m.troubled) {
        const auto& star = star_named(result, trouble.label);
        count(totals.found[std::string(word(trouble.kind))], star, fault_of(trouble.kind));
        if (star.fault != fault_of(trouble.kind))
            fmt::print("  seed {}: {} ({}): {}: {}\n", seed, trouble.label, word(trouble.kind),
                       word(star.fault), star.why);
    }
    for (const auto& trial : result.stars) {
        const bool bad = std::any_of(m.troubled.begin(), m.troubled.end(),
                                     [&](const auto& t) { return t.label == trial.star.label; });
        if (bad) continue;
        ++totals.stars;
        totals.doubted += trial.star.fault == StarFault::cannot_tell ? 1 : 0;
        if (!trial.star.accused()) continue;
        ++totals.wrongly;
        fmt::print("  seed {}, {}: {} accused wrongly: {}\n", seed, title, trial.star.label, trial.star.why);
    }
}

// The comparison star that chance takes.
std::string drawn(const Measured& m, numerics::Random& random) {
    std::vector<std::string> labels;
    for (const auto& star : m.sequence.stars) {
        if (star.role == standard::Role::comparison) labels.push_back(star.label);
    }
    return labels[static_cast<std::size_t>(random.uniform() * static_cast<double>(labels.size()))];
}

void wrong_limits(const Measured& clean, numerics::Random random, std::map<std::string, Count>& limits) {
    for (const double off_mag : {0.1, 0.15, 0.2, 0.3}) {
        Measured m = clean;
        const std::string label = drawn(m, random);
        const double sign = random.uniform() < 0.5 ? -1.0 : 1.0;
        for (auto& star : m.sequence.stars) {
            if (star.label != label) continue;
            for (auto& [band, magnitude] : star.magnitudes)
                magnitude.value += sign * off_mag;
        }
        const auto result = audit(m);
        const std::scoped_lock held(lock);
        count(limits[fmt::format("catalogue off by {:.2f} mag", off_mag)], star_named(result, label),
              StarFault::catalogue_value);
    }
}

void variable_limits(const Measured& clean, numerics::Random random, std::map<std::string, Count>& limits) {
    for (const double amplitude_mag : {0.02, 0.05, 0.1, 0.2}) {
        Measured m = clean;
        const std::string label = drawn(m, random);
        // Of any period from a third of a day to a month, whatever the nights see of it.
        const double period_days = 0.3 * std::pow(100.0, random.uniform());
        const rehearsal::Pulsation pulsation{amplitude_mag, period_days, random.uniform()};
        for (auto& frame : m.fluxes) {
            for (auto& star : frame.stars) {
                if (star.label != label) continue;
                for (double& flux : star.flux_e)
                    flux *= flux_ratio(pulsation.at(frame.bjd_tdb));
            }
        }
        const auto result = audit(m);
        const std::scoped_lock held(lock);
        count(limits[fmt::format("varies by {:.2f} mag, any period", amplitude_mag)],
              star_named(result, label), StarFault::varies);
    }
}

void blend_limits(std::uint64_t seed, const std::string& folder, std::map<std::string, Count>& limits) {
    for (const auto& [distance_arcsec, fainter_mag] :
         {std::pair(1.5, 2.0), {2.5, 1.0}, {2.5, 3.0}, {2.5, 4.0}, {4.0, 2.0}, {6.0, 2.0}}) {
        rehearsal::RehearsalOptions options = plain(seed);
        options.stars.blended = rehearsal::BlendedStar{distance_arcsec, fainter_mag};
        const Measured m = measure(options, folder);
        const auto result = audit(m);
        const std::scoped_lock held(lock);
        count(limits[fmt::format("companion {:.1f}″ away, {:.0f} mag fainter", distance_arcsec, fainter_mag)],
              star_named(result, m.troubled.front().label), StarFault::blended);
    }
}

void print(const char* title, const std::map<std::string, Count>& counts) {
    fmt::print("{}\n", title);
    for (const auto& [kind, c] : counts)
        fmt::print("  {:<38} found {:4} of {:4}, as another fault {:3}, cannot tell {:3}\n", kind, c.found,
                   c.of, c.otherwise, c.doubted);
}

bool verdict(const char* title, const Totals& t) {
    print(title, t.found);
    fmt::print("  good stars: {} accused wrongly of {}, cannot tell {}; {:.2f} s an audit\n", t.wrongly,
               t.stars, t.doubted, t.seconds / static_cast<double>(std::max<std::size_t>(t.campaigns, 1)));
    bool good = t.campaigns > 0;
    for (const auto& [kind, c] : t.found)
        good = good && c.of - c.found <= std::max<std::size_t>(1, c.of / 20);
    return good && t.wrongly <= t.campaigns / 50;
}

}  // namespace

int main(int argc, char** argv) {
    const std::size_t seeds = argc > 1 ? std::strtoul(argv[1], nullptr, 10) : 50;
    const auto threads = static_cast<unsigned>(argc > 2 ? std::strtoul(argv[2], nullptr, 10) : 2);
    const bool with_limits = argc > 3 && std::string(argv[3]) == "limits";
    Totals troubled, clean;
    std::map<std::string, Count> limits;
    study::over_seeds(seeds, threads, 5000, [&](std::uint64_t seed, const std::string& folder) {
        rehearsal::RehearsalOptions options = plain(seed);
        options.stars = {shown_variable, shown_blend, shown_wrong_mag};
        score(measure(options, folder), "three bad stars", troubled, seed);
        const Measured good = measure(plain(seed), folder);
        score(good, "no bad star", clean, seed);
        if (!with_limits) return;
        const numerics::Random random(seed);
        wrong_limits(good, random.stream(1), limits);
        variable_limits(good, random.stream(2), limits);
        blend_limits(seed, folder, limits);
    });
    const bool found = verdict(
        fmt::format("{} campaigns with three bad stars among twelve", troubled.campaigns).c_str(), troubled);
    const bool quiet = verdict(fmt::format("{} campaigns without", clean.campaigns).c_str(), clean);
    if (with_limits) print("Smaller faults", limits);
    const bool all = troubled.campaigns == seeds && clean.campaigns == seeds;
    fmt::print("{}\n", found && quiet && all ? "ok" : "MISSED");
    return found && quiet && all ? 0 : 1;
}
