// SPDX-License-Identifier: MIT
// page/change_log — what this page changed in the ledger since it was opened, newest last, and how each is
// taken back. Private to this room.
#pragma once

#include <functional>
#include <mutex>
#include <optional>
#include <string>
#include <vector>

#include "quantities/problem.hpp"

namespace emberline::page {

struct Change {
    int number = 0;
    std::string words;  // "Star 131b set aside: it varies."
    std::string since;  // ISO UTC
    bool undone = false;
    // Called with Session::changing() held. Problem (request): something else has reverted it meanwhile, or
    // stands on it, and it can no longer be taken back from here; any other kind: try again.
    std::function<Result<void>()> take_back;
};

class ChangeLog {
  public:
    // Returns its number.
    int add(std::string words, std::function<Result<void>()> take_back);
    [[nodiscard]] std::vector<Change> all() const;
    // The newest that still stands.
    [[nodiscard]] std::optional<Change> newest() const;
    void mark_undone(int number);

  private:
    mutable std::mutex mutex_;
    std::vector<Change> changes_;
};

}  // namespace emberline::page
