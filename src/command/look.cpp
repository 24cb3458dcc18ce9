// SPDX-License-Identifier: MIT
#include "tasks/look.hpp"

#include <fmt/format.h>

#include <cmath>
#include <iostream>
#include <memory>
#include <nlohmann/json.hpp>

#include "command/face.hpp"
#include "quantities/text.hpp"

namespace emberline::command {
namespace {

struct LookWords {
    std::string frame, star, place, band;
};

Result<tasks::LookRequest> request_of(const LookWords& words) {
    tasks::LookRequest request;
    if (!words.star.empty() && !words.place.empty()) {
        return fail({.what = "Either a star or a place can be looked at, not both.",
                     .where = "look",
                     .mend = "Leave --star or --at out.",
                     .kind = ProblemKind::request});
    }
    if (words.place.empty()) {
        request.label = words.star.empty() ? photometry::transient_label : words.star;
        return request;
    }
    const auto comma = words.place.find(',');
    const auto x = parse_number(words.place.substr(0, comma));
    const auto y = comma == std::string::npos ? std::nullopt : parse_number(words.place.substr(comma + 1));
    if (!x || !y) {
        return fail({.what = fmt::format("'{}' is no place.", words.place),
                     .where = "look --at",
                     .mend = "Write it as X,Y in pixels from 0: --at 512.3,488.",
                     .kind = ProblemKind::request});
    }
    request.place = frame::PixelPosition{*x, *y};
    return request;
}

Result<tasks::LookedStar> look_at(const LookWords& words, const Face& face) {
    const auto request = request_of(words);
    if (!request) return fail(request.error());
    const auto workspace = tasks::open_workspace(face.campaign);
    if (!workspace) return fail(workspace.error());
    const auto ledger = ledger::Ledger::open(workspace->ledger_path(), ledger::Ledger::Access::read);
    if (!ledger) return fail(ledger.error());
    const auto frame = tasks::find_measured(*workspace, *ledger, words.frame, words.band);
    if (!frame) return fail(frame.error());
    return tasks::look(*workspace, *ledger, *frame, *request);
}

void print_light(const tasks::LookedStar& star) {
    print_line("sky",
               fmt::format("{:.2f} ± {:.2f} ADU, a pixel's noise {:.2f} ADU, {:.1f} to {:.1f} px away",
                           star.sky_adu, star.sky_err_adu, star.sky_noise_adu, star.inner_px, star.outer_px));
    print_line("peak", fmt::format("{:.0f} ADU{}", star.peak_adu, star.saturated ? ", SATURATED" : ""));
    if (!std::isfinite(star.flux_e.value)) {
        print_line("flux", "cannot be told: light is missing");
    } else {
        print_line("flux", fmt::format("{:.0f} ± {:.0f} e-, S/N {:.1f}, {} {:.2f} px", star.flux_e.value,
                                       star.flux_e.err, star.flux_e.signal_to_noise(),
                                       star.method == "psf" ? "by the PSF, whose noise is that of a circle of"
                                                            : "in a circle of",
                                       star.aperture_px));
    }
    if (star.instrumental_mag) print_line("instrumental", fmt::format("{:.3f} mag", *star.instrumental_mag));
    if (star.magnitude) print_line("magnitude", with_error(*star.magnitude, 3));
    if (star.catalogue_mag) print_line("catalogue", with_error(*star.catalogue_mag, 3));
    if (star.residual_mag)
        print_line("residual", fmt::format("{:+.3f}, measured less catalogue", *star.residual_mag));
    if (!star.caveats.empty()) print_line("flags", star.caveats.words());
}

// The fitted curve between its points.
double fitted_at(const std::vector<tasks::RadialPoint>& curve, double radius_px) {
    for (std::size_t i = 1; i < curve.size(); ++i) {
        if (radius_px > curve[i].radius_px) continue;
        const double along =
            (radius_px - curve[i - 1].radius_px) / (curve[i].radius_px - curve[i - 1].radius_px);
        return std::lerp(curve[i - 1].adu, curve[i].adu, along);
    }
    return 0.0;
}

void print(const tasks::LookedStar& star) {
    std::cout << fmt::format("{}, {}\n", star.frame,
                             star.label.empty()                          ? "a star of no label"
                             : star.label == photometry::transient_label ? "the transient"
                                                                         : "star " + star.label);
    print_line("position", fmt::format("x = {:.3f}, y = {:.3f} ± {:.3f} px", star.position.x, star.position.y,
                                       star.position_err_px));
    if (star.place) {
        print_line("on the sky", fmt::format("{} {} (ICRS)", sexagesimal_hours(star.place->ra, 2),
                                             sexagesimal_degrees(star.place->dec, 1)));
    }
    if (star.profile) {
        print_line("profile",
                   fmt::format("FWHM {:.2f} ± {:.2f} px, {:.2f} times as long as wide towards {:.0f}°, "
                               "Moffat β {:.2f}",
                               star.profile->fwhm_px, star.profile->fwhm_err_px, star.profile->elongation,
                               star.profile->direction.degrees(), star.profile->moffat_beta));
    }
    print_light(star);
    for (const std::string& remark : star.remarks)
        print_line("note", remark);
    TextTable rings({"radius, px", "ADU above sky", "profile"});
    for (const tasks::RadialPoint& ring : star.rings) {
        rings.add(
            {fmt::format("{:.2f}", ring.radius_px), fmt::format("{:.1f}", ring.adu),
             star.fitted.empty() ? "-" : fmt::format("{:.1f}", fitted_at(star.fitted, ring.radius_px))});
    }
    std::cout << '\n' << rings.text();
    if (star.growth.empty()) return;
    TextTable growth({"circle, px", "share of light", "error"});
    for (const tasks::GrowthPoint& point : star.growth) {
        growth.add({fmt::format("{:.2f}", point.radius_px), fmt::format("{:.4f}", point.share),
                    fmt::format("{:.4f}", point.err)});
    }
    std::cout << '\n' << growth.text();
}

}  // namespace

void add_look(CLI::App& app, Face& face) {
    CLI::App* sub = app.add_subcommand(
        "look", "One star of a measured frame: profile, growth of its light, sky, flux, magnitude");
    sub->footer(
        "Examples:\n  emberline look 2024-03-14/V_001.fits --star 126\n  emberline look "
        "2024-03-14/V_001.fits "
        "--star transient\n  emberline look 2024-03-14/V_001.fits --at 171,65");
    const auto words = std::make_shared<LookWords>();
    sub->add_option("FRAME", words->frame, "As the ledger names it, or the end of its path")->required();
    sub->add_option("--star", words->star, "Label of a comparison star")
        ->type_name("STAR")
        ->default_str("transient");
    sub->add_option("--at", words->place, "Pixel: what is brightest within 2.5 FWHM of it")->type_name("X,Y");
    sub->add_option("--band", words->band, "Only this band, of a file that holds several colours")
        ->type_name("BAND");
    sub->callback([&face, words] {
        const auto star = look_at(*words, face);
        if (!star) {
            face.status = face.say(star.error());
            return;
        }
        if (face.json) {
            face.say_json(tasks::document(*star));
        } else {
            print(*star);
        }
    });
}

}  // namespace emberline::command
