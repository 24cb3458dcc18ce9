// SPDX-License-Identifier: MIT
#include <fmt/format.h>

#include <nlohmann/json.hpp>

#include "page/route.hpp"
#include "page/session.hpp"
#include "tasks/star_course.hpp"

namespace emberline::page {
namespace {

// All fluxes of the ledger are read for it: once for each of its states.
Result<std::shared_ptr<const tasks::StarCourses>> courses(Session& session) {
    return session.remembered<tasks::StarCourses>("stars", [&]() -> Result<tasks::StarCourses> {
        const auto workspace = session.workspace();
        if (!workspace) return fail(workspace.error());
        const auto ledger = session.ledger();
        if (!ledger) return fail(ledger.error());
        return tasks::star_courses(**workspace, *ledger);
    });
}

Result<Answer> all_stars(Session& session, const Query&) {
    const std::string revision = session.revision();
    const auto all = courses(session);
    if (!all) return fail(all.error());
    Json json = {{"revision", revision}};
    json.update(tasks::document(**all));
    return answer(json);
}

Result<Answer> one_star(Session& session, const Query& query) {
    const auto all = courses(session);
    if (!all) return fail(all.error());
    const std::string label = query.part("label");
    const tasks::StarCourse* course = (*all)->find(label);
    if (course == nullptr) {
        return fail({.what = "No star of the sequence has that label.",
                     .where = fmt::format("'{}'", label),
                     .mend = "Choose one of the comparison stars."});
    }
    return answer(tasks::document(**all, *course));
}

}  // namespace

std::vector<Route> star_routes() {
    return {{false, "/api/stars", all_stars}, {false, "/api/stars/{label}", one_star}};
}

}  // namespace emberline::page
