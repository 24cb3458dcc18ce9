// SPDX-License-Identifier: MIT
#include <fmt/format.h>

#include <iostream>
#include <memory>
#include <nlohmann/json.hpp>

#include "command/face.hpp"
#include "command/rehearse_options.hpp"
#include "rehearsal/rehearse.hpp"
#include "tasks/command_line.hpp"

namespace emberline::command {
namespace {

void run(RehearseRequest request, Face& face) {
    rehearsal::RehearsalOptions& o = request.options;
    o.host = !request.no_host && request.host != "none";
    for (const auto kind : {rehearsal::HostKind::smooth, rehearsal::HostKind::spiral,
                            rehearsal::HostKind::clumpy, rehearsal::HostKind::dusty}) {
        if (request.host == word(kind)) o.host_kind = kind;
    }
    o.host_angle_deg = request.host_angle_deg;
    if (request.with_template) o.host_template = request.host_template;
    o.cloud = !request.clear;
    o.flip = !request.no_flip;
    o.trailing = !request.no_trails;
    o.transient_colour_known = !request.no_colour;
    settle_camera(request);
    settle_saving(request);
    settle_field(request);
    const auto made = rehearsal::rehearse(request.folder, o,
                                          [&](std::size_t done, std::size_t of) { face.progress(done, of); });
    if (!made) {
        face.status = face.say(made.error());
        return;
    }
    if (face.json) {
        face.say_json({{"folder", made->folder},
                       {"frames", made->frames},
                       {"decline_mag_per_day", made->decline_mag_per_day},
                       {"truth", made->folder + "/truth.csv"}});
        return;
    }
    std::cout << fmt::format(
        "{} invented frames are in {}. The transient fades by {:.4f} mag a day; truth.csv knows the rest.\n",
        made->frames, made->folder, made->decline_mag_per_day);
    if (face.quiet) return;
    const std::string folder = tasks::shell_word(made->folder);
    if (o.calibration) {
        std::cout << fmt::format(
            "Single bias, dark and flat exposures are in {}/calibration: `emberline masters build -c {} {}` "
            "makes masters of them.\n",
            made->folder, folder, tasks::shell_word(made->folder + "/calibration"));
    }
    std::cout << fmt::format("Next: emberline measure -c {}\n", folder);
}

void add_host_options(CLI::App& sub, RehearseRequest& request) {
    rehearsal::RehearsalOptions& o = request.options;
    CLI::Option* host = sub.add_option("--host", request.host,
                                       "The galaxy about the transient; smooth, spiral, clumpy and dusty "
                                       "ones are drawn from the seed")
                            ->type_name("KIND")
                            ->capture_default_str()
                            ->check(CLI::IsMember({"usual", "smooth", "spiral", "clumpy", "dusty", "none"}));
    sub.add_flag("--no-host", request.no_host, "No galaxy about the transient")->excludes(host);
    sub.add_option("--host-offset,--host-offset-arcsec", o.host_offset_arcsec,
                   "How far the nucleus is from the transient")
        ->type_name("ARCSEC")
        ->capture_default_str();
    sub.add_option("--host-angle", request.host_angle_deg,
                   "Where the nucleus is seen from the transient, east of north")
        ->type_name("DEGREES")
        ->capture_default_str();
    sub.add_option("--defocus", o.defocused_share, "Share of the frames that are out of focus, 0 to 1")
        ->type_name("SHARE")
        ->capture_default_str();
    sub.add_option("--defocus-px", o.defocus_px, "Radius that they are blurred to at most")
        ->type_name("PX")
        ->capture_default_str();

    rehearsal::TemplateOptions& t = request.host_template;
    CLI::Option* with = sub.add_flag("--with-template", request.with_template,
                                     "A deep frame without the transient, by another instrument");
    const auto of_template = [&](const char* name, double& value, const char* unit, const char* meaning) {
        sub.add_option(name, value, meaning)->type_name(unit)->capture_default_str()->needs(with);
    };
    of_template("--template-scale", t.scale_arcsec_per_px, "ARCSEC/PX", "Its scale");
    of_template("--template-rotation", t.rotation_deg, "DEGREES", "Its rotation");
    of_template("--template-fwhm", t.fwhm_arcsec, "ARCSEC", "Its seeing");
    of_template("--template-exposure-s", t.exposure_s, "SECONDS", "Its exposure");
    of_template("--template-residual", t.residual_share, "SHARE",
                "Share of the transient's light at its brightest that is still in it, 0 to 1");
    sub.add_flag("--template-mirrored", t.mirrored, "It is mirrored")->needs(with);
}

}  // namespace

void add_rehearse(CLI::App& app, Face& face) {
    CLI::App* sub =
        app.add_subcommand("rehearse", "Write an invented campaign with simulated frames and its truth");
    sub->footer(
        "Examples:\n  emberline rehearse demo --nights 6 --frames 10 --band B --band V\n"
        "  emberline rehearse colour --mosaic RGGB --calibration 20 --vignetting 0.3\n"
        "  emberline rehearse unsolved --nights 1 --frames 20 --solved 1 --drift-px 40\n"
        "  emberline rehearse stacks --stack 20 --exposure-s 10 --stack-header silent");
    const auto request = std::make_shared<RehearseRequest>();
    rehearsal::RehearsalOptions& o = request->options;
    sub->add_option("DIR", request->folder, "A folder that does not exist yet, or is empty")->required();
    sub->add_option("--nights", o.nights, "Nights")
        ->type_name("N")
        ->capture_default_str()
        ->check(CLI::Range(1, 1000));
    sub->add_option("--frames", o.frames, "Frames a night and band")
        ->type_name("N")
        ->capture_default_str()
        ->check(CLI::Range(1, 10000));
    sub->add_option("--spacing-days", o.night_spacing_days, "Time between nights")
        ->type_name("DAYS")
        ->capture_default_str();
    sub->add_option("--band", o.bands, "Band to observe in")
        ->type_name("BAND")
        ->capture_default_str()
        ->allow_extra_args(false);
    sub->add_option("--exposure-s", o.exposure_s, "Exposure of a frame")
        ->type_name("SECONDS")
        ->capture_default_str();
    sub->add_option("--peak-mag", o.peak_mag, "The transient's magnitude at its brightest")
        ->type_name("MAG")
        ->capture_default_str();
    sub->add_option("--decline", o.decline_mag_per_day, "How fast it fades")
        ->type_name("MAG/DAY")
        ->capture_default_str();
    sub->add_option("--stars", o.comparison_stars, "Comparison stars")->type_name("N")->capture_default_str();
    sub->add_option("--faintest-star", o.faintest_comparison_mag, "Magnitude of the faintest of them")
        ->type_name("MAG")
        ->capture_default_str();
    sub->add_option("--catalogue-err", o.catalogue_err_mag, "Error of their catalogue magnitudes")
        ->type_name("MAG")
        ->capture_default_str();
    sub->add_option("--colour-term", o.colour_term,
                    "Colour term of the instrument, magnitudes a magnitude of colour")
        ->type_name("TERM")
        ->capture_default_str();
    sub->add_option("--fwhm-arcsec", o.fwhm_arcsec, "Seeing: the full width of a star at half its height")
        ->type_name("ARCSEC")
        ->capture_default_str();
    add_host_options(*sub, *request);
    add_camera_options(*sub, *request);
    add_saving_options(*sub, *request);
    add_field_options(*sub, *request);
    sub->add_option("--width", o.width_px, "Pixels a row")->type_name("PX")->capture_default_str();
    sub->add_option("--height", o.height_px, "Rows")->type_name("PX")->capture_default_str();
    sub->add_option("--seed", o.seed, "The same seed gives the same campaign")
        ->type_name("N")
        ->capture_default_str();
    sub->add_flag("--clear", request->clear, "No cloud");
    sub->add_flag("--no-flip", request->no_flip, "No meridian flip");
    sub->add_flag("--no-trails", request->no_trails, "No trailed frames");
    sub->add_flag("--unknown-colour", request->no_colour,
                  "Leave the transient's colour out of campaign.toml");
    sub->callback([request, &face] { run(*request, face); });
}

}  // namespace emberline::command
