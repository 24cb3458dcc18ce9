// SPDX-License-Identifier: MIT
#include <unistd.h>

#include <algorithm>
#include <filesystem>
#include <nlohmann/json.hpp>
#include <set>

#include "page/gate.hpp"
#include "page/route.hpp"
#include "page/session.hpp"
#include "picture/band_look.hpp"
#include "tasks/frame_view.hpp"
#include "tasks/night_course.hpp"
#include "tasks/set_aside.hpp"

namespace emberline::page {
namespace {

constexpr double least_goal_mag = 1e-4, most_goal_mag = 1.0;

// No ledger yet is an empty one.
Result<std::optional<ledger::Ledger>> ledger_if_any(Session& session) {
    auto ledger = session.ledger();
    if (ledger) return std::optional<ledger::Ledger>(std::move(*ledger));
    if (ledger.error().kind == ProblemKind::input) return std::nullopt;
    return fail(ledger.error());
}

Json place(const SkyPosition& position) {
    return {{"ra_deg", position.ra.degrees()}, {"dec_deg", position.dec.degrees()}};
}

const char* word(picture::Shape shape) {
    switch (shape) {
        case picture::Shape::square:
            return "square";
        case picture::Shape::circle:
            return "disc";
        case picture::Shape::triangle:
            return "triangle";
        case picture::Shape::inverted_triangle:
            return "inverted-triangle";
        case picture::Shape::diamond:
            return "diamond";
        case picture::Shape::pentagon:
            return "pentagon";
    }
    return "disc";
}

// From blue to red.
std::vector<Band> bands_of(const std::vector<ledger::NightCount>& nights) {
    std::set<Band> all;
    for (const ledger::NightCount& night : nights)
        all.insert(night.bands.begin(), night.bands.end());
    std::vector<Band> bands(all.begin(), all.end());
    std::stable_sort(bands.begin(), bands.end(), [](const Band& a, const Band& b) {
        return facts(a).wavelength_nm < facts(b).wavelength_nm;
    });
    return bands;
}

Json bands_document(const std::vector<Band>& bands) {
    std::vector<std::string> names;
    for (const Band& band : bands)
        names.push_back(band.name());
    const std::vector<picture::BandLook> looks = picture::looks_of(names);
    Json list = Json::array();
    for (std::size_t i = 0; i < bands.size(); ++i) {
        list.push_back({{"name", names[i]},
                        {"colour", looks[i].colour},
                        {"shape", word(looks[i].shape)},
                        {"wavelength_nm", facts(bands[i]).wavelength_nm}});
    }
    return list;
}

Json nights_document(const std::vector<ledger::NightCount>& nights) {
    Json list = Json::array();
    for (const ledger::NightCount& night : nights) {
        Json bands = Json::array();
        for (const Band& band : night.bands)
            bands.push_back(band.name());
        list.push_back({{"night", night.night},
                        {"frames", night.frames},
                        {"used", night.used},
                        {"bands", std::move(bands)}});
    }
    return list;
}

// A template for every band stands for each that was measured.
Json templates_document(const night::Campaign& campaign, const std::vector<Band>& measured) {
    std::set<Band> bands;
    for (const auto& [name, file] : campaign.host_templates) {
        if (name.empty()) {
            bands.insert(measured.begin(), measured.end());
        } else if (const auto band = parse_band(name)) {
            bands.insert(*band);
        }
    }
    Json list = Json::array();
    for (const Band& band : bands) {
        list.push_back(
            {{"id", tasks::ViewId{.measured = {}, .template_of = band}.text()}, {"band", band.name()}});
    }
    return list;
}

Json changes_document(const ChangeLog& changes) {
    const auto newest = changes.newest();
    return {{"count", changes.all().size()}, {"undoable", newest ? Json(newest->words) : Json(nullptr)}};
}

Result<Answer> campaign(Session& session, const Query&) {
    const std::string revision = session.revision();
    const auto workspace = session.workspace();
    if (!workspace) return fail(workspace.error());
    const auto ledger = ledger_if_any(session);
    if (!ledger) return fail(ledger.error());
    std::vector<ledger::NightCount> nights;
    if (*ledger) {
        auto counted = (*ledger)->nights();
        if (!counted) return fail(counted.error());
        nights = std::move(*counted);
    }
    const night::Campaign& own = (*workspace)->campaign;
    const PageSettings& settings = session.settings();
    const std::vector<Band> bands = bands_of(nights);
    Json json = {{"title", own.name},
                 {"observer", own.observer_name.empty() ? own.observer_code : own.observer_name},
                 {"software", tasks::software},
                 {"revision", revision},
                 {"measured", !nights.empty()},
                 {"can_change", ::access(settings.campaign_folder.c_str(), W_OK) == 0},
                 {"key_needed", !is_loopback(settings.address)},
                 {"goal_mag", settings.goal_mag},
                 {"limit_sigma", own.measure.limit_sigma},
                 {"position", place(own.position)},
                 {"nucleus", own.nucleus ? place(*own.nucleus) : Json(nullptr)},
                 {"bands", bands_document(bands)},
                 {"nights", nights_document(nights)},
                 {"newest_night", nights.empty() ? Json(nullptr) : Json(nights.back().night)},
                 {"templates", templates_document(own, bands)},
                 {"series", Json::array()},
                 {"watching", Json::parse(watching_text(session.watcher().state()))},
                 {"changes", changes_document(session.changes())}};
    for (const std::string& file : settings.series)
        json["series"].push_back(std::filesystem::path(file).filename().string());
    return answer(json);
}

Result<Answer> nights(Session& session, const Query&) {
    const std::string revision = session.revision();
    const auto ledger = ledger_if_any(session);
    if (!ledger) return fail(ledger.error());
    Json json = {{"revision", revision}, {"nights", Json::array()}, {"exclusions", Json::array()}};
    if (!*ledger) return answer(json);
    const auto measured = (*ledger)->night_measurements();
    if (!measured) return fail(measured.error());
    const auto exclusions = (*ledger)->exclusions();
    if (!exclusions) return fail(exclusions.error());
    for (const night::NightMeasurement& night : *measured)
        json["nights"].push_back(tasks::document(night));
    for (const ledger::Exclusion& one : *exclusions) {
        json["exclusions"].push_back({{"kind", tasks::word(one.kind)},
                                      {"key", one.key},
                                      {"reason", one.reason},
                                      {"since", one.since}});
    }
    return answer(json);
}

Result<Answer> one_night(Session& session, const Query& query) {
    const auto goal = query.number("goal", least_goal_mag, most_goal_mag);
    if (!goal) return fail(goal.error());
    const double goal_mag = goal->value_or(session.settings().goal_mag);
    const std::string revision = session.revision();
    const auto workspace = session.workspace();
    if (!workspace) return fail(workspace.error());
    const auto ledger = session.ledger();
    if (!ledger)
        return ledger.error().kind == ProblemKind::input ? Result<Answer>(refusal(409, ledger.error()))
                                                         : fail(ledger.error());
    const std::string name = query.part("night");
    const auto course = tasks::night_course(**workspace, *ledger,
                                            name == "newest" ? std::nullopt : std::optional(name), goal_mag);
    if (!course) {
        switch (course.error().kind) {
            case ProblemKind::input:  // a ledger without a night
                return refusal(409, course.error());
            case ProblemKind::request:
                return refusal(404, course.error());
            default:
                return fail(course.error());
        }
    }
    Json json = tasks::document(*course);
    json["revision"] = revision;
    return answer(json);
}

}  // namespace

std::vector<Route> campaign_routes() {
    return {{false, "/api/campaign", campaign},
            {false, "/api/nights", nights},
            {false, "/api/nights/{night}", one_night}};
}

}  // namespace emberline::page
