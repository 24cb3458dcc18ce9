// SPDX-License-Identifier: MIT
#include "command/rehearse_options.hpp"

namespace emberline::command {

void add_field_options(CLI::App& sub, RehearseRequest& request) {
    rehearsal::FieldTroubles& f = request.options.field;
    request.solved_asked = sub.add_option("--solved", request.solved,
                                          "Only the first so many frames of a night have a plate solution; "
                                          "field.csv is then written, a catalogue of the field")
                               ->type_name("N");
    sub.add_option("--misled", f.misled_share,
                   "Share of the other frames with a wrong plate solution in place of none, 0 to 1")
        ->type_name("SHARE")
        ->capture_default_str()
        ->needs(request.solved_asked);
    sub.add_option("--drift-px", f.drift_px, "Drift of the field through a night")
        ->type_name("PX")
        ->capture_default_str();
    request.camera_angle_asked =
        sub.add_option("--camera-angle", request.camera_angle_deg, "Angle that the camera is turned by")
            ->type_name("DEGREES");
    sub.add_flag("--mirrored", f.mirrored, "Mirror images");
    sub.add_option("--doubled", f.doubled_share, "Share of the frames in which the mount jumped, 0 to 1")
        ->type_name("SHARE")
        ->capture_default_str();
    sub.add_option("--jump-px", f.jump_px, "How far it jumped")->type_name("PX")->capture_default_str();
    sub.add_option("--satellites", f.satellite_share, "Share of the frames that a satellite crossed, 0 to 1")
        ->type_name("SHARE")
        ->capture_default_str();
    request.variable_asked = sub.add_option("--variable-star", request.variable.amplitude_mag,
                                            "A comparison star varies, by so much either way")
                                 ->type_name("MAG");
    sub.add_option("--variable-period", request.variable.period_days, "Its period")
        ->type_name("DAYS")
        ->capture_default_str()
        ->needs(request.variable_asked);
    request.blended_asked = sub.add_option("--blended-star", request.blended.distance_arcsec,
                                           "A comparison star has a companion so far away")
                                ->type_name("ARCSEC");
    sub.add_option("--companion-fainter", request.blended.fainter_mag, "How much fainter that is")
        ->type_name("MAG")
        ->capture_default_str()
        ->needs(request.blended_asked);
    request.wrong_asked = sub.add_option("--wrong-star", request.wrong_mag,
                                         "A comparison star's catalogue magnitude is so much too faint")
                              ->type_name("MAG");
}

void settle_field(RehearseRequest& request) {
    rehearsal::FieldTroubles& f = request.options.field;
    if (request.solved_asked->count() > 0) f.solved = request.solved;
    rehearsal::StarTroubles& stars = request.options.stars;
    if (request.variable_asked->count() > 0) stars.variable = request.variable;
    if (request.blended_asked->count() > 0) stars.blended = request.blended;
    if (request.wrong_asked->count() > 0) stars.wrong_mag = request.wrong_mag;
    if (request.camera_angle_asked->count() > 0) f.camera_angle_deg = request.camera_angle_deg;
}

}  // namespace emberline::command
