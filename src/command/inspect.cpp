// SPDX-License-Identifier: MIT
#include <fmt/format.h>

#include <algorithm>
#include <filesystem>
#include <iostream>
#include <memory>
#include <nlohmann/json.hpp>

#include "command/face.hpp"
#include "quantities/text.hpp"
#include "sky/time_scales.hpp"
#include "tasks/check_documents.hpp"
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

int status_of(const std::vector<tasks::InspectedFile>& files) {
    std::size_t good = 0, bad = 0;
    for (const tasks::InspectedFile& file : files) {
        bool usable = !file.problem;
        for (const tasks::InspectedFrame& one : file.frames)
            usable = usable && one.missing.empty();
        (usable ? good : bad) += 1;
    }
    return bad == 0 ? all_done : good > 0 ? something_refused : nothing_measured;
}

int status_of(const tasks::CampaignCheck& check) {
    if (check.ledger_failed) return storage_failed;
    if (check.measurable == 0 || check.trial_failed) return nothing_measured;
    return check.count(tasks::CampaignFinding::Weight::wrong) > 0 ? something_refused : all_done;
}

void print_files(const std::vector<tasks::InspectedFile>& files) {
    for (const tasks::InspectedFile& file : files) {
        std::cout << file.path << '\n';
        if (file.problem) print_line("PROBLEM", file.problem->what + " " + file.problem->mend);
        for (const tasks::InspectedFrame& one : file.frames)
            print_frame(one);
    }
}

void print_check(const tasks::CampaignCheck& check) {
    using Weight = tasks::CampaignFinding::Weight;
    std::cout << fmt::format("{} at {} {}, in {}\n", check.name, sexagesimal_hours(check.position.ra, 1),
                             sexagesimal_degrees(check.position.dec, 0), check.folder);
    for (const Weight weight : {Weight::wrong, Weight::doubt, Weight::good}) {
        for (const tasks::CampaignFinding& finding : check.findings) {
            if (finding.weight != weight) continue;
            const std::string_view word = tasks::word(weight);
            std::cout << fmt::format("  {:<6} {:<11} {}\n", weight == Weight::good ? word : upper_case(word),
                                     finding.about, one_line(finding.problem));
        }
    }
    const std::size_t wrong = check.count(Weight::wrong), doubts = check.count(Weight::doubt);
    if (wrong + doubts == 0) {
        std::cout << "Nothing is wrong that can be seen before measuring.\n";
    } else {
        std::cout << fmt::format("{} wrong, {} in doubt.\n", wrong, doubts);
    }
}

struct Inspected {
    std::optional<std::vector<tasks::InspectedFile>> files;
    std::optional<tasks::CampaignCheck> check;
};

// Frames that are named are shown one by one; where there is a campaign, it is looked over as a whole.
Result<Inspected> inspect(const std::vector<std::string>& places, const std::string& campaign) {
    Inspected out;
    if (!places.empty()) {
        auto files = tasks::inspect(places, campaign);
        if (!files) return fail(files.error());
        out.files = std::move(*files);
    }
    std::error_code error;
    const bool there = std::filesystem::exists(std::filesystem::path(campaign) / "campaign.toml", error);
    if (places.empty() || there) {
        auto check = tasks::check_campaign(campaign, places);
        if (!check) return fail(check.error());
        out.check = std::move(*check);
    }
    return out;
}

}  // namespace

void add_inspect(CLI::App& app, Face& face) {
    CLI::App* sub = app.add_subcommand("inspect", "What is missing or wrong, in a campaign or in frames");
    sub->footer(
        "Without frames, the campaign is looked over as a whole: settings, sequence, site, frames, ledger, "
        "each\n"
        "against the others; one frame of each band is measured, into no ledger.\n\n"
        "Examples:\n  emberline inspect\n  emberline inspect frames/2024-03-14/V_001.fits");
    const auto places = std::make_shared<std::vector<std::string>>();
    sub->add_option("FRAME", *places, "FITS files, or folders of them");
    sub->callback([&face, places] {
        const auto inspected = inspect(*places, face.campaign);
        if (!inspected) {
            face.status = face.say(inspected.error());
            return;
        }
        const auto& [files, check] = *inspected;
        // Named frames decide alone whether anything can be measured.
        if (files) face.status = status_of(*files);
        if (check) face.status = std::max(face.status, status_of(*check));
        if (face.json) {
            tasks::Json json = files ? tasks::document(*files) : tasks::Json::object();
            if (check) json["campaign"] = tasks::document(*check);
            face.say_json(json);
            return;
        }
        if (files) print_files(*files);
        if (check) print_check(*check);
    });
}

}  // namespace emberline::command
