// SPDX-License-Identifier: MIT
#include "tasks/build_sequence.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <filesystem>
#include <map>
#include <set>

#include "ledger/ledger.hpp"
#include "picture/finder_chart.hpp"
#include "quantities/delimited_table.hpp"
#include "quantities/text.hpp"
#include "sky/time_scales.hpp"
#include "standard/photometric_catalogue.hpp"
#include "tasks/new_campaign.hpp"
#include "tasks/workspace.hpp"

namespace emberline::tasks {
namespace {

namespace fs = std::filesystem;

// Comparison stars about a fading transient: a few brighter now, most of them for the weeks to come.
// common practice, no source
constexpr double brighter_by_mag = 1.5, fainter_by_mag = 2.5;
// Where nothing is known of it: what small telescopes measure well and do not saturate on.
constexpr double usual_brightest_mag = 11.0, usual_faintest_mag = 16.0;
// The colours of a star of B-V = 0.6 (design, section 2), which many transients are near: from memory.
const std::map<std::string, double> usual_colours{{"B-V", 0.6},  {"V-Rc", 0.36}, {"V-Ic", 0.70},
                                                  {"g-r", 0.43}, {"g-i", 0.54},  {"r-i", 0.11}};
constexpr double most_radius_arcmin = 600.0;

// A sequence is what is not there yet.
Workspace without_sequence(const night::Campaign& campaign) {
    Workspace workspace;
    workspace.campaign = campaign;
    return workspace;
}

struct BandsWanted {
    std::vector<Band> all;
    std::set<Band> asked;  // the others are there for the colours alone
};

// The bands of the instruments, of what was measured so far, and of the table that is there: a new one must
// not lose any of them.
std::set<Band> bands_in_use(const night::Campaign& campaign, const std::vector<Band>& columns) {
    std::set<Band> bands(columns.begin(), columns.end());
    for (const frame::Instrument& instrument : campaign.instruments) {
        for (const auto& [filter, name] : instrument.bands) {
            if (const auto band = parse_band(name)) bands.insert(sequence_band(*band));
        }
    }
    const auto ledger =
        ledger::Ledger::open(without_sequence(campaign).ledger_path(), ledger::Ledger::Access::read);
    // Without a ledger nothing was measured.
    if (ledger) {
        static_cast<void>(ledger->for_each_night_measurement([&](const night::NightMeasurement& night) {
            if (!night.band.empty()) bands.insert(sequence_band(night.band));
            return true;
        }));
    }
    return bands;
}

Result<BandsWanted> bands_wanted(const night::Campaign& campaign, const std::vector<std::string>& words,
                                 const std::vector<Band>& columns) {
    BandsWanted wanted;
    for (const std::string& one : words) {
        auto band = parse_band(one);
        if (!band) {
            band.error().kind = ProblemKind::request;
            return fail(at("--band", band.error()));
        }
        wanted.asked.insert(sequence_band(*band));
    }
    if (words.empty()) wanted.asked = bands_in_use(campaign, columns);
    std::set<Band> all = wanted.asked;
    if (words.empty()) {
        for (const Band& band : wanted.asked) {
            const auto colour = usual_colour(band);
            if (colour) all.insert({colour->blue, colour->red});
        }
        if (all.empty()) {
            for (const char* name : {"B", "V", "Rc", "Ic"})
                all.insert(parse_band(name).value());
        }
    }
    wanted.all.assign(all.begin(), all.end());
    std::sort(wanted.all.begin(), wanted.all.end(), [](const Band& a, const Band& b) {
        return std::pair(facts(a).wavelength_nm, a) < std::pair(facts(b).wavelength_nm, b);
    });
    return wanted;
}

// Those that tell a star's colour too, whether they become columns or not.
std::vector<Band> with_colours(std::vector<Band> bands) {
    for (const char* name : {"B", "V", "Rc", "Ic", "g", "r", "i"}) {
        const Band band = parse_band(name).value();
        if (std::find(bands.begin(), bands.end(), band) == bands.end()) bands.push_back(band);
    }
    return bands;
}

double epoch_of(const night::Campaign& campaign) {
    return sky::epoch_jyear_of(campaign.discovered ? moment_of_day(*campaign.discovered).value
                                                   : sky::now().jd());
}

// Of the newest night that has one, in that band if any night does.
std::optional<double> last_magnitude(const night::Campaign& campaign, const Band& band) {
    const auto ledger =
        ledger::Ledger::open(without_sequence(campaign).ledger_path(), ledger::Ledger::Access::read);
    if (!ledger) return std::nullopt;
    std::optional<double> any, in_band;
    const auto read = ledger->for_each_night_measurement([&](const night::NightMeasurement& night) {
        if (night.magnitude_mag) {
            any = night.magnitude_mag;
            if (sequence_band(night.band) == band) in_band = night.magnitude_mag;
        }
        return true;
    });
    if (!read) return std::nullopt;
    return in_band ? in_band : any;
}

// What stands in the place of the new file.
struct FormerFile {
    std::string text;
    standard::Sequence sequence;
    bool there = false;
    bool holds_work = false;  // more than `new` wrote there
    bool has_stars = false;   // or what cannot be read, and may be stars
};

Result<FormerFile> former_file(const std::string& path) {
    FormerFile former;
    std::error_code error;
    if (!fs::exists(path, error)) return former;
    auto text = read_text_file(path);
    if (!text) {
        text.error().kind = ProblemKind::request;
        return fail(text.error());
    }
    former.there = true;
    former.text = std::move(*text);
    former.holds_work = former.text != empty_sequence_text() && !trimmed(former.text).empty();
    if (auto sequence = standard::parse_sequence(former.text, path)) {
        former.sequence = std::move(*sequence);
        former.has_stars = !former.sequence.stars.empty();
    } else {
        former.has_stars = former.holds_work;
    }
    return former;
}

Result<void> check_request(const BuildRequest& request) {
    const auto bad = [](std::string what, std::string where, std::string mend) {
        return fail({.what = std::move(what),
                     .where = std::move(where),
                     .mend = std::move(mend),
                     .kind = ProblemKind::request});
    };
    if (request.brightest_mag && request.faintest_mag && !(*request.brightest_mag < *request.faintest_mag)) {
        return bad("The range of magnitudes holds nothing.", "--magnitudes",
                   "Write the brighter end first: 11:15.");
    }
    if (!(request.radius_arcmin > 1.0 && request.radius_arcmin <= most_radius_arcmin)) {
        return bad(
            fmt::format("A field of {:g}′ about the transient makes no sense here.", request.radius_arcmin),
            "--radius", fmt::format("Give arcminutes, above 1 and up to {:g}.", most_radius_arcmin));
    }
    if (!(request.isolation_arcsec > 0.0 && request.isolation_arcsec < 60.0 * request.radius_arcmin)) {
        return bad(fmt::format("An isolation of {:g}″ makes no sense here.", request.isolation_arcsec),
                   "--isolation", "Give arcseconds, above 0 and less than the field's radius.");
    }
    if (request.stars == 0) return bad("No stars are asked for.", "--stars", "Ask for at least one.");
    return {};
}

// Everything that gives light, chosen or not, at the epoch of the stars.
std::vector<standard::Neighbour> neighbours_of(const standard::PhotometricCatalogue& catalogue,
                                               const standard::StandardStars& converted, const Band& band,
                                               double epoch_jyear) {
    std::map<std::size_t, const standard::StandardStar*> by_row;
    for (const standard::StandardStar& star : converted.stars)
        by_row[star.row] = &star;
    std::vector<standard::Neighbour> all;
    for (const standard::PhotometricStar& one : catalogue.stars) {
        standard::Neighbour neighbour{one.star.position, 0.0};
        const auto found = by_row.find(one.row);
        const auto in_band = found == by_row.end() ? std::map<Band, ValueWithError>::const_iterator()
                                                   : found->second->magnitudes.find(band);
        if (found != by_row.end()) neighbour.position = found->second->position;
        if (found != by_row.end() && in_band != found->second->magnitudes.end()) {
            neighbour.magnitude_mag = in_band->second.value;
        } else if (one.star.magnitude_mag) {
            neighbour.magnitude_mag = *one.star.magnitude_mag;
        } else if (!one.native.empty()) {
            neighbour.magnitude_mag = one.native.begin()->second.value;
        } else {
            continue;
        }
        const auto epoch = one.star.epoch_jyear ? one.star.epoch_jyear : catalogue.epoch_jyear;
        if (found == by_row.end() && one.star.motion && epoch) {
            if (const auto now = sky::moved(one.star.position, *one.star.motion, *epoch, epoch_jyear))
                neighbour.position = *now;
        }
        all.push_back(neighbour);
    }
    return all;
}

struct StarsWanted {
    standard::ChoiceSettings settings;
    bool magnitudes_known = false;  // how bright the transient is, or what range of stars was asked for
};

StarsWanted stars_wanted(const night::Campaign& campaign, const BuildRequest& request,
                         const std::vector<Band>& bands, const Band& band,
                         const standard::StandardStars& converted, const standard::Sequence& former) {
    StarsWanted wanted{.settings = {.bands = bands, .transient = campaign.position}};
    standard::ChoiceSettings& settings = wanted.settings;
    settings.nucleus = campaign.nucleus;
    settings.field.radius_arcmin = request.radius_arcmin;
    settings.isolation_arcsec = request.isolation_arcsec;
    settings.wanted = request.stars;
    const auto expected = request.transient_mag ? request.transient_mag : last_magnitude(campaign, band);
    wanted.magnitudes_known = expected.has_value() || request.brightest_mag.has_value();
    settings.brightest_mag =
        request.brightest_mag.value_or(expected ? *expected - brighter_by_mag : usual_brightest_mag);
    settings.faintest_mag =
        request.faintest_mag.value_or(expected ? *expected + fainter_by_mag : usual_faintest_mag);
    constexpr double into_the_range = brighter_by_mag / (brighter_by_mag + fainter_by_mag);
    settings.transient_mag = expected.value_or(
        settings.brightest_mag + into_the_range * (settings.faintest_mag - settings.brightest_mag));
    if (const auto colour = standard::colour_of_choice(band, converted.stars)) {
        const auto given = campaign.colours.find(colour->name());
        const auto usual = usual_colours.find(colour->name());
        if (given != campaign.colours.end()) {
            settings.transient_colour = given->second;
        } else if (usual != usual_colours.end()) {
            settings.transient_colour = usual->second;
        }
    }
    for (const standard::ComparisonStar& star : former.stars)
        settings.former.push_back({star.label, star.position, star.role});
    return wanted;
}

Result<void> check_coverage(const standard::PhotometricCatalogue& catalogue, const SkyPosition& transient,
                            double radius_arcmin) {
    double nearest_deg = 360.0;
    for (const standard::PhotometricStar& one : catalogue.stars)
        nearest_deg = std::min(nearest_deg, separation(transient, one.star.position).degrees());
    if (catalogue.stars.empty() || 60.0 * nearest_deg <= radius_arcmin) return {};
    return fail(
        {.what = fmt::format("The catalogue does not cover the field: its star nearest to the transient "
                             "is {:.2f}° away.",
                             nearest_deg),
         .where = catalogue.source,
         .mend = "Export the stars about the transient's position, or check that position."});
}

std::string shown_path(const std::string& path) {
    std::string plain;
    for (const char c : path)
        plain += static_cast<unsigned char>(c) < 0x20 ? '?' : c;
    return plain;
}

// The file says where its numbers come from.
std::string sequence_text(const BuildOutcome& outcome, const std::string& catalogue) {
    std::string text =
        fmt::format("# Comparison stars from {} ({}), chosen on {}. Positions: ICRS, as in {:.1f}.\n",
                    outcome.survey, shown_path(catalogue), sky::iso_date(sky::now()), outcome.epoch_jyear);
    std::map<std::string, std::set<std::string>> by;
    for (const standard::StandardStar& star : outcome.stars) {
        for (const auto& [band, equation] : star.by)
            by[band.name()].insert(equation);
    }
    for (const Band& band : outcome.choice.sequence.bands) {
        std::string names;
        for (const std::string& name : by[band.name()])
            names += (names.empty() ? "" : "; ") + name;
        text += fmt::format("# {} by: {}.\n", band.name(), names);
    }
    text +=
        "# Errors hold the survey's zero point and, of what was converted, the scatter of the relation.\n";
    return text + standard::write_sequence(outcome.choice.sequence);
}

// Beside the former file, under a name that nothing has.
Result<std::string> keep_copy(const std::string& path, const std::string& text) {
    std::string now = sky::iso(sky::now(), 0);
    std::erase(now, ':');
    const std::string first = fmt::format("{}.before-{}", path, now);
    std::string name = first;
    std::error_code error;
    for (int n = 2; fs::exists(name, error); ++n)
        name = fmt::format("{}-{}", first, n);
    if (auto written = write_text_file(name, text); !written) return fail(written.error());
    return name;
}

Result<std::string> draw(const night::Campaign& campaign, const BuildRequest& request,
                         const BuildOutcome& outcome, const std::vector<standard::Neighbour>& stars) {
    const std::string path = request.chart.empty() ? campaign.path("out/finder.svg") : request.chart;
    if (request.chart.empty()) {
        if (auto made = make_out_folder(without_sequence(campaign)); !made) return fail(made.error());
    }
    picture::FinderChart chart{.name = campaign.name,
                               .transient = campaign.position,
                               .nucleus = campaign.nucleus,
                               .radius_arcmin = request.radius_arcmin,
                               .band = outcome.choice.magnitude_band.name(),
                               .catalogue = outcome.survey,
                               .epoch_jyear = outcome.epoch_jyear,
                               .stars = {},
                               .marks = {}};
    for (const standard::Neighbour& star : stars)
        chart.stars.push_back({star.position, star.magnitude_mag});
    for (const standard::ComparisonStar& star : outcome.choice.sequence.stars) {
        const auto magnitude = star.magnitude(outcome.choice.magnitude_band);
        chart.marks.push_back(
            {{star.position, magnitude->value}, star.label, star.role == standard::Role::check});
    }
    if (auto drawn = picture::draw_finder_chart(chart, path); !drawn) return fail(drawn.error());
    return path;
}

void remark_on_campaign(const night::Campaign& campaign, bool magnitudes_known, bool will_be_written,
                        const FormerFile& former, BuildOutcome& outcome) {
    const auto& check = campaign.check_label;
    if (!check.empty() && outcome.choice.sequence.find(check) == nullptr) {
        outcome.remarks.push_back(
            fmt::format("campaign.toml names '{}' as the check star, and it is not among these stars: change "
                        "[comparison] "
                        "check, or take the line out.",
                        check));
    }
    if (!magnitudes_known) {
        outcome.remarks.push_back(fmt::format(
            "How bright the transient is, is not known yet: stars of {:g} to {:g} mag were considered. Say "
            "--expected or --magnitudes.",
            outcome.brightest_mag, outcome.faintest_mag));
    }
    std::error_code error;
    if (will_be_written && former.has_stars && fs::exists(campaign.path("campaign.ledger"), error)) {
        outcome.remarks.push_back(
            "Frames measured so far were measured with the former stars: run `emberline measure` on them "
            "once "
            "more.");
    }
}

}  // namespace

Result<BuildOutcome> build_sequence(const night::Campaign& campaign, const BuildRequest& request) {
    if (auto good = check_request(request); !good) return fail(good.error());
    const std::string file = request.output.empty() ? campaign.path(campaign.catalog) : request.output;
    const auto former = former_file(file);
    if (!former) return fail(former.error());
    const std::vector<Band> columns = former->has_stars ? former->sequence.bands : std::vector<Band>{};
    const auto bands = bands_wanted(campaign, request.bands, columns);
    if (!bands) return fail(bands.error());
    if (former->has_stars && !request.replace && !request.dry_run) {
        return fail({.what = "There is a sequence of that name already.",
                     .where = file,
                     .mend =
                         "Look with --dry-run; say --replace (the former file is kept beside the new one) "
                         "or name another with --output.",
                     .kind = ProblemKind::request});
    }
    const auto catalogue = standard::read_photometric_catalogue(request.catalogue, request.catalogue_epoch);
    if (!catalogue) {
        Problem problem = catalogue.error();
        if (problem.kind == ProblemKind::input) problem.kind = ProblemKind::request;
        return fail(problem);
    }
    if (auto covers = check_coverage(*catalogue, campaign.position, request.radius_arcmin); !covers)
        return fail(covers.error());

    BuildOutcome outcome{.survey = catalogue->survey,
                         .catalogue_stars = catalogue->stars.size(),
                         .epoch_jyear = epoch_of(campaign)};
    const auto converted = standard::on_bands(*catalogue, with_colours(bands->all), outcome.epoch_jyear);
    const Band band = standard::magnitude_band_of(bands->all, converted.stars);
    if (band.empty()) {
        return fail(
            {.what = "No star of the catalogue has, or can be given, a magnitude in a band asked for.",
             .where = request.catalogue,
             .mend = "Name others with --band; `emberline sequence build --relations` lists what can be "
                     "converted into what."});
    }
    const StarsWanted wanted = stars_wanted(campaign, request, bands->all, band, converted, former->sequence);
    const standard::ChoiceSettings& settings = wanted.settings;
    outcome.transient_mag = settings.transient_mag;
    outcome.brightest_mag = settings.brightest_mag;
    outcome.faintest_mag = settings.faintest_mag;

    const auto lights = neighbours_of(*catalogue, converted, band, outcome.epoch_jyear);
    auto choice = standard::choose_sequence(converted.stars, lights, settings);
    if (!choice) return fail(at(request.catalogue, choice.error()));
    outcome.choice = std::move(*choice);
    for (const standard::ChosenStar& star : outcome.choice.chosen)
        outcome.stars.push_back(converted.stars[star.index]);
    outcome.remarks = catalogue->remarks;
    for (const std::string& remark : standard::on_bands(*catalogue, bands->all, outcome.epoch_jyear).remarks)
        outcome.remarks.push_back(remark);
    outcome.remarks.insert(outcome.remarks.end(), outcome.choice.remarks.begin(),
                           outcome.choice.remarks.end());
    remark_on_campaign(campaign, wanted.magnitudes_known, !request.dry_run, *former, outcome);
    for (const Band& without : outcome.choice.without_stars) {
        if (!bands->asked.contains(without)) {
            outcome.remarks.push_back(
                fmt::format("No star has a magnitude in {0}: no colour term can be applied that needs it. A "
                            "catalogue with {0}, "
                            "or with bands that are converted into it, has.",
                            without.name()));
            continue;
        }
        outcome.refused.push_back(
            {.what = fmt::format("No star has a magnitude in {}.", without.name()),
             .where = request.catalogue,
             .mend = "Take a catalogue with that band, or one that is converted into it."});
    }
    if (request.dry_run) return outcome;

    if (former->holds_work) {
        auto kept = keep_copy(file, former->text);
        if (!kept) return fail(kept.error());
        outcome.kept = std::move(*kept);
    }
    if (auto written = write_text_file(file, sequence_text(outcome, request.catalogue)); !written)
        return fail(written.error());
    outcome.file = file;
    if (auto drawn = draw(campaign, request, outcome, lights)) {
        outcome.chart = std::move(*drawn);
    } else {
        outcome.refused.push_back(drawn.error());
    }
    return outcome;
}

}  // namespace emberline::tasks
