// SPDX-License-Identifier: MIT
// page/gate — who may ask what: a browser on this machine, or one that the observer gave the key to. Another
// site that the same browser has open must get nothing (it would come with a foreign Origin, or by a name of
// its own that leads here, which shows in Host). Private to this room.
#pragma once

#include <chrono>
#include <map>
#include <memory>
#include <mutex>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "page/page_settings.hpp"
#include "quantities/problem.hpp"

namespace emberline::page {

// What the gate looks at. Empty: the header was not sent.
struct Knock {
    std::string method, path;
    std::string host, origin, fetch_site;
    std::string key, cookie, content_type;
    std::string from;  // address
};

struct Refused {
    int status = 403;
    Problem problem;
};

class Gate {
  public:
    // Problem (storage): the system gives no random bytes for a key.
    [[nodiscard]] static Result<Gate> open(const PageSettings& settings);
    void set_port(int port) { port_ = port; }

    [[nodiscard]] const std::string& key() const { return key_; }
    // Only this machine can ask: then its page is given the key.
    [[nodiscard]] bool loopback() const { return loopback_; }
    [[nodiscard]] std::optional<Refused> refuse(const Knock& knock);
    // For the link, where it listens at all addresses of this machine.
    [[nodiscard]] std::string own_name() const;
    // For a browser that showed the key: pictures carry no header.
    [[nodiscard]] std::string cookie() const;

  private:
    [[nodiscard]] bool is_here(std::string_view host) const;
    [[nodiscard]] bool has_key(const Knock& knock) const;
    [[nodiscard]] bool too_many(const std::string& from, bool change);

    // Tokens that come back with time.
    struct Bucket {
        double tokens = 0.0;
        std::chrono::steady_clock::time_point filled;
    };
    std::string key_;
    int port_ = 0;
    bool loopback_ = true;
    std::vector<std::string> names_;  // in lower case
    std::unique_ptr<std::mutex> mutex_ = std::make_unique<std::mutex>();
    std::map<std::string, Bucket> buckets_;
};

// Compares in a time that does not tell where they differ.
[[nodiscard]] bool same_secret(std::string_view a, std::string_view b);
[[nodiscard]] bool is_loopback(std::string_view address);

}  // namespace emberline::page
