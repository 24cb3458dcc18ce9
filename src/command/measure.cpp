// SPDX-License-Identifier: MIT
#include "tasks/measure.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <iostream>
#include <map>
#include <memory>
#include <nlohmann/json.hpp>

#include "command/face.hpp"
#include "tasks/command_line.hpp"

namespace emberline::command {
namespace {

constexpr std::size_t many_alike = 4;    // refused for one reason: said once
constexpr std::size_t most_listed = 20;  // refused frames said one by one

struct MeasureOptions {
    tasks::MeasureRequest measure;
    bool explain = false;
};

int status_of_outcome(const tasks::MeasureOutcome& outcome) {
    if (outcome.interrupted) return interrupted;
    const bool any = std::any_of(outcome.solution.nights.begin(), outcome.solution.nights.end(),
                                 [](const night::NightMeasurement& n) { return n.n_frames > 0; });
    if (!any || (outcome.offered > 0 && outcome.refused.size() == outcome.offered)) return nothing_measured;
    const bool refused = !outcome.refused.empty() || outcome.judged_away || outcome.template_refused ||
                         !outcome.refused_templates.empty() || !outcome.refused_masters.empty();
    return refused ? something_refused : all_done;
}

// ", keyword EXPTIME": what the problem's place adds to the frame's name.
std::string place_within(const tasks::RefusedFrame& refused) {
    const std::string& where = refused.problem.where;
    const std::string file = refused.frame.substr(refused.frame.rfind('/') + 1);
    const std::size_t at = where.find(file + ", ");
    return at == std::string::npos ? std::string() : where.substr(at + file.size());
}

// A cloudy night or a wrong position refuses many frames for one reason: said once, with the first of them.
void print_refused(const tasks::MeasureOutcome& outcome) {
    if (outcome.refused.empty()) return;
    std::cout << "Refused:\n";
    // The first sentence is the reason; what follows is the frame's own.
    const auto reason = [](const tasks::RefusedFrame& r) {
        return r.problem.what.substr(0, r.problem.what.find(". ")) + r.problem.mend;
    };
    std::map<std::string, std::size_t> alike;
    for (const tasks::RefusedFrame& r : outcome.refused)
        ++alike[reason(r)];
    std::size_t listed = 0, said = 0;
    for (const tasks::RefusedFrame& r : outcome.refused) {
        std::size_t& left = alike[reason(r)];
        if (left == 0 || listed == most_listed) continue;
        const bool many = left >= many_alike;
        std::cout << fmt::format("  {}{}{}: {} {}\n", r.frame, place_within(r),
                                 many ? fmt::format(" and {} more", left - 1) : "", r.problem.what,
                                 r.problem.mend);
        ++listed;
        said += many ? left : 1;
        left = many ? 0 : left - 1;
    }
    if (said < outcome.refused.size()) {
        std::cout << fmt::format("  … and {} more; --json lists them all.\n", outcome.refused.size() - said);
    }
}

// Frames of the ledger that the judgement left out, of the nights just measured.
void print_unused(const tasks::MeasureOutcome& outcome, const std::vector<std::string>& nights) {
    std::size_t listed = 0;
    for (const night::FrameMeasurement& f : outcome.solution.frames) {
        if (f.used || std::find(nights.begin(), nights.end(), f.night) == nights.end()) continue;
        if (listed++ == 0) std::cout << "Measured but not used:\n";
        if (listed <= most_listed) std::cout << fmt::format("  {}: {}\n", f.frame, f.reason);
    }
    if (listed > most_listed) std::cout << fmt::format("  … and {} more.\n", listed - most_listed);
}

void print_stars(const tasks::MeasureOutcome& outcome) {
    for (const night::StarVerdict& star : outcome.solution.stars) {
        if (!star.suspect) continue;
        std::cout << fmt::format(
            "Comparison star {} ({}, {}): {} `emberline exclude {} --reason \"…\"` sets it aside.\n",
            star.label, star.band.name(), star.instrument, star.why, star.label);
    }
}

void print_outcome(const tasks::MeasureOutcome& outcome, const Face& face) {
    if (outcome.offered > 0) {
        std::cout << fmt::format("{} frame{}: {} measured, {} known already, {} refused.\n", outcome.offered,
                                 outcome.offered == 1 ? "" : "s", outcome.fresh + outcome.superseding,
                                 outcome.known, outcome.refused.size());
    }
    print_refused(outcome);
    if (outcome.interrupted) {
        std::cout << "Stopped. What was measured is in the ledger; run the same command again to go on.\n";
        return;
    }
    std::vector<night::NightMeasurement> shown;
    std::vector<std::string> nights = outcome.touched_nights;
    if (nights.empty()) {
        for (const auto& night : outcome.solution.nights)
            nights.push_back(night.night);
    }
    for (const auto& night : outcome.solution.nights) {
        if (std::find(nights.begin(), nights.end(), night.night) != nights.end()) shown.push_back(night);
    }
    print_unused(outcome, nights);
    print_stars(outcome);
    for (const Problem& problem : outcome.refused_masters)
        std::cout << one_line(problem) << '\n';
    for (const Problem& problem : outcome.refused_templates)
        std::cout << one_line(problem) << '\n';
    for (const std::string& remark : outcome.remarks)
        std::cout << remark << '\n';
    if (shown.empty()) return;
    std::cout << '\n' << nights_text(shown);
    if (face.quiet) return;
    const std::string flags = flags_text(shown);
    if (!flags.empty()) std::cout << '\n' << flags;
    const std::string where = face.campaign == "." ? "" : " -c " + tasks::shell_word(face.campaign);
    std::cout << fmt::format(
        "\nNext: `emberline curve{0}` draws the light curve, `emberline report{0}` writes the network's "
        "report.\n",
        where);
}

std::string number_or_dash(const std::optional<double>& value, int decimals) {
    return value ? fmt::format("{:.{}f}", *value, decimals) : std::string("—");
}

std::string magnitude_or_limit(const std::optional<double>& magnitude, const std::optional<double>& limit) {
    if (magnitude) return fmt::format("{:.3f}", *magnitude);
    return limit ? fmt::format("> {:.2f}", *limit) : std::string("—");
}

void print_explanation(const tasks::Explanation& explanation) {
    TextTable places({"night", "band", "aperture \"", "FWHM \"", "sky e/px", "scatter e", "unevenness",
                      "of the stars", "host"});
    for (const tasks::Surroundings& s : explanation.surroundings) {
        places.add({s.night, s.band.name(), fmt::format("{:.2f}", s.aperture_arcsec),
                    fmt::format("{:.2f}", s.fwhm_arcsec), fmt::format("{:.1f}", s.sky_e_per_px),
                    fmt::format("{:.1f}", s.sky_scatter_e), fmt::format("{:.1f}", s.unevenness),
                    fmt::format("{:.1f}", s.comparison_unevenness), s.host_unmodelled ? "shines in" : "—"});
    }
    std::cout << "\nThe transient's surroundings (unevenness of its annulus: 1 is flat):\n" << places.text();
    TextTable answers({"night", "band", "radius/FWHM", "magnitude", "random", ""});
    for (const tasks::ApertureAnswer& a : explanation.answers) {
        answers.add({a.night, a.band.name(), fmt::format("{:.1f}", a.fwhm_multiple),
                     magnitude_or_limit(a.magnitude_mag, a.limit_mag), number_or_dash(a.random_err_mag, 3),
                     a.chosen ? "used" : ""});
    }
    std::cout << "\nThe same nights through each aperture; where they drift with the radius, host light or a "
                 "neighbour "
                 "shines in:\n"
              << answers.text();
}

void print_hosts(const tasks::Explanation& explanation) {
    if (explanation.hosts.empty()) return;
    std::cout << "\nThe host under the transient:\n";
    for (const tasks::HostOfBand& h : explanation.hosts) {
        std::cout << fmt::format("  {}, {}: taken away by {}", h.band.name(), h.instrument, h.method);
        if (h.surface_mag_arcsec2)
            std::cout << fmt::format("; {:.2f} mag/arcsec² under the aperture", *h.surface_mag_arcsec2);
        if (h.place) {
            std::cout << fmt::format(
                "; the transient lies {:+.2f}″ east, {:+.2f}″ north of its place in "
                "campaign.toml (± {:.2f}″)",
                h.place->east_arcsec, h.place->north_arcsec, h.place->err_arcsec);
        }
        std::cout << '\n';
    }
    TextTable methods({"night", "band", "method", "magnitude", "random", "common", ""});
    for (const tasks::MethodAnswer& m : explanation.methods) {
        methods.add({m.night, m.band.name(), m.method, magnitude_or_limit(m.magnitude_mag, m.limit_mag),
                     number_or_dash(m.random_err_mag, 3), number_or_dash(m.common_err_mag, 3),
                     m.chosen ? "used" : ""});
    }
    std::cout << "The same nights by each way of taking it away:\n" << methods.text();
    for (const std::string& remark : explanation.remarks)
        std::cout << remark << '\n';
    for (const std::string& picture : explanation.pictures)
        std::cout << fmt::format("Data, model and what is left: {}\n", picture);
}

void print_growth(const tasks::Explanation& explanation) {
    if (explanation.growth.empty()) return;
    std::vector<std::string> heads{"night", "band", "light of"};
    for (const double r : explanation.growth.front().radius_fwhm)
        heads.push_back(fmt::format("{:g}", r));
    TextTable table(heads);
    for (const tasks::GrowthOfLight& g : explanation.growth) {
        if (g.radius_fwhm.size() + 3 != heads.size()) continue;
        for (const auto& [whose, light] :
             {std::pair("stars", &g.stars), std::pair("transient", &g.transient)}) {
            std::vector<std::string> line{g.night, g.band.name(), whose};
            for (const double share : *light)
                line.push_back(fmt::format("{:.3f}", share));
            table.add(line);
        }
    }
    std::cout
        << "\nHow the light grows with the radius in FWHM (the transient's with all that lies under it):\n"
        << table.text();
}

void run(MeasureOptions request, Face& face) {
    const auto workspace = tasks::open_workspace(face.campaign);
    if (!workspace) {
        face.status = face.say(workspace.error());
        return;
    }
    request.measure.threads = face.threads;
    request.measure.stop = stop_asked();
    request.measure.progress = [&](std::size_t done, std::size_t of) { face.progress(done, of); };
    const auto outcome = tasks::measure(*workspace, request.measure);
    if (!outcome) {
        face.status = face.say(outcome.error());
        return;
    }
    face.status = status_of_outcome(*outcome);
    std::optional<tasks::Explanation> explanation;
    if (request.explain && face.status != nothing_measured && face.status != interrupted) {
        auto explained = tasks::explain(*workspace);
        if (!explained) {
            face.status = face.say(explained.error());
            return;
        }
        explanation = std::move(*explained);
    }
    if (face.json) {
        tasks::Json json = tasks::document(*outcome);
        if (explanation) json["explanation"] = tasks::document(*explanation);
        face.say_json(json);
        return;
    }
    print_outcome(*outcome, face);
    if (explanation) {
        print_explanation(*explanation);
        print_growth(*explanation);
        print_hosts(*explanation);
    }
}

}  // namespace

void add_measure(CLI::App& app, Face& face) {
    CLI::App* sub =
        app.add_subcommand("measure", "Measure frames into the ledger, solve the nights, print the result");
    sub->footer(
        "Examples:\n  emberline measure                  every frame under frames/\n"
        "  emberline measure tonight/*.fits\n  emberline measure --again          after editing "
        "comparison.csv");
    const auto request = std::make_shared<MeasureOptions>();
    CLI::Option* places = sub->add_option("FRAME", request->measure.places, "FITS files, or folders of them")
                              ->default_str("the campaign's frames/");
    CLI::Option* again = sub->add_flag("--again", request->measure.again,
                                       "Solve the campaign anew from the ledger's fluxes, without frames");
    again->excludes(places);
    sub->add_flag("--explain", request->explain,
                  "Show the transient's surroundings and what each aperture gives");
    sub->callback([request, &face] { run(*request, face); });
}

}  // namespace emberline::command
