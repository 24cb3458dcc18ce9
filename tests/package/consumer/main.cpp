// SPDX-License-Identifier: MIT
// An outsider's programs in one: rooms of the installed library asked for what is known beforehand, and, with
// a folder to work in, an invented night measured from its frames to its magnitude.
#include <cmath>
#include <iostream>

#include "quantities/angle.hpp"
#include "rehearsal/rehearse.hpp"
#include "sky/horizon.hpp"
#include "standard/sequence.hpp"
#include "tasks/measure.hpp"
#include "tasks/workspace.hpp"

namespace {

using namespace emberline;

int ask_rooms() {
    const auto overhead = sky::airmass(Angle::degrees(90.0));
    const auto sequence = standard::parse_sequence(
        "label,ra,dec,V,V_err,role\n126,13:25:21.12,+37:16:12.0,12.61,0.02,comparison\n", "here");
    if (!overhead || !sequence) return 1;
    std::cout << "airmass overhead " << *overhead << ", star " << sequence->stars.front().label << " at "
              << sequence->stars.front().position.ra.degrees() << " degrees\n";
    return 0;
}

int failed(const Problem& problem) {
    std::cerr << one_line(problem) << '\n';
    return 1;
}

int measure_a_night(const std::string& folder) {
    rehearsal::RehearsalOptions invented;
    invented.nights = 1;
    invented.frames = 3;
    invented.width_px = 300;
    invented.height_px = 300;
    if (const auto made = rehearsal::rehearse(folder, invented, {}); !made) return failed(made.error());
    const auto workspace = tasks::open_workspace(folder);
    if (!workspace) return failed(workspace.error());
    const auto outcome = tasks::measure(*workspace, {});
    if (!outcome) return failed(outcome.error());
    const auto& night = outcome->solution.nights.front();
    if (!night.magnitude_mag) return 1;
    const double error_mag = night.total_err_mag().value_or(0.0);
    // At its brightest on the first night, as invented.
    const bool right =
        error_mag > 0.0 && std::abs(*night.magnitude_mag - invented.peak_mag) < 5.0 * error_mag + 0.05;
    std::cout << night.n_frames << " frames, " << (right ? "the magnitude invented" : "a wrong magnitude")
              << '\n';
    return right ? 0 : 1;
}

}  // namespace

int main(int count, char** words) {
    return count > 1 ? measure_a_night(words[1]) : ask_rooms();
}
