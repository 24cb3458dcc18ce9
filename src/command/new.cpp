// SPDX-License-Identifier: MIT
#include <iostream>
#include <memory>
#include <nlohmann/json.hpp>

#include "command/face.hpp"
#include "tasks/command_line.hpp"
#include "tasks/new_campaign.hpp"

namespace emberline::command {

void add_new(CLI::App& app, Face& face) {
    CLI::App* sub = app.add_subcommand("new", "Write a campaign folder to edit");
    sub->footer("Example:\n  emberline new my-campaign");
    const auto folder = std::make_shared<std::string>();
    sub->add_option("DIR", *folder, "Folder to make")->required();
    sub->callback([&face, folder] {
        if (const auto made = tasks::new_campaign(*folder); !made) {
            face.status = face.say(made.error());
            return;
        }
        if (face.json) {
            face.say_json({{"folder", *folder}});
            return;
        }
        std::cout << "A campaign is in " << *folder << ".\n"
                  << "Next: edit campaign.toml and comparison.csv there, put frames into frames/, then\n"
                  << "  emberline measure -c " << tasks::shell_word(*folder) << '\n';
    });
}

}  // namespace emberline::command
