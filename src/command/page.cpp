// SPDX-License-Identifier: MIT

#include <iostream>
#include <memory>
#include <nlohmann/json.hpp>

#include "command/face.hpp"
#include "page/server.hpp"

namespace emberline::command {
namespace {

void run(page::PageSettings settings, Face& face) {
    settings.campaign_folder = face.campaign;
    settings.threads = face.threads;
    const std::atomic<bool>* stop = stop_asked();
    auto server = page::PageServer::open(settings);
    if (!server) {
        face.status = face.say(server.error());
        return;
    }
    if (!page::has_site()) {
        face.remark(
            "This program was built without its page, and answers /api/ alone: install nodejs and npm, and "
            "run "
            "scripts/build again.");
    }
    if (face.json) {
        face.say_json({{"link", server->link()}, {"port", server->port()}, {"key", server->key()}});
    } else {
        std::cout << "The page is at " << server->link() << '\n';
    }
    std::cout.flush();
    face.remark("Ctrl-C ends it.");
    server->serve(*stop);
    face.remark("The page is closed; the ledger is whole.");
}

}  // namespace

void add_page(CLI::App& app, Face& face) {
    CLI::App* sub = app.add_subcommand("page", "The campaign in a browser: the night, its frames, the curve");
    sub->footer(
        "Example: emberline page --watch\n\n"
        "Serves a page at this machine's own address until Ctrl-C; the link is printed, and nothing is "
        "fetched\n"
        "from anywhere. What it shows follows the ledger: a `watch` or `measure` in another terminal is seen "
        "at\n"
        "once. Everything it does is a command too, and is written to the same ledger.\n\n"
        "For a phone by the mount, listen at the observatory's own network: --address 0.0.0.0. Whoever has "
        "the\n"
        "printed link can then see and change the campaign, and the network sees what is sent: only in a "
        "network\n"
        "that you trust.");
    const auto settings = std::make_shared<page::PageSettings>();
    sub->add_option("--port", settings->port, "Port; 0: any that is free")
        ->type_name("PORT")
        ->check(CLI::Range(0, 65535))
        ->capture_default_str();
    sub->add_option("--address", settings->address, "Address to listen at")
        ->type_name("ADDRESS")
        ->capture_default_str();
    sub->add_option("--name", settings->names, "A name that the browser may call this machine by")
        ->type_name("NAME");
    sub->add_option("--series", settings->series,
                    "Other people's points for the curve, as of `curve --series`")
        ->type_name("FILE");
    sub->add_option(
           "--watch", settings->watch,
           "Measure from the start what lands in this folder; the campaign's frames/ where none is named")
        ->type_name("DIR")
        ->expected(0, 1);
    sub->add_option("--goal", settings->goal_mag, "Error of a night to work towards")
        ->type_name("MAG")
        ->check(number_within(1e-4, 10.0))
        ->capture_default_str();
    sub->callback([settings, sub, &face] {
        if (sub->count("--watch") > 0 && !settings->watch) settings->watch.emplace();
        run(*settings, face);
    });
}

}  // namespace emberline::command
