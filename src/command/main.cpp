// SPDX-License-Identifier: MIT
#include <atomic>
#include <csignal>
#include <iostream>

#include "command/face.hpp"

namespace {

std::atomic<bool> stop_asked{false};
static_assert(std::atomic<bool>::is_always_lock_free, "a signal handler may touch it");

// The first Ctrl-C asks: what is measured is kept. A second one kills.
extern "C" void ask_to_stop(int signal) {
    stop_asked.store(true);
    std::signal(signal, SIG_DFL);
}

}  // namespace

int main(int argc, char** argv) {
    using namespace emberline;
    std::signal(SIGINT, ask_to_stop);
    std::signal(SIGTERM, ask_to_stop);
    command::Face face;
    face.stop = &stop_asked;
    CLI::App app{"Magnitudes, light curve and report of a fading transient, from plate-solved frames."};
    app.name("emberline");
    app.footer(
        "Example, from nothing to a report:\n  emberline rehearse demo && cd demo && emberline measure && "
        "emberline curve && "
        "emberline report\n\nNever point a telescope at or near the Sun without a proper filter, and keep "
        "mains power away "
        "from the damp;\nfollow the rules of your place.");
    app.set_version_flag("--version", std::string(tasks::software));
    app.require_subcommand(1);
    app.fallthrough();
    app.add_option("-c,--campaign", face.campaign, "Folder of the campaign")->capture_default_str();
    app.add_flag("--json", face.json, "One JSON document on standard output, and nothing else there");
    app.add_flag("-q,--quiet", face.quiet, "No progress and no hints");
    app.add_option("-j,--threads", face.threads, "Threads; 0: one a core")->check(CLI::Range(0, 1024));
    command::add_new(app, face);
    command::add_rehearse(app, face);
    command::add_inspect(app, face);
    command::add_measure(app, face);
    command::add_nights(app, face);
    command::add_curve(app, face);
    command::add_report(app, face);
    command::add_export(app, face);
    command::add_exclude(app, face);
    command::add_include(app, face);
    try {
        app.parse(argc, argv);
    } catch (const CLI::ParseError& error) {
        const int status = app.exit(error);
        return status == 0 ? command::all_done : command::bad_request;
    } catch (const std::exception& error) {
        std::cerr << "emberline: Something went wrong that should not have: " << error.what()
                  << ". Please report it with the command you gave.\n";
        return command::storage_failed;
    }
    std::cout.flush();
    return std::cout ? face.status : command::storage_failed;
}
