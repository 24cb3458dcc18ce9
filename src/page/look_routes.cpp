// SPDX-License-Identifier: MIT
#include <nlohmann/json.hpp>

#include "page/route.hpp"
#include "page/session.hpp"
#include "tasks/find_measured.hpp"
#include "tasks/host_rows.hpp"
#include "tasks/look.hpp"

namespace emberline::page {
namespace {

constexpr double most_px = 1e6;

Problem wants_frame(const std::string& id) {
    return {.what = "Only a frame that was measured can be looked at so.",
            .where = id,
            .mend = "The night's list names its frames by their marks."};
}

Result<Answer> star(Session& session, const Query& query) {
    const auto id = tasks::parse_frame_id(query.part("id"));
    if (!id) return fail(wants_frame(query.part("id")));
    const auto x_px = query.number("x_px", -most_px, most_px);
    if (!x_px) return fail(x_px.error());
    const auto y_px = query.number("y_px", -most_px, most_px);
    if (!y_px) return fail(y_px.error());
    tasks::LookRequest request{.label = query.text("label"), .place = {}};
    if (*x_px && *y_px) request.place = frame::PixelPosition{**x_px, **y_px};
    if (request.label.has_value() == request.place.has_value()) {
        return fail({.what = "A star's label is needed, or a place: x_px and y_px.",
                     .where = "the request",
                     .mend = "API.md says what each request takes.",
                     .kind = ProblemKind::request});
    }
    const auto workspace = session.workspace();
    if (!workspace) return fail(workspace.error());
    const auto ledger = session.ledger();
    if (!ledger) return fail(ledger.error());
    const auto frame = tasks::find_measured(*ledger, *id);
    if (!frame) return fail(frame.error());
    const auto seen = tasks::look(**workspace, *ledger, *frame, request);
    if (!seen) return fail(seen.error());
    return answer(tasks::document(*seen));
}

// The campaign solved by each method takes long, and serves every frame.
Result<Answer> host(Session& session, const Query& query) {
    const auto id = tasks::parse_frame_id(query.part("id"));
    if (!id) return fail(wants_frame(query.part("id")));
    const auto workspace = session.workspace();
    if (!workspace) return fail(workspace.error());
    const auto ledger = session.ledger();
    if (!ledger) return fail(ledger.error());
    const auto trials = session.remembered<tasks::HostTrials>(
        "host trials", [&] { return tasks::HostTrials::solve(**workspace, *ledger); });
    if (!trials) return fail(trials.error());
    const auto rows = tasks::host_rows(**workspace, *ledger, **trials, id->fingerprint, id->plane);
    if (!rows) return fail(rows.error());
    return answer(tasks::document(*rows));
}

}  // namespace

std::vector<Route> look_routes() {
    return {{false, "/api/frames/{id}/star", star}, {false, "/api/frames/{id}/host", host}};
}

}  // namespace emberline::page
