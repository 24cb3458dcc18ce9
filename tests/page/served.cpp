// SPDX-License-Identifier: MIT
#include "page/served.hpp"

#include <arpa/inet.h>
#include <netinet/in.h>
#include <poll.h>
#include <sys/socket.h>
#include <unistd.h>

#include <catch2/catch.hpp>
#include <chrono>

namespace emberline::testing {

Served::Served(page::PageSettings settings, bool measured) {
    if (measured) campaign_.measure();
    settings.campaign_folder = campaign_.path();
    settings.port = 0;
    auto opened = page::PageServer::open(settings);
    if (!opened) FAIL(one_line(opened.error()));
    server_ = std::make_unique<page::PageServer>(std::move(*opened));
    thread_ = std::thread([this] { server_->serve(stop_); });
}

Served::~Served() {
    stop();
}

httplib::Client Served::client() const {
    httplib::Client client("127.0.0.1", port());
    client.set_read_timeout(30);
    client.set_keep_alive(true);
    return client;
}

void Served::stop() {
    stop_ = true;
    if (thread_.joinable()) thread_.join();
}

Told told(const httplib::Result& result) {
    if (!result) return {.status = -1, .what = httplib::to_string(result.error())};
    const auto json = nlohmann::json::parse(result->body, nullptr, false);
    INFO(result->body.substr(0, 500));
    REQUIRE(json.is_object());
    REQUIRE(json.contains("problem"));
    CHECK(!json["problem"]["mend"].get<std::string>().empty());
    return {.status = result->status, .what = json["problem"]["what"]};
}

RawConnection::RawConnection(int port) : socket_(::socket(AF_INET, SOCK_STREAM, 0)) {
    sockaddr_in there{};
    there.sin_family = AF_INET;
    there.sin_port = htons(static_cast<std::uint16_t>(port));
    there.sin_addr.s_addr = htonl(INADDR_LOOPBACK);
    if (::connect(socket_, reinterpret_cast<const sockaddr*>(&there), sizeof there) != 0)
        FAIL("no connection to the page");
}

RawConnection::~RawConnection() {
    ::close(socket_);
}

void RawConnection::send(const std::string& bytes) const {
    std::size_t sent = 0;
    while (sent < bytes.size()) {
        const auto now = ::send(socket_, bytes.data() + sent, bytes.size() - sent, MSG_NOSIGNAL);
        if (now <= 0) return;  // it was closed on us, which is an answer too
        sent += static_cast<std::size_t>(now);
    }
}

std::string RawConnection::receive(double most_s, std::size_t enough) const {
    std::string all;
    const auto until = std::chrono::steady_clock::now() + std::chrono::duration<double>(most_s);
    while (all.size() < enough) {
        const auto left =
            std::chrono::duration_cast<std::chrono::milliseconds>(until - std::chrono::steady_clock::now());
        pollfd wait{.fd = socket_, .events = POLLIN, .revents = 0};
        if (left.count() <= 0 || ::poll(&wait, 1, static_cast<int>(left.count())) <= 0) break;
        char buffer[4096];
        const auto got = ::recv(socket_, buffer, sizeof buffer, 0);
        if (got <= 0) break;
        all.append(buffer, static_cast<std::size_t>(got));
    }
    return all;
}

}  // namespace emberline::testing
