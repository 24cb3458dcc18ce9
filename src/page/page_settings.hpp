// SPDX-License-Identifier: MIT
// page/page_settings — how the page is served.
#pragma once

#include <optional>
#include <string>
#include <vector>

namespace emberline::page {

inline constexpr int usual_port = 8420;

struct PageSettings {
    std::string campaign_folder = ".";
    std::string address = "127.0.0.1";  // to listen at; anything but loopback is a choice of the observer's
    int port = usual_port;              // 0: any that is free
    std::vector<std::string> names;     // further names that the browser may call this machine by
    std::vector<std::string> series;    // tables of other observers' points, for the curve
    std::optional<std::string> watch;   // folder to watch from the start; empty: the campaign's frames/
    double goal_mag = 0.02;             // total error of a night that is worked towards
    int threads = 0;                    // for fits and measuring; 0: one a core
};

}  // namespace emberline::page
