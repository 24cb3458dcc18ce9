// SPDX-License-Identifier: MIT
#include <fmt/format.h>

#include <iostream>
#include <memory>
#include <nlohmann/json.hpp>

#include "command/face.hpp"
#include "sky/time_scales.hpp"
#include "tasks/inspect.hpp"

namespace emberline::command {
namespace {

template <class T>
std::string said(const frame::MaybeFact<T>& fact, const std::string& unit, const char* pattern = "{:g}") {
    if (!fact) return "not said";
    return fmt::format(fmt::runtime(pattern), fact->value) + unit + "  (" + fact->source + ")";
}

std::string said_text(const frame::MaybeFact<std::string>& fact) {
    return fact ? fact->value + "  (" + fact->source + ")" : "not said";
}

void print_line(const char* name, const std::string& value) {
    std::cout << fmt::format("  {:<14}{}\n", name, value);
}

void print_frame(const tasks::InspectedFrame& one) {
    const frame::FrameFacts& f = one.facts;
    print_line("image",
               fmt::format("{} × {} {}{}{}", f.width_px, f.height_px, f.pixel_type,
                           f.tile_compressed ? ", tile-compressed" : "",
                           f.planes > 1 ? fmt::format(", plane {} of {}", f.plane + 1, f.planes) : ""));
    if (f.lattice && f.pattern) {
        print_line("mosaic",
                   fmt::format("{} at the first of {} × {} pixels, the {} ones{}  ({})", f.pattern->value,
                               f.lattice->stored_width_px, f.lattice->stored_height_px, tasks::colour_name(f),
                               f.lattice->turned() ? ", turned by 45°" : "", f.pattern->source));
    }
    print_line("mid-exposure", f.mid_exposure ? fmt::format("{}  ({})", sky::iso(f.mid_exposure->value, 1),
                                                            f.mid_exposure->source)
                                              : "not said");
    print_line("exposure", said(f.exposure_s, " s"));
    if (f.stacked_exposures && f.stacked_exposures->value > 1)
        print_line("stack of", said(f.stacked_exposures, "", "{}"));
    print_line("filter", said_text(f.filter));
    print_line("band", f.band ? fmt::format("{}  ({})", f.band->value.name(), f.band->source) : "not known");
    print_line("gain", said(f.gain_e_per_adu, " e-/ADU"));
    print_line("read noise", said(f.read_noise_e, " e-"));
    print_line("saturation", said(f.saturation_adu, " ADU"));
    if (f.gain_setting) print_line("gain setting", said(f.gain_setting, ""));
    if (f.temperature_c) print_line("sensor", said(f.temperature_c, " °C"));
    if (f.calibrated) print_line("calibrated", said_text(f.calibrated));
    for (const std::string& master : f.masters)
        print_line("applied", master);
    if (f.site) {
        print_line("site", fmt::format("{:.4f} {:+.4f}  ({})", f.site->value.latitude.degrees(),
                                       f.site->value.longitude.degrees(), f.site->source));
    }
    if (f.object) print_line("object", said_text(f.object));
    if (one.plate) {
        print_line(
            "plate",
            fmt::format("{}, {:.3f}\"/px, +y at {:.1f}°{}, centre {} {}", one.plate->description,
                        one.plate->scale_arcsec_per_px, one.plate->position_angle_deg,
                        one.plate->mirrored ? ", mirrored" : "", sexagesimal_hours(one.plate->centre.ra, 0),
                        sexagesimal_degrees(one.plate->centre.dec, 0)));
    } else if (one.plate_problem) {
        print_line("plate", one.plate_problem->what + " " + one.plate_problem->mend);
    }
    if (one.stars_on_frame) {
        print_line("sequence",
                   fmt::format("{} of {} stars on the frame", *one.stars_on_frame, *one.stars_in_sequence));
    }
    for (const std::string& remark : f.remarks)
        print_line("note", remark);
    if (one.late_date) {
        print_line("note",
                   "The date is after the last leap second that is known here: UTC may be off by a second.");
    }
    for (const std::string& missing : one.missing)
        print_line("MISSING", missing);
}

}  // namespace

void add_inspect(CLI::App& app, Face& face) {
    CLI::App* sub =
        app.add_subcommand("inspect", "What each frame says, what was inferred, what is missing or wrong");
    sub->footer("Example:\n  emberline inspect frames/2024-03-14/V_001.fits");
    const auto places = std::make_shared<std::vector<std::string>>();
    sub->add_option("FRAME", *places, "FITS files, or folders of them")->required();
    sub->callback([&face, places] {
        const auto files = tasks::inspect(*places, face.campaign);
        if (!files) {
            face.status = face.say(files.error());
            return;
        }
        std::size_t good = 0, bad = 0;
        for (const tasks::InspectedFile& file : *files) {
            bool usable = !file.problem;
            for (const tasks::InspectedFrame& one : file.frames)
                usable = usable && one.missing.empty();
            (usable ? good : bad) += 1;
        }
        face.status = bad == 0 ? all_done : good > 0 ? something_refused : nothing_measured;
        if (face.json) {
            face.say_json(tasks::document(*files));
            return;
        }
        for (const tasks::InspectedFile& file : *files) {
            std::cout << file.path << '\n';
            if (file.problem) print_line("PROBLEM", file.problem->what + " " + file.problem->mend);
            for (const tasks::InspectedFrame& one : file.frames)
                print_frame(one);
        }
    });
}

}  // namespace emberline::command
