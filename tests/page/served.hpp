// SPDX-License-Identifier: MIT
// tests/page/served — a small invented campaign, measured and served at a loopback address.
#pragma once

#include <httplib.h>

#include <atomic>
#include <memory>
#include <nlohmann/json.hpp>
#include <string>
#include <thread>

#include "page/server.hpp"
#include "program/rehearsed.hpp"

namespace emberline::testing {

class Served {
  public:
    explicit Served(page::PageSettings settings = {}, bool measured = true);
    ~Served();
    Served(const Served&) = delete;
    Served& operator=(const Served&) = delete;

    [[nodiscard]] const Rehearsed& campaign() const { return campaign_; }
    [[nodiscard]] int port() const { return server_->port(); }
    [[nodiscard]] std::string host() const { return "127.0.0.1:" + std::to_string(port()); }
    [[nodiscard]] const page::PageServer& server() const { return *server_; }
    // As the page itself would ask.
    [[nodiscard]] httplib::Client client() const;
    [[nodiscard]] httplib::Headers with_key() const { return {{"X-Emberline-Key", server_->key()}}; }
    void stop();

  private:
    Rehearsed campaign_;
    std::unique_ptr<page::PageServer> server_;
    std::atomic<bool> stop_{false};
    std::thread thread_;
};

// The status, and the sentence of the problem, which must be there with what to do.
struct Told {
    int status = 0;
    std::string what;
};
[[nodiscard]] Told told(const httplib::Result& result);

// A connection of one's own: what is sent goes out as it is.
class RawConnection {
  public:
    explicit RawConnection(int port);
    ~RawConnection();
    RawConnection(const RawConnection&) = delete;
    RawConnection& operator=(const RawConnection&) = delete;
    void send(const std::string& bytes) const;
    // All that comes until the other side closes, `enough` bytes are there, or so long has passed.
    [[nodiscard]] std::string receive(double most_s, std::size_t enough = 1U << 20U) const;

  private:
    int socket_ = -1;
};

}  // namespace emberline::testing
