// SPDX-License-Identifier: MIT
#include <algorithm>
#include <iostream>
#include <nlohmann/json.hpp>
#include <span>

#include "command/description.hpp"
#include "command/face.hpp"
#include "command/misuse.hpp"

namespace {

using namespace emberline;

int say_misuse(const CLI::App& app, const CLI::ParseError& error, command::Face& face,
               std::span<char*> words) {
    // The words were not all taken: whether the answer shall be JSON is read from them.
    face.json = std::any_of(words.begin(), words.end(),
                            [](const char* word) { return std::string_view(word) == "--json"; });
    return face.say(command::misuse(app, error, words));
}

}  // namespace

int main(int argc, char** argv) {
    command::Face face;
    CLI::App app{"Magnitudes, light curve and report of a fading transient, from the frames of its nights."};
    app.name("emberline");
    app.formatter(std::make_shared<command::HelpText>());
    app.set_help_flag("-h,--help", "Show this help");
    app.footer(
        "Example, from nothing to a report:\n  emberline rehearse demo && cd demo && emberline measure && "
        "emberline curve && emberline report\n\n`emberline COMMAND --help` tells of each command. "
        "`man emberline` has it all, `man emberline-handbook` the handbook.\n\n"
        "Never point a telescope at or near the Sun without a proper filter over its front, keep mains power "
        "away "
        "from the damp, and leave lasers to qualified hands; follow the rules of your place.");
    app.set_version_flag("--version", std::string(tasks::software), "Show the version");
    app.require_subcommand(1);
    app.fallthrough();
    app.add_option("-c,--campaign", face.campaign, "Folder of the campaign")
        ->type_name("DIR")
        ->capture_default_str();
    app.add_flag("--json", face.json, "One JSON document on standard output, and nothing else there");
    app.add_flag("-q,--quiet", face.quiet, "No progress and no hints");
    app.add_option("-j,--threads", face.threads, "Threads; 0: one a core")
        ->type_name("N")
        ->check(CLI::Range(0, 1024));
    command::add_new(app, face);
    command::add_rehearse(app, face);
    command::add_inspect(app, face);
    command::add_solve(app, face);
    command::add_stack(app, face);
    command::add_watch(app, face);
    command::add_measure(app, face);
    command::add_masters(app, face);
    command::add_nights(app, face);
    command::add_look(app, face);
    command::add_curve(app, face);
    command::add_forecast(app, face);
    command::add_sequence(app, face);
    command::add_report(app, face);
    command::add_export(app, face);
    command::add_page(app, face);
    command::add_exclude(app, face);
    command::add_include(app, face);
    command::add_describe(app, face);
    try {
        app.parse(argc, argv);
    } catch (const CLI::ParseError& error) {
        if (error.get_exit_code() != 0) {
            face.status = say_misuse(app, error, face, {argv, static_cast<std::size_t>(argc)});
        } else {
            app.exit(error);  // --help and --version
        }
    } catch (const std::exception& error) {
        std::cerr << "emberline: Something went wrong that should not have: " << error.what()
                  << ". Please report it with the command you gave.\n";
        return command::storage_failed;
    }
    std::cout.flush();
    if (std::cout) return face.status;
    // With nobody left to hear it in JSON.
    face.json = false;
    if (face.status == command::storage_failed) return face.status;
    return face.say({.what = "The answer cannot be written.",
                     .where = "standard output",
                     .mend = "Check the free space where it goes, and run the command again.",
                     .kind = ProblemKind::storage});
}
