// SPDX-License-Identifier: MIT
// page/server — the local web page of a campaign, at a loopback address unless told otherwise.
// Needs: a campaign folder.  Feeds: a browser.  Everything that the page does is a command too.
//
// Answers only requests that name this machine (Host) and come from its own pages (Origin); changes need the
// key that is made new at every start, and beyond loopback so does everything else. Nothing outside the
// campaign can be reached. API.md documents the requests.
#pragma once

#include <atomic>
#include <memory>
#include <string>

#include "page/page_settings.hpp"
#include "quantities/problem.hpp"

namespace emberline::page {

class PageServer {
  public:
    // Takes the port. Problem: no campaign there, a bad setting (request); the port is taken, or the address
    // is not this machine's (storage).
    [[nodiscard]] static Result<PageServer> open(const PageSettings& settings);
    PageServer(PageServer&&) noexcept;
    PageServer& operator=(PageServer&&) noexcept;
    ~PageServer();

    [[nodiscard]] int port() const;
    // For the browser; beyond loopback with the key.
    [[nodiscard]] std::string link() const;
    [[nodiscard]] const std::string& key() const;
    // Until asked to stop: then open requests are answered, live listeners sent home, a watch ended with the
    // ledger whole.
    void serve(const std::atomic<bool>& stop);

  private:
    struct Impl;
    explicit PageServer(std::unique_ptr<Impl> impl);
    std::unique_ptr<Impl> impl_;
};

// Whether the page's own files are in this program. Without them the server answers with how to get them.
[[nodiscard]] bool has_site();

}  // namespace emberline::page
