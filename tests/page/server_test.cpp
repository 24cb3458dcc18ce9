// SPDX-License-Identifier: MIT
#include <sys/stat.h>

#include <catch2/catch.hpp>
#include <filesystem>

#include "ledger/connection.hpp"
#include "ledger/ledger.hpp"
#include "page/served.hpp"

using namespace emberline;
using namespace emberline::testing;
using Catch::Contains;

TEST_CASE(
    "the front page comes with the key, closed to the world outside, and says so where it was left out") {
    Served served;
    auto client = served.client();
    const auto front = client.Get("/");
    REQUIRE(front);
    CHECK(front->status == 200);
    CHECK_THAT(front->get_header_value("Content-Type"), Contains("text/html"));
    const std::string policy = front->get_header_value("Content-Security-Policy");
    CHECK_THAT(policy, Contains("default-src 'none'") && Contains("frame-ancestors 'none'"));
    CHECK(policy.find("http") == std::string::npos);
    CHECK(front->get_header_value("X-Content-Type-Options") == "nosniff");
    CHECK(front->get_header_value("Referrer-Policy") == "no-referrer");
    if (page::has_site()) {
        CHECK_THAT(front->body, Contains("content=\"" + served.server().key() + "\""));
        const auto script = client.Get("/page.js");
        REQUIRE(script);
        CHECK(script->status == 200);
        CHECK_THAT(script->get_header_value("Content-Type"), Contains("text/javascript"));
    } else {
        CHECK_THAT(front->body, Contains("npm"));
    }
}

TEST_CASE("the campaign is told, and a change in another program is heard") {
    Served served;
    auto client = served.client();
    const auto campaign = client.Get("/api/campaign");
    REQUIRE(campaign);
    REQUIRE(campaign->status == 200);
    const auto before = nlohmann::json::parse(campaign->body);
    CHECK(before["measured"] == true);

    std::string heard;
    std::thread listener([&] {
        auto own = served.client();
        own.Get("/api/live", [&](const char* data, std::size_t size) {
            heard.append(data, size);
            return heard.find("event: ledger") == std::string::npos;
        });
    });
    std::this_thread::sleep_for(std::chrono::milliseconds(600));
    const std::string night = before["newest_night"];
    CHECK(served.campaign().run({"exclude", night, "--reason", "dew"}).status != 4);
    listener.join();
    CHECK_THAT(heard, Contains("event: ledger\ndata: {\"revision\":"));
    const auto after = nlohmann::json::parse(client.Get("/api/campaign")->body);
    CHECK(after["revision"] != before["revision"]);
}

TEST_CASE("a campaign without a ledger yet is shown, and its night says what to do") {
    Served served({}, false);
    auto client = served.client();
    const auto campaign = client.Get("/api/campaign");
    REQUIRE(campaign);
    CHECK(campaign->status == 200);
    CHECK(nlohmann::json::parse(campaign->body)["measured"] == false);
    const auto night = told(client.Get("/api/nights/newest"));
    CHECK(night.status >= 400);
    CHECK(night.status < 500);
}

TEST_CASE("a page ends, whoever listens, and frees its port") {
    Served served;
    const int port = served.port();
    std::vector<std::thread> listeners;
    std::atomic<int> sent_home{0};
    for (int i = 0; i < 3; ++i) {
        listeners.emplace_back([&] {
            auto own = served.client();
            std::string all;
            own.Get("/api/live", [&](const char* data, std::size_t size) {
                all.append(data, size);
                return true;
            });
            if (all.find("event: bye") != std::string::npos) ++sent_home;
        });
    }
    std::this_thread::sleep_for(std::chrono::milliseconds(300));
    served.stop();
    for (std::thread& listener : listeners)
        listener.join();
    CHECK(sent_home == 3);
    page::PageSettings again;
    again.campaign_folder = served.campaign().path();
    again.port = port;
    CHECK(page::PageServer::open(again));
}

TEST_CASE("a port that is taken, an address that is not here, and a folder without a campaign are refused") {
    Served served;
    page::PageSettings settings;
    settings.campaign_folder = served.campaign().path();
    settings.port = served.port();
    const auto taken = page::PageServer::open(settings);
    REQUIRE(!taken);
    CHECK(taken.error().kind == ProblemKind::storage);
    CHECK_THAT(taken.error().mend, Contains("--port"));
    settings.port = 0;
    settings.address = "192.0.2.1";  // RFC 5737: for documentation, nobody's
    CHECK(!page::PageServer::open(settings));
    settings = {};
    settings.campaign_folder = served.campaign().path("frames");
    const auto none = page::PageServer::open(settings);
    REQUIRE(!none);
    CHECK(none.error().kind == ProblemKind::request);
}

TEST_CASE("frames that land are measured by the page itself, and told") {
    Served served({}, false);
    auto client = served.client();
    const auto begun = client.Post("/api/watch", served.with_key(), "{}", "application/json");
    REQUIRE(begun);
    REQUIRE(begun->status == 200);
    CHECK(nlohmann::json::parse(begun->body)["under_way"] == true);
    CHECK(told(client.Post("/api/watch", served.with_key(), "{}", "application/json")).status == 400);
    std::string heard;
    client.Get("/api/live?after=0", [&](const char* data, std::size_t size) {
        heard.append(data, size);
        return heard.find("\"event\":\"measured\"") == std::string::npos;
    });
    CHECK_THAT(heard, Contains("event: frame"));
    auto other = served.client();
    const auto ended = other.Post("/api/watch/stop", served.with_key(), "{}", "application/json");
    REQUIRE(ended);
    const auto state = nlohmann::json::parse(ended->body);
    CHECK(state["under_way"] == false);
    CHECK(state["measured"] >= 1);
    CHECK(nlohmann::json::parse(other.Get("/api/campaign")->body)["measured"] == true);
}

TEST_CASE("a campaign's folder that goes and comes back is told, and the page goes on") {
    Served served;
    auto client = served.client();
    const std::string folder = served.campaign().path();
    // As when its disk is pulled out.
    const std::string away = folder.substr(0, folder.find_last_not_of('/') + 1) + ".away";
    std::filesystem::rename(folder, away);
    for (const char* path :
         {"/api/campaign", "/api/nights/newest", "/api/nights", "/api/stars", "/api/frames"}) {
        INFO(path);
        const auto gone = told(client.Get(path));
        CHECK(gone.status == 503);
        CHECK_THAT(gone.what, Contains("gone"));
    }
    std::filesystem::rename(away, folder);
    const auto back = client.Get("/api/nights/newest");
    REQUIRE(back);
    CHECK(back->status == 200);
}

TEST_CASE("a ledger that another program holds, or that is damaged, is told in words") {
    Served served;
    auto client = served.client();
    {
        ledger::Connection other(served.campaign().path("campaign.ledger"), ledger::Connection::Mode::write,
                                 1.0);
        other.execute("BEGIN EXCLUSIVE");
        // Reading goes on beside a writer; a change is told that it must wait.
        const auto reading = client.Get("/api/nights/newest");
        REQUIRE(reading);
        CHECK(reading->status == 200);
        const auto night = nlohmann::json::parse(reading->body)["night"].get<std::string>();
        const nlohmann::json body{
            {"action", "exclude"}, {"kind", "night"}, {"key", night}, {"reason", "dew"}};
        const auto change =
            told(client.Post("/api/changes", served.with_key(), body.dump(), "application/json"));
        CHECK(change.status == 503);
        other.execute("ROLLBACK");
    }
    const auto exclusions =
        ledger::Ledger::open(served.campaign().path("campaign.ledger"), ledger::Ledger::Access::read)
            ->exclusions();
    REQUIRE(exclusions);
    CHECK(exclusions->empty());
}

TEST_CASE("a damaged ledger is told, not shown") {
    Served served;
    auto client = served.client();
    for (const char* beside : {"-wal", "-shm"})
        std::filesystem::remove(served.campaign().path(std::string("campaign.ledger") + beside));
    write_contents(served.campaign().path("campaign.ledger"), std::string(8192, 'x'));
    const auto damaged = told(client.Get("/api/nights/newest"));
    CHECK(damaged.status == 503);
}
