// SPDX-License-Identifier: MIT
#include "command/rehearse_options.hpp"

namespace emberline::command {

void add_field_options(CLI::App& sub, RehearseRequest& request) {
    rehearsal::FieldTroubles& f = request.options.field;
    request.solved_asked =
        sub.add_option("--solved", request.solved,
                       "Only the first so many frames of a night have a plate solution; field.csv is then "
                       "written, a catalogue of the field");
    sub.add_option("--misled", f.misled_share,
                   "Share of the other frames with a wrong plate solution in place of none, 0 to 1")
        ->capture_default_str()
        ->needs(request.solved_asked);
    sub.add_option("--drift-px", f.drift_px, "Drift of the field through a night, pixels")
        ->capture_default_str();
    request.camera_angle_asked =
        sub.add_option("--camera-angle", request.camera_angle_deg, "Camera turned by so many degrees");
    sub.add_flag("--mirrored", f.mirrored, "Mirror images");
    sub.add_option("--doubled", f.doubled_share, "Share of frames in which the mount jumped, 0 to 1")
        ->capture_default_str();
    sub.add_option("--jump-px", f.jump_px, "How far it jumped, pixels")->capture_default_str();
    sub.add_option("--satellites", f.satellite_share, "Share of frames that a satellite crossed, 0 to 1")
        ->capture_default_str();
}

void settle_field(RehearseRequest& request) {
    rehearsal::FieldTroubles& f = request.options.field;
    if (request.solved_asked->count() > 0) f.solved = request.solved;
    if (request.camera_angle_asked->count() > 0) f.camera_angle_deg = request.camera_angle_deg;
}

}  // namespace emberline::command
