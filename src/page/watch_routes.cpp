// SPDX-License-Identifier: MIT
#include <nlohmann/json.hpp>

#include "page/route.hpp"
#include "page/session.hpp"

namespace emberline::page {
namespace {

Answer state_of(Session& session) {
    return {.body = watching_text(session.watcher().state())};
}

Result<Answer> start(Session& session, const Query&) {
    if (auto started = session.watch(); !started) return fail(started.error());
    return state_of(session);
}

Result<Answer> stop(Session& session, const Query&) {
    session.watcher().stop();
    return state_of(session);
}

}  // namespace

std::vector<Route> watch_routes() {
    return {{true, "/api/watch", start}, {true, "/api/watch/stop", stop}};
}

}  // namespace emberline::page
