// SPDX-License-Identifier: MIT
#include <fmt/format.h>

#include <iostream>
#include <memory>
#include <nlohmann/json.hpp>

#include "command/face.hpp"
#include "rehearsal/rehearse.hpp"

namespace emberline::command {
namespace {

struct Request {
    std::string folder;
    rehearsal::RehearsalOptions options;
    bool no_host = false, clear = false, no_flip = false, no_trails = false, no_colour = false;
};

void run(Request request, Face& face) {
    rehearsal::RehearsalOptions& o = request.options;
    o.host = !request.no_host;
    o.cloud = !request.clear;
    o.flip = !request.no_flip;
    o.trailing = !request.no_trails;
    o.transient_colour_known = !request.no_colour;
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
    if (!face.quiet) std::cout << fmt::format("Next: emberline measure -c {}\n", made->folder);
}

}  // namespace

void add_rehearse(CLI::App& app, Face& face) {
    CLI::App* sub =
        app.add_subcommand("rehearse", "Write an invented campaign with simulated frames and its truth");
    sub->footer("Example:\n  emberline rehearse demo --nights 6 --frames 10 --band B --band V");
    const auto request = std::make_shared<Request>();
    rehearsal::RehearsalOptions& o = request->options;
    sub->add_option("DIR", request->folder, "A folder that does not exist yet, or is empty")->required();
    sub->add_option("--nights", o.nights, "Nights")->capture_default_str()->check(CLI::Range(1, 1000));
    sub->add_option("--frames", o.frames, "Frames a night and band")
        ->capture_default_str()
        ->check(CLI::Range(1, 10000));
    sub->add_option("--spacing-days", o.night_spacing_days, "Days between nights")->capture_default_str();
    sub->add_option("--band", o.bands, "Band to observe in; once for each")->capture_default_str();
    sub->add_option("--exposure-s", o.exposure_s, "Exposure, seconds")->capture_default_str();
    sub->add_option("--peak-mag", o.peak_mag, "Magnitude at its brightest")->capture_default_str();
    sub->add_option("--decline", o.decline_mag_per_day, "Magnitudes a day")->capture_default_str();
    sub->add_option("--stars", o.comparison_stars, "Comparison stars")->capture_default_str();
    sub->add_option("--faintest-star", o.faintest_comparison_mag, "Magnitude of the faintest of them")
        ->capture_default_str();
    sub->add_option("--catalogue-err", o.catalogue_err_mag, "Error of their magnitudes")
        ->capture_default_str();
    sub->add_option("--colour-term", o.colour_term, "Colour term of the instrument")->capture_default_str();
    sub->add_option("--fwhm-arcsec", o.fwhm_arcsec, "Seeing")->capture_default_str();
    sub->add_option("--host-offset-arcsec", o.host_offset_arcsec, "Nucleus from the transient")
        ->capture_default_str();
    sub->add_option("--width", o.width_px, "Pixels a row")->capture_default_str();
    sub->add_option("--height", o.height_px, "Rows")->capture_default_str();
    sub->add_option("--seed", o.seed, "The same seed gives the same campaign")->capture_default_str();
    sub->add_flag("--no-host", request->no_host, "No galaxy about the transient");
    sub->add_flag("--clear", request->clear, "No cloud");
    sub->add_flag("--no-flip", request->no_flip, "No meridian flip");
    sub->add_flag("--no-trails", request->no_trails, "No trailed frames");
    sub->add_flag("--unknown-colour", request->no_colour,
                  "campaign.toml does not say the transient's colour");
    sub->callback([request, &face] { run(*request, face); });
}

}  // namespace emberline::command
