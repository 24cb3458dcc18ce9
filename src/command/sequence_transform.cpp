// SPDX-License-Identifier: MIT
#include <fmt/format.h>

#include <iostream>
#include <memory>
#include <nlohmann/json.hpp>

#include "command/sequence.hpp"
#include "tasks/transform.hpp"

namespace emberline::command {
namespace {

struct Options {
    tasks::TransformRequest request;
    bool list = false;
};

std::string number_text(const std::optional<ValueWithError>& v, int decimals, bool sign) {
    if (!v) return "—";
    return sign ? fmt::format("{:+.{}f} ± {:.{}f}", v->value, decimals, v->err, decimals)
                : fmt::format("{:.{}f} ± {:.{}f}", v->value, decimals, v->err, decimals);
}

std::string range_text(double low, double high) {
    return fmt::format("{:.2f} to {:.2f}", low, high);
}

void list(const tasks::Workspace& workspace, Face& face) {
    const auto terms = tasks::kept_terms(workspace);
    if (!terms) {
        face.status = face.say(terms.error());
        return;
    }
    if (face.json) {
        face.say_json(tasks::document(*terms));
        return;
    }
    if (terms->empty()) {
        std::cout << "The ledger holds no colour terms yet.\n";
        return;
    }
    TextTable table(
        {"kept", "night", "instrument", "band", "index", "T", "k", "colours", "stars", "against"});
    for (const ledger::KeptTransformation& t : *terms) {
        table.add({t.since, t.night, t.instrument, t.band.name(), t.colour_index,
                   number_text(t.colour_term, 4, true), number_text(t.extinction, 3, false),
                   range_text(t.colour_low_mag, t.colour_high_mag), std::to_string(t.stars), t.against});
    }
    std::cout << table.text();
}

void print_row(const tasks::TransformRow& row) {
    const standard::Transformation& found = row.band.found;
    std::cout << fmt::format("{}, {}: {}\n", row.band.band.name(), row.band.instrument, row.sentence);
    if (!found.no_extinction.empty()) std::cout << "  No extinction: " << found.no_extinction << '\n';
    for (const standard::StarOnRelation& star : found.relation) {
        if (!star.used) std::cout << fmt::format("  Star {}: {}\n", star.label, star.why);
    }
    if (found.second_order) {
        std::cout << fmt::format(
            "  The term changes with airmass, by {} for one more: it is told, not used.\n",
            number_text(found.second_order, 4, true));
    }
}

void print(const tasks::TransformOutcome& outcome, const Options& options, const Face& face) {
    TextTable table(
        {"night", "instrument", "band", "index", "T", "k", "colours", "stars", "frames", "scatter"});
    for (const tasks::TransformRow& row : outcome.rows) {
        const standard::Transformation& found = row.band.found;
        table.add({row.night, row.band.instrument, row.band.band.name(), row.band.index.name(),
                   number_text(found.colour_term, 4, true), number_text(found.extinction, 3, false),
                   range_text(found.colour_low_mag, found.colour_high_mag), std::to_string(found.stars),
                   std::to_string(found.frames), fmt::format("{:.3f}", found.scatter_mag)});
    }
    std::cout << table.text() << '\n';
    for (const tasks::TransformRow& row : outcome.rows)
        print_row(row);
    if (options.request.dry_run) std::cout << "Nothing was stored: a dry run.\n";
    if (!outcome.picture.empty()) std::cout << fmt::format("The picture is {}.\n", outcome.picture);
    if (face.quiet) return;
    std::cout << "\nT: colour term, standard = instrumental + zero point + T (colour − mean colour). k: "
                 "extinction, magnitudes an airmass.\nScatter: of the stars about the relation.\n";
}

void run(const Options& options, Face& face) {
    const auto workspace = tasks::open_workspace(face.campaign);
    if (!workspace) {
        face.status = face.say(workspace.error());
        return;
    }
    if (options.list) {
        list(*workspace, face);
        return;
    }
    tasks::TransformRequest request = options.request;
    request.stop = stop_asked();
    request.progress = [&](std::size_t done, std::size_t of) { face.progress(done, of); };
    const auto outcome = tasks::transform(*workspace, request);
    if (!outcome) {
        face.status = face.say(outcome.error());
        return;
    }
    if (!outcome->refused.empty()) face.status = something_refused;
    if (outcome->interrupted) face.status = interrupted;
    if (face.json) {
        face.say_json(tasks::document(*outcome));
        return;
    }
    if (outcome->interrupted) {
        std::cout << "Stopped, and nothing was stored; run the same command again.\n";
        return;
    }
    for (const std::string& remark : outcome->remarks)
        face.remark(remark);
    for (const tasks::RefusedFrame& refused : outcome->refused)
        face.remark(fmt::format("{}: {}", refused.frame, one_line(refused.problem)));
    print(*outcome, options, face);
}

}  // namespace

void add_sequence_transform(CLI::App& sequence, Face& face) {
    CLI::App* sub = sequence.add_subcommand(
        "transform", "Colour and extinction terms from a standard field or a night of many stars");
    sub->footer(
        "Examples:\n  emberline sequence transform field/*.fits --catalogue landolt.csv --picture\n"
        "  emberline sequence transform --night 2024-03-18    from the comparison stars in the ledger\n"
        "  emberline sequence transform --list                what the ledger holds");
    const auto options = std::make_shared<Options>();
    tasks::TransformRequest& request = options->request;
    CLI::Option* frames =
        sub->add_option("FRAME", request.places, "FITS files of any field, or folders of them")
            ->default_str("the ledger's");
    sub->add_option("--catalogue", request.catalogue, "The frames' stars, as a survey's service exports them")
        ->type_name("FILE")
        ->needs(frames);
    sub->add_option("--band", request.bands, "Only this band")->type_name("BAND")->allow_extra_args(false);
    sub->add_option("--instrument", request.instrument, "Only this instrument")->type_name("NAME");
    CLI::Option* night =
        sub->add_option("--night", request.night, "Only this night of the ledger")->type_name("NIGHT");
    night->excludes(frames);
    sub->add_flag("--all-nights", request.all_nights, "All nights of the ledger together, not the best one")
        ->excludes(night)
        ->excludes(frames);
    sub->add_flag("--dry-run", request.dry_run, "Only show what would be stored");
    sub->add_flag("--list", options->list, "Tell what the ledger holds, the oldest first")
        ->excludes(frames)
        ->excludes(night);
    sub->add_flag("--picture", request.picture, "Draw the stars against their colours: out/transform.svg");
    sub->callback([options, &face] { run(*options, face); });
}

}  // namespace emberline::command
