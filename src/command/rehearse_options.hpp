// SPDX-License-Identifier: MIT
// command/rehearse_options — what `rehearse` is asked for, and the groups of its options.
#pragma once

#include <CLI/CLI.hpp>
#include <string>

#include "rehearsal/invented_campaign.hpp"

namespace emberline::command {

struct RehearseRequest {
    std::string folder;
    rehearsal::RehearsalOptions options;
    rehearsal::TemplateOptions host_template;
    std::string host = "usual";
    double host_angle_deg = rehearsal::usual_host_angle_deg;
    bool with_template = false, no_host = false, clear = false, no_flip = false, no_trails = false,
         no_colour = false;

    std::string pattern;  // empty: no mosaic
    double dark_e_per_s = 0.0;
    int hot_pixels = 0, calibration = 0;
    CLI::Option *dark_asked = nullptr, *hot_pixels_asked = nullptr, *calibration_asked = nullptr;

    rehearsal::StackOptions stack;
    std::string stack_kind = "mean", stack_header = "all", processing;
    bool stack_float = false;
    int solved = 0;
    double camera_angle_deg = 0.0;
    rehearsal::VariableStar variable;
    rehearsal::BlendedStar blended;
    double wrong_mag = 0.0;
    CLI::Option *variable_asked = nullptr, *blended_asked = nullptr, *wrong_asked = nullptr;
    CLI::Option *solved_asked = nullptr, *camera_angle_asked = nullptr;
    CLI::Option* stack_asked = nullptr;
};

// Mosaics, the sensor's faults, calibration frames.
void add_camera_options(CLI::App& sub, RehearseRequest& request);
// Live stacks, processed pictures.
void add_saving_options(CLI::App& sub, RehearseRequest& request);
// Unsolved frames, drift, jumps, satellites; comparison stars that the table has wrong.
void add_field_options(CLI::App& sub, RehearseRequest& request);
// What those options say, in the campaign's.
void settle_camera(RehearseRequest& request);
void settle_saving(RehearseRequest& request);
void settle_field(RehearseRequest& request);

}  // namespace emberline::command
