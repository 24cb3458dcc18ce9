// SPDX-License-Identifier: MIT
#include "page/gate.hpp"

#include <catch2/catch.hpp>
#include <chrono>
#include <thread>

using namespace emberline;
using namespace emberline::page;

namespace {

Gate opened(const PageSettings& settings = {}) {
    auto gate = Gate::open(settings);
    REQUIRE(gate);
    gate->set_port(8420);
    return std::move(*gate);
}

Knock knock(const std::string& method = "GET", const std::string& path = "/api/campaign") {
    return {.method = method, .path = path, .host = "127.0.0.1:8420", .from = "127.0.0.1"};
}

int status(Gate& gate, const Knock& knock) {
    const auto refused = gate.refuse(knock);
    return refused ? refused->status : 200;
}

}  // namespace

TEST_CASE("only this machine's names are answered to, at this port") {
    Gate gate = opened();
    for (const char* host : {"127.0.0.1:8420", "localhost:8420", "LOCALHOST:8420", "[::1]:8420"}) {
        Knock one = knock();
        one.host = host;
        INFO(host);
        CHECK(status(gate, one) == 200);
    }
    for (const char* host :
         {"", "evil.example", "evil.example:8420", "127.0.0.1", "127.0.0.1:80", "localhost:8421",
          "127.0.0.1:8420.evil.example", "[::1", "localhost:8420@evil.example"}) {
        Knock one = knock();
        one.host = host;
        INFO(host);
        CHECK(status(gate, one) == 421);
    }
}

TEST_CASE("a name that the observer gave is answered to") {
    Gate gate = opened({.names = {"Dome.local"}});
    Knock one = knock();
    one.host = "dome.local:8420";
    CHECK(status(gate, one) == 200);
}

TEST_CASE("another site's pages get nothing") {
    Gate gate = opened();
    for (const char* origin : {"http://evil.example", "null", "http://127.0.0.1:8421",
                               "https://127.0.0.1:8420", "http://localhost:8420"}) {
        Knock one = knock();
        one.origin = origin;
        INFO(origin);
        CHECK(status(gate, one) == 403);
    }
    Knock own = knock();
    own.origin = "http://127.0.0.1:8420";
    own.fetch_site = "same-origin";
    CHECK(status(gate, own) == 200);
    // A picture that another site embeds comes without Origin, but says where from.
    for (const char* site : {"cross-site", "same-site"}) {
        Knock embedded = knock();
        embedded.fetch_site = site;
        CHECK(status(gate, embedded) == 403);
    }
}

TEST_CASE("a change needs the key of this start, in its header") {
    Gate gate = opened();
    Knock one = knock("POST", "/api/changes");
    one.content_type = "application/json";
    CHECK(status(gate, one) == 403);
    one.key = "0000";
    CHECK(status(gate, one) == 403);
    one.key.clear();
    one.cookie = "emberline-key=" + gate.key();
    CHECK(status(gate, one) == 403);
    one.key = gate.key();
    CHECK(status(gate, one) == 200);
    one.content_type = "text/plain";  // what a form of another site could send
    CHECK(status(gate, one) == 415);
    CHECK(gate.key().size() == 48);
    CHECK(opened().key() != gate.key());
}

TEST_CASE("beyond this machine everything but the page's own files needs the key") {
    Gate gate = opened({.address = "0.0.0.0"});
    CHECK(!gate.loopback());
    CHECK(status(gate, knock()) == 403);
    CHECK(status(gate, knock("GET", "/page.js")) == 200);
    Knock with_cookie = knock();
    with_cookie.cookie = "other=1; emberline-key=" + gate.key();
    CHECK(status(gate, with_cookie) == 200);
    Knock with_key = knock();
    with_key.key = gate.key();
    CHECK(status(gate, with_key) == 200);
    CHECK(gate.cookie().find("HttpOnly; SameSite=Strict") != std::string::npos);
}

TEST_CASE("methods that mean nothing here are told so") {
    Gate gate = opened();
    for (const char* method : {"PUT", "DELETE", "OPTIONS", "PATCH", "TRACE"})
        CHECK(status(gate, knock(method)) == 405);
    CHECK(status(gate, knock("HEAD")) == 200);
}

TEST_CASE("too many requests are told to wait, and time lets them in again") {
    Gate gate = opened();
    int let_in = 0;
    for (int i = 0; i < 5000; ++i)
        let_in += status(gate, knock()) == 200 ? 1 : 0;
    CHECK(let_in >= 800);
    CHECK(let_in < 4000);
    // One is let in where another has waited long enough: of some, most are not.
    int told_to_wait = 0;
    for (int i = 0; i < 20; ++i)
        told_to_wait += status(gate, knock()) == 429 ? 1 : 0;
    CHECK(told_to_wait > 10);
    Knock other = knock();
    other.from = "127.0.0.2";
    CHECK(status(gate, other) == 200);
    std::this_thread::sleep_for(std::chrono::milliseconds(100));  // worth forty
    CHECK(status(gate, knock()) == 200);
}

TEST_CASE("secrets are compared whole") {
    CHECK(same_secret("abc", "abc"));
    CHECK(!same_secret("abc", "abd"));
    CHECK(!same_secret("abc", "abcd"));
    CHECK(!same_secret("", "abc"));
    CHECK(same_secret("", ""));
}
