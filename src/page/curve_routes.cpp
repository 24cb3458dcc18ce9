// SPDX-License-Identifier: MIT
#include <fmt/format.h>

#include <nlohmann/json.hpp>

#include "page/route.hpp"
#include "page/session.hpp"
#include "sky/time_scales.hpp"
#include "tasks/command_line.hpp"
#include "tasks/curve_words.hpp"
#include "tasks/export_table.hpp"

namespace emberline::page {
namespace {

using tasks::CurveRequest;
using tasks::CurveWords;

constexpr std::size_t most_of_a_kind = 32;  // bands, models and rates of one request

// All values of that name. Problem (request): more than anybody would choose.
Result<std::vector<std::string>> few(const Query& query, const std::string& name) {
    auto all = query.texts(name);
    if (all.size() <= most_of_a_kind) return all;
    return fail(
        malformed(name, fmt::format("is given {} times, and may be {} times", all.size(), most_of_a_kind)));
}

Result<CurveWords> words_of(const Session& session, const Query& query) {
    CurveWords words{.series = session.settings().series};
    for (const auto& [name, into] : {std::pair{"band", &words.bands}, std::pair{"model", &words.models},
                                     std::pair{"rate", &words.rates}}) {
        auto given = few(query, name);
        if (!given) return fail(given.error());
        *into = std::move(*given);
    }
    words.from = query.text("from").value_or("");
    words.to = query.text("to").value_or("");
    words.frames = query.flag("frames");
    return words;
}

Result<CurveRequest> request_of(const Session& session, const CurveWords& words) {
    CurveRequest request{.campaign_folder = session.settings().campaign_folder,
                         .threads = session.settings().threads,
                         .draw = false};
    if (auto good = tasks::read_words(words, request); !good) return fail(good.error());
    return request;
}

// The same words, the same fits: once for each state of the campaign.
Result<std::shared_ptr<const tasks::CurveOutcome>> fitted(Session& session, const CurveWords& words) {
    const auto request = request_of(session, words);
    if (!request) return fail(request.error());
    return session.remembered<tasks::CurveOutcome>(tasks::command_line(words),
                                                   [&] { return tasks::curve(*request); });
}

Result<Answer> curve(Session& session, const Query& query) {
    const auto words = words_of(session, query);
    if (!words) return fail(words.error());
    const std::string revision = session.revision();
    const auto outcome = fitted(session, *words);
    if (!outcome) return fail(outcome.error());
    Json json = {{"revision", revision}, {"command", tasks::command_line(*words)}};
    json.update(tasks::document(**outcome));
    json.update(tasks::document(tasks::course_of(**outcome)));
    return answer(json);
}

// Asked again and again while an interval is drawn with the pointer: the points are kept.
Result<Answer> rate(Session& session, const Query& query) {
    const std::string band = query.text("band").value_or("");
    const std::string text =
        fmt::format("{}:{}", query.text("from").value_or(""), query.text("to").value_or(""));
    const auto interval = tasks::read_interval(text);
    if (!interval) return fail(interval.error());
    const CurveWords all{.series = session.settings().series};
    const auto request = request_of(session, all);
    if (!request) return fail(request.error());
    const auto points = session.remembered<tasks::CurvePoints>("points of the curve",
                                                               [&] { return tasks::curve_points(*request); });
    if (!points) return fail(points.error());
    const auto found = tasks::rate_of_interval(**points, band, *interval);
    if (!found) return fail(found.error());
    CurveWords words = all;
    words.bands = {band};
    words.rates = {text};
    Json json = tasks::document(*found);
    json["command"] = tasks::command_line(words);
    return answer(json);
}

Result<Answer> picture(Session& session, const Query& query) {
    const auto words = words_of(session, query);
    if (!words) return fail(words.error());
    const std::string format = query.text("format").value_or("svg");
    const auto outcome = fitted(session, *words);
    if (!outcome) return fail(outcome.error());
    auto bytes = tasks::curve_picture(**outcome, format);
    if (!bytes) return fail(bytes.error());
    const std::string type = format == "svg"   ? "image/svg+xml"
                             : format == "pdf" ? "application/pdf"
                                               : "image/png";
    return Answer{.body = std::move(*bytes), .type = type, .file_name = "curve." + format};
}

Result<tasks::ForecastRequest> forecast_request(const Query& query) {
    tasks::ForecastRequest request{.draw = false, .keep = false};
    auto bands = few(query, "band");
    if (!bands) return fail(bands.error());
    request.bands = std::move(*bands);
    request.from = query.text("from");
    const auto goal = query.number("goal_mag", 0.001, 2.0);
    const auto nights = query.number("nights", 1.0, tasks::most_forecast_nights);
    for (const auto* number : {&goal, &nights}) {
        if (!*number) return fail(number->error());
    }
    request.goal_mag = goal->value_or(request.goal_mag);
    request.nights = static_cast<int>(nights->value_or(request.nights));
    return request;
}

std::string command_of(const tasks::ForecastRequest& request) {
    return tasks::CommandLine("forecast")
        .option("--band", request.bands)
        .option("--nights", fmt::format("{}", request.nights))
        .option("--from", request.from.value_or(""))
        .option("--goal", fmt::format("{}", request.goal_mag))
        .text();
}

Result<Answer> forecast(Session& session, const Query& query) {
    const auto request = forecast_request(query);
    if (!request) return fail(request.error());
    const std::string command = command_of(*request);
    // Without a date the calendar begins tonight, and that moves on by itself.
    const std::string name = command + " on " + sky::iso_date(sky::now());
    const auto outcome = session.remembered<tasks::ForecastOutcome>(
        name, [&] { return tasks::forecast(*request, session.settings().campaign_folder); });
    if (!outcome) return fail(outcome.error());
    Json json = tasks::document(**outcome);
    json["command"] = command;
    return answer(json);
}

struct TableKind {
    std::string_view format, ending, type;
};
constexpr TableKind table_kinds[] = {{"csv", "csv", "text/csv"},
                                     {"ecsv", "ecsv", "text/plain; charset=utf-8"},
                                     {"votable", "vot", "application/x-votable+xml"},
                                     {"fits", "fits", "application/fits"}};

Result<Answer> table(Session& session, const Query& query) {
    const std::string level = query.text("level").value_or("night");
    if (level != "night" && level != "frame") {
        return fail({.what = fmt::format("There is no table of the level '{}'.", level),
                     .where = "level",
                     .mend = "Use night or frame.",
                     .kind = ProblemKind::request});
    }
    const tasks::ExportRequest request{.frames = level == "frame",
                                       .format = query.text("format").value_or("csv")};
    const auto workspace = session.workspace();
    if (!workspace) return fail(workspace.error());
    auto bytes = tasks::exported_table(**workspace, request);
    if (!bytes) return fail(bytes.error());
    for (const TableKind& kind : table_kinds) {
        if (kind.format != request.format) continue;
        return Answer{.body = std::move(*bytes),
                      .type = std::string(kind.type),
                      .file_name = fmt::format("{}s.{}", level, kind.ending)};
    }
    return Answer{.body = std::move(*bytes), .type = "application/octet-stream", .file_name = level + "s"};
}

}  // namespace

std::vector<Route> curve_routes() {
    return {{false, "/api/curve", curve},
            {false, "/api/curve/rate", rate},
            {false, "/api/curve/picture", picture},
            {false, "/api/forecast", forecast},
            {false, "/api/table", table}};
}

}  // namespace emberline::page
