// SPDX-License-Identifier: MIT
#include <fmt/format.h>

#include <filesystem>
#include <nlohmann/json.hpp>

#include "page/route.hpp"
#include "page/session.hpp"
#include "tasks/report_text.hpp"
#include "tasks/take_back_report.hpp"

namespace emberline::page {
namespace {

using tasks::ReportRequest;

constexpr std::size_t most_of_a_kind = 64;  // bands and flags of one request

Result<void> check(const ReportRequest& request) {
    if (tasks::report_file_name(request.format).empty()) {
        return fail({.what = fmt::format("There is no report of the format '{}'.", request.format),
                     .where = "format",
                     .mend = "Use network, server-json or server-tsv.",
                     .kind = ProblemKind::request});
    }
    if (request.bands.size() > most_of_a_kind) return fail(malformed("band", "is given too often"));
    if (request.hold.size() > most_of_a_kind) return fail(malformed("hold", "is given too often"));
    return {};
}

Result<ReportRequest> asked_by(const Query& query) {
    ReportRequest request{.format = query.text("format").value_or("network"),
                          .from_night = query.text("from"),
                          .to_night = query.text("to"),
                          .bands = query.texts("band"),
                          .hold = query.texts("hold"),
                          .transformed_only = query.flag("transformed_only"),
                          .no_limits = query.flag("no_limits"),
                          .frames = query.flag("frames"),
                          .again = query.flag("again"),
                          .dry_run = true};
    if (auto good = check(request); !good) return fail(good.error());
    return request;
}

Result<bool> truth(const Json& object, const std::string& name) {
    const auto found = object.find(name);
    if (found == object.end() || found->is_null()) return false;
    if (found->is_boolean()) return found->get<bool>();
    return fail(malformed(name, "is neither true nor false"));
}

Result<std::vector<std::string>> texts(const Json& object, const std::string& name) {
    std::vector<std::string> all;
    const auto found = object.find(name);
    if (found == object.end() || found->is_null()) return all;
    if (!found->is_array()) return fail(malformed(name, "is no list of texts"));
    for (const Json& one : *found) {
        if (!one.is_string()) return fail(malformed(name, "is no list of texts"));
        all.push_back(one.get<std::string>());
    }
    return all;
}

Result<ReportRequest> asked_in(const Json& body) {
    ReportRequest request;
    const auto format = text_member(body, "format", "network"), from = text_member(body, "from", ""),
               to = text_member(body, "to", "");
    for (const auto* text : {&format, &from, &to}) {
        if (!*text) return fail(text->error());
    }
    request.format = *format;
    if (!from->empty()) request.from_night = *from;
    if (!to->empty()) request.to_night = *to;
    for (const auto& [name, into] : {std::pair{"band", &request.bands}, std::pair{"hold", &request.hold}}) {
        auto given = texts(body, name);
        if (!given) return fail(given.error());
        *into = std::move(*given);
    }
    for (const auto& [name, into] :
         {std::pair{"again", &request.again}, std::pair{"transformed_only", &request.transformed_only},
          std::pair{"no_limits", &request.no_limits}, std::pair{"frames", &request.frames}}) {
        const auto given = truth(body, name);
        if (!given) return fail(given.error());
        *into = *given;
    }
    if (auto good = check(request); !good) return fail(good.error());
    return request;
}

Result<Answer> draft(Session& session, const Query& query) {
    const auto request = asked_by(query);
    if (!request) return fail(request.error());
    const auto workspace = session.workspace();
    if (!workspace) return fail(workspace.error());
    const auto outcome = tasks::report(**workspace, *request);
    if (!outcome) return fail(outcome.error());
    return answer(tasks::document(*request, *outcome));
}

// Called with Session::changing() held. Null: the ledger does not know of the report (a remark says so).
Result<Json> log_change(Session& session, const tasks::Workspace& workspace, const std::string& format,
                        const tasks::ReportOutcome& outcome) {
    const auto newest = tasks::newest_report(workspace, format);
    if (!newest) return fail(newest.error());
    if (!*newest || (*newest)->file != outcome.file) return Json(nullptr);
    const std::string since = (*newest)->since;
    const std::string words =
        fmt::format("{} line{} reported in {}.", outcome.lines, outcome.lines == 1 ? "" : "s",
                    std::filesystem::path(outcome.file).filename().string());
    const int number = session.changes().add(words, [&session, format, since]() -> Result<void> {
        const auto now = session.workspace();
        if (!now) return fail(now.error());
        const auto taken_back = tasks::take_back_report(**now, format, since);
        if (!taken_back) return fail(taken_back.error());
        return {};
    });
    return Json{{"number", number}, {"words", words}};
}

Result<Answer> write(Session& session, const Query& query) {
    const auto body = query.object();
    if (!body) return fail(body.error());
    const auto request = asked_in(*body);
    if (!request) return fail(request.error());
    const std::scoped_lock lock(session.changing());
    const auto workspace = session.workspace();
    if (!workspace) return fail(workspace.error());
    const auto outcome = tasks::report(**workspace, *request);
    if (!outcome) return fail(outcome.error());
    Json json = {{"file_name", nullptr},        {"download", nullptr}, {"lines", outcome->lines},
                 {"remarks", outcome->remarks}, {"change", nullptr},   {"revision", nullptr}};
    if (!outcome->file.empty()) {
        auto change = log_change(session, **workspace, request->format, *outcome);
        if (!change) return fail(change.error());
        json["file_name"] = std::filesystem::path(outcome->file).filename().string();
        json["download"] = "/api/report/file?format=" + request->format;
        json["change"] = std::move(*change);
    }
    json["revision"] = session.revision();
    return answer(json);
}

Result<Answer> newest_file(Session& session, const Query& query) {
    const auto workspace = session.workspace();
    if (!workspace) return fail(workspace.error());
    auto file = tasks::newest_report_file(**workspace, query.text("format").value_or("network"));
    if (!file) return fail(file.error());
    const bool json = std::filesystem::path(file->name).extension() == ".json";
    return Answer{.body = std::move(file->text),
                  .type = json ? "application/json" : "text/plain; charset=utf-8",
                  .file_name = file->name};
}

}  // namespace

std::vector<Route> report_routes() {
    return {{false, "/api/report", draft},
            {true, "/api/report", write},
            {false, "/api/report/file", newest_file}};
}

}  // namespace emberline::page
