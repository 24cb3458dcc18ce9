// SPDX-License-Identifier: MIT
// What a hostile or broken client sends, each with the answer it gets; the table is printed with
// `emberline_test_page "[hostile]"`. After each the page still answers.
#include <fmt/format.h>

#include <catch2/catch.hpp>
#include <chrono>

#include "page/served.hpp"

using namespace emberline;
using namespace emberline::testing;

namespace {

struct Hostile {
    std::string name;
    std::string bytes;  // {host} and {key} are put in
    int status = 0;     // 0: closed without an answer
};

std::string get(const std::string& path, const std::string& more = "") {
    return "GET " + path + " HTTP/1.1\r\nHost: {host}\r\nConnection: close\r\n" + more + "\r\n";
}

std::string post(const std::string& path, const std::string& body, const std::string& more = "") {
    return "POST " + path +
           " HTTP/1.1\r\nHost: {host}\r\nConnection: close\r\nContent-Type: application/json\r\n" +
           fmt::format("Content-Length: {}\r\n", body.size()) + more + "\r\n" + body;
}

std::string filled(std::string text, const std::string& name, const std::string& value) {
    for (auto at = text.find(name); at != std::string::npos; at = text.find(name, at + value.size()))
        text.replace(at, name.size(), value);
    return text;
}

int status_in(const std::string& answer) {
    return answer.starts_with("HTTP/1.1 ") ? std::stoi(answer.substr(9, 3)) : 0;
}

std::vector<Hostile> table() {
    const std::string key = "X-Emberline-Key: {key}\r\n";
    return {
        {"foreign Host", "GET / HTTP/1.1\r\nHost: evil.example\r\nConnection: close\r\n\r\n", 421},
        {"no Host", "GET / HTTP/1.1\r\nConnection: close\r\n\r\n", 421},
        {"foreign Origin", get("/api/campaign", "Origin: http://evil.example\r\n"), 403},
        {"Origin null", get("/api/campaign", "Origin: null\r\n"), 403},
        {"embedded by another site", get("/api/campaign", "Sec-Fetch-Site: cross-site\r\n"), 403},
        {"change without the key", post("/api/changes", "{}"), 403},
        {"change with a wrong key", post("/api/changes", "{}", "X-Emberline-Key: 0123\r\n"), 403},
        {"change with the key as a cookie", post("/api/changes", "{}", "Cookie: emberline-key={key}\r\n"),
         403},
        {"change from a foreign Origin", post("/api/changes", "{}", key + "Origin: http://evil.example\r\n"),
         403},
        {"change as a form",
         "POST /api/changes HTTP/1.1\r\nHost: {host}\r\nConnection: close\r\nContent-Type: text/plain\r\n" +
             key + "Content-Length: 2\r\n\r\n{}",
         415},
        {"up and away", get("/../../../../etc/passwd"), 404},
        {"up, written in per cent", get("/%2e%2e/%2e%2e/%2e%2e/etc/passwd"), 404},
        {"up within the API", get("/api/frames/..%2f..%2fcampaign.toml"), 404},
        {"a file of the campaign", get("/campaign.toml"), 404},
        {"the ledger", get("/campaign.ledger"), 404},
        {"two slashes", get("//etc/passwd"), 404},
        {"a NUL in the path", get("/page.js%00.css"), 404},
        {"a frame that is none", get("/api/frames/0123-0"), 404},
        {"a frame id of letters", get("/api/frames/%E2%98%83"), 400},
        {"a level beyond all", get("/api/frames/0123-0/tiles/99999999999/0/0"), 400},
        {"a negative tile", get("/api/frames/0123-0/tiles/0/-1/0"), 400},
        {"a night that is none", get("/api/nights/2024-02-31"), 404},
        {"a goal that is no number", get("/api/nights/newest?goal=nan"), 400},
        {"a rate from nowhere", get("/api/curve/rate?band=V&from=1e999&to=2"), 400},
        {"a band that is none", get("/api/curve?band=%27%3BDROP%20TABLE%20frame_fluxes"), 400},
        {"nothing of that name", get("/api/nothing"), 404},
        {"a method that is none", "FROB / HTTP/1.1\r\nHost: {host}\r\nConnection: close\r\n\r\n", 400},
        {"DELETE", "DELETE /api/changes HTTP/1.1\r\nHost: {host}\r\nConnection: close\r\n\r\n", 405},
        {"not HTTP at all", "hello\r\n\r\n", 400},
        {"bytes", std::string("\x16\x03\x01\x02\x00\x01\x00\x01\xfc\x03\x03\r\n\r\n", 15), 400},
        {"an address of 10 000 characters", get("/api/" + std::string(10000, 'a')), 414},
        {"a header line of 10 000 characters",
         get("/api/campaign", "X-Long: " + std::string(10000, 'a') + "\r\n"), 400},
        {"a body of 10 MB", post("/api/changes", std::string(10'000'000, ' '), key), 413},
        {"a body said to have 10^18 bytes",
         "POST /api/changes HTTP/1.1\r\nHost: {host}\r\nConnection: close\r\nContent-Type: "
         "application/json\r\n" +
             key + "Content-Length: 1000000000000000000\r\n\r\n{}",
         413},
        {"a body that is no JSON", post("/api/changes", "action=exclude", key), 400},
        {"a body that is a list", post("/api/changes", "[]", key), 400},
        {"a body nested 30 000 deep", post("/api/changes", std::string(30000, '['), key), 400},
        {"a change that says nothing", post("/api/changes", "{}", key), 400},
        {"a change of a star that is none",
         post("/api/changes", R"({"action":"exclude","kind":"star","key":"no such","reason":"x"})", key),
         400},
        {"an undo of nothing", post("/api/changes/undo", R"({"number":7})", key), 409},
        {"a report of no format", get("/api/report?format=../../x"), 400},
    };
}

}  // namespace

TEST_CASE("what hostile clients send is answered in words, and nothing is given away", "[hostile]") {
    Served served;
    const std::string ledger = contents(served.campaign().path("campaign.ledger"));
    std::string printed = fmt::format("{:40} {:>6} {:>6}  {}\n", "request", "wanted", "got", "what it says");
    for (const Hostile& one : table()) {
        INFO(one.name);
        const RawConnection connection(served.port());
        connection.send(filled(filled(one.bytes, "{host}", served.host()), "{key}", served.server().key()));
        const std::string answer = connection.receive(10.0);
        CHECK(status_in(answer) == one.status);
        CHECK(answer.find("root:") == std::string::npos);
        const auto body = nlohmann::json::parse(
            answer.substr(std::min(answer.size(), answer.find("\r\n\r\n") + 4)), nullptr, false);
        const bool told_why = body.is_object() && body.contains("problem");
        CHECK(told_why);
        printed += fmt::format("{:40} {:>6} {:>6}  {}\n", one.name, one.status, status_in(answer),
                               told_why ? body["problem"]["what"].get<std::string>() : "");
        auto client = served.client();
        const auto still = client.Get("/api/campaign");
        REQUIRE(still);
        CHECK(still->status == 200);
    }
    CHECK(contents(served.campaign().path("campaign.ledger")) == ledger);
    WARN(printed);
}

TEST_CASE("two hundred connections at once are all served, and idle ones hold up nobody", "[hostile]") {
    Served served;
    std::vector<std::unique_ptr<RawConnection>> idle;
    for (int i = 0; i < 100; ++i)
        idle.push_back(std::make_unique<RawConnection>(served.port()));
    for (const auto& one : idle)
        one->send("GET /api/campaign HTTP/1.1\r\nHost: ");  // and no more
    std::atomic<int> answered{0};
    std::vector<std::thread> askers;
    const auto start = std::chrono::steady_clock::now();
    for (int i = 0; i < 100; ++i) {
        askers.emplace_back([&] {
            auto client = served.client();
            const auto campaign = client.Get("/api/campaign");
            if (campaign && campaign->status == 200) ++answered;
        });
    }
    for (std::thread& asker : askers)
        asker.join();
    const double took_s = std::chrono::duration<double>(std::chrono::steady_clock::now() - start).count();
    CHECK(answered == 100);
    WARN(fmt::format("100 idle connections; 100 more answered in {:.2f} s", took_s));
}

TEST_CASE("listeners beyond what is held are told so", "[hostile]") {
    Served served;
    std::vector<std::unique_ptr<RawConnection>> listening;
    int refused = 0;
    for (int i = 0; i < 40; ++i) {
        listening.push_back(std::make_unique<RawConnection>(served.port()));
        listening.back()->send("GET /api/live HTTP/1.1\r\nHost: " + served.host() + "\r\n\r\n");
        refused += status_in(listening.back()->receive(5.0, 12)) == 503 ? 1 : 0;
    }
    CHECK(refused == 8);
    listening.clear();
    auto client = served.client();
    CHECK(client.Get("/api/campaign")->status == 200);
}

TEST_CASE("a browser that slept is told what it missed, or to read everything anew", "[hostile]") {
    Served served;
    auto client = served.client();
    const auto first = [&](const std::string& path) {
        std::string heard;
        client.Get(path, [&](const char* data, std::size_t size) {
            heard.append(data, size);
            return heard.find("event: ") == std::string::npos;
        });
        return heard;
    };
    // From another start of the program: its numbers mean nothing here.
    CHECK(served.campaign().run({"exclude", "2024-03-14", "--reason", "dew"}).status != 4);
    CHECK(first("/api/live?after=900").find("event: again") != std::string::npos);
    CHECK(first("/api/live?after=0").find("event: ledger") != std::string::npos);
}
