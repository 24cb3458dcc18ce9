// SPDX-License-Identifier: MIT
// tests/page/asked — a route called as the server would call it, without a network.
#pragma once

#include <catch2/catch.hpp>
#include <map>
#include <nlohmann/json.hpp>
#include <string>

#include "page/route.hpp"
#include "page/session.hpp"

namespace emberline::testing {

// "GET" or "POST"; `query` of the address.
inline Result<page::Answer> asked(page::Session& session, const std::string& method, const std::string& path,
                                  const std::multimap<std::string, std::string>& query = {},
                                  const std::string& body = {}) {
    for (const page::Route& route : page::all_routes()) {
        auto parts = page::match(route.pattern, path);
        if (!parts || route.change != (method == "POST")) continue;
        page::Query given;
        given.path = std::move(*parts);
        given.query = query;
        given.body = body;
        return route.handle(session, given);
    }
    FAIL("no route for " << method << " " << path);
    return page::Answer{};
}

// The document that it is answered; the test fails where it is a Problem.
inline nlohmann::json answered(page::Session& session, const std::string& path,
                               const std::multimap<std::string, std::string>& query = {}) {
    const auto answer = asked(session, "GET", path, query);
    if (!answer) FAIL(path << ": " << one_line(answer.error()));
    return nlohmann::json::parse(answer->body);
}

inline Result<page::Answer> sent(page::Session& session, const std::string& path,
                                 const nlohmann::json& body) {
    return asked(session, "POST", path, {}, body.dump());
}

}  // namespace emberline::testing
