// SPDX-License-Identifier: MIT
// ledger/name_lists — lists of names that thousands of rows share, each kept once.
#pragma once

#include <cstdint>
#include <string>
#include <unordered_map>
#include <vector>

#include "ledger/connection.hpp"

namespace emberline::ledger {

// For the length of one transaction: an id learnt in one that was undone would point nowhere.
class NameLists {
  public:
    explicit NameLists(Connection& connection) : connection_(connection) {}
    std::int64_t id(const std::vector<std::string>& names);  // stores them where they are new
    const std::vector<std::string>& names(std::int64_t id);

  private:
    Connection& connection_;
    std::unordered_map<std::string, std::int64_t> ids_;
    std::unordered_map<std::int64_t, std::vector<std::string>> lists_;
};

}  // namespace emberline::ledger
