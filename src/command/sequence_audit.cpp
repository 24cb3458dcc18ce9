// SPDX-License-Identifier: MIT
#include <fmt/format.h>

#include <algorithm>
#include <iostream>
#include <memory>
#include <nlohmann/json.hpp>

#include "command/sequence.hpp"
#include "tasks/audit_sequence.hpp"

namespace emberline::command {
namespace {

using night::RemovalEffect;
using night::StarOnTrial;

std::string measured_text(const std::optional<ValueWithError>& v, int decimals) {
    return v ? fmt::format("{:+.{}f} ± {:.{}f}", v->value, decimals, v->err, decimals) : "—";
}

// What scatters, and where: "0.105 / 0.008".
std::string against(double measured, double expected) {
    return expected > 0.0 ? fmt::format("{:.3f} / {:.3f}", measured, expected) : "—";
}

std::string most_growth(const night::AuditedStar& star) {
    const auto most = std::max_element(star.growth.begin(), star.growth.end(),
                                       [](const auto& a, const auto& b) { return a.sigma < b.sigma; });
    return most == star.growth.end() ? "—" : measured_text(most->excess_mag, 3);
}

std::string name_of(const StarOnTrial& trial) {
    return trial.star.label + (trial.star.check ? " (check)" : "") +
           (trial.star.set_aside ? " (set aside)" : "");
}

void print_table(const night::SequenceAudit& audit) {
    TextTable table(
        {"star", "band", "verdict", "offset", "frames", "nights", "trend a day", "growth", "harm"});
    for (const StarOnTrial& trial : audit.stars) {
        const night::AuditedStar& s = trial.star;
        table.add({name_of(trial), s.band.name(), std::string(word(s.fault)), measured_text(s.offset_mag, 3),
                   against(s.frame_scatter_mag, s.expected_frame_scatter_mag),
                   against(s.night_scatter_mag, s.expected_night_scatter_mag),
                   measured_text(s.trend_mag_per_day, 4), most_growth(s),
                   trial.removal ? fmt::format("{:.1f}", trial.harm()) : "—"});
    }
    std::cout << table.text();
}

void print_rate(const RemovalEffect& effect) {
    if (!effect.rate) return;
    std::cout << fmt::format(
        "Decline by a straight line: {:.4f} ± {:.4f} mag a day, without it {:.4f} ± {:.4f}: a change of "
        "{:+.4f} ± "
        "{:.4f}.\n",
        effect.rate->before_mag_per_day.value, effect.rate->before_mag_per_day.err,
        effect.rate->without_mag_per_day.value, effect.rate->without_mag_per_day.err,
        effect.rate->change_mag_per_day.value, effect.rate->change_mag_per_day.err);
}

void print_removal(const StarOnTrial& trial) {
    if (!trial.removal || trial.removal->nights.empty()) {
        if (!trial.no_removal.empty()) std::cout << trial.no_removal << '\n';
        return;
    }
    const RemovalEffect& effect = *trial.removal;
    TextTable table({"night", "with it", "without", "change", "of its error"});
    for (const night::NightChange& n : effect.nights) {
        table.add({n.night, with_error(n.before_mag, 3), with_error(n.without_mag, 3),
                   fmt::format("{:+.3f}", n.change_mag()), fmt::format("{:+.1f}", n.change_in_errors())});
    }
    std::cout << table.text();
    if (effect.lost > 0) std::cout << fmt::format("{} nights have no magnitude without it.\n", effect.lost);
    std::cout << fmt::format("Errors without it: {:.2f} times as large.\n", effect.error_ratio);
    print_rate(effect);
}

void print_star(const StarOnTrial& trial, bool several_instruments) {
    const night::AuditedStar& star = trial.star;
    std::cout << fmt::format("\n{}, {}{}: {}\n", name_of(trial), star.band.name(),
                             several_instruments ? ", " + star.instrument : std::string(), word(star.fault))
              << star.why << '\n';
    print_removal(trial);
    std::cout << trial.advice_text << '\n';
}

void print(const tasks::AuditOutcome& outcome, bool remove_each, bool quiet) {
    const night::SequenceAudit& audit = outcome.audit;
    const auto accused = std::count_if(audit.stars.begin(), audit.stars.end(),
                                       [](const StarOnTrial& t) { return t.star.accused(); });
    const bool several = std::any_of(audit.stars.begin(), audit.stars.end(), [&](const StarOnTrial& t) {
        return t.star.instrument != audit.stars.front().star.instrument;
    });
    std::cout << fmt::format("{}: the comparison stars, by {} frames of {} nights\n", outcome.title,
                             audit.frames, audit.nights);
    print_table(audit);
    if (accused == 0) std::cout << "\nNo star is accused.\n";
    for (const StarOnTrial& trial : audit.stars) {
        if (trial.star.accused() || remove_each || trial.star.fault == night::StarFault::cannot_tell)
            print_star(trial, several);
    }
    if (!outcome.picture.empty()) std::cout << fmt::format("\nThe picture is {}.\n", outcome.picture);
    if (quiet) return;
    std::cout << fmt::format(
        "\nOffset: measured less catalogue, against the other stars. Frames, nights: scatter from one to the "
        "next, found / "
        "expected.\nGrowth: light that comes in with a wider circle, beyond the others'. Harm: what the "
        "nights move by without the "
        "star, root mean square, in their errors.\nA star is accused from {:.1f} (varies), {:.1f} (blended), "
        "{:.1f} (catalogue) sigma on: "
        "chance alone does that in one campaign of a thousand, for each.\n",
        audit.varies_from_sigma, audit.blended_from_sigma, audit.catalogue_from_sigma);
}

void run(const tasks::AuditRequest& request, Face& face) {
    const auto workspace = tasks::open_workspace(face.campaign);
    if (!workspace) {
        face.status = face.say(workspace.error());
        return;
    }
    const auto outcome = tasks::audit_sequence(*workspace, request);
    if (!outcome) {
        face.status = face.say(outcome.error());
        return;
    }
    if (face.json) {
        face.say_json(tasks::document(*outcome));
        return;
    }
    for (const std::string& remark : outcome->audit.remarks)
        face.remark(remark);
    print(*outcome, request.remove_each, face.quiet);
}

}  // namespace

void add_sequence_audit(CLI::App& sequence, Face& face) {
    CLI::App* sub = sequence.add_subcommand("audit", "Which comparison stars misbehave, in order of harm");
    sub->footer(
        "Examples:\n  emberline sequence audit -c my-campaign\n  emberline sequence audit --band V "
        "--picture\n"
        "  emberline sequence audit --all                what removing each star would do");
    const auto request = std::make_shared<tasks::AuditRequest>();
    sub->add_option("--band", request->bands, "Only this band")->type_name("BAND")->allow_extra_args(false);
    sub->add_flag("--all", request->remove_each,
                  "What removing each star would do, not the accused ones alone");
    sub->add_flag("--picture", request->picture, "Draw each star's nights: out/audit.svg");
    sub->callback([request, &face] { run(*request, face); });
}

}  // namespace emberline::command
