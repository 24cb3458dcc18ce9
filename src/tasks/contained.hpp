// SPDX-License-Identifier: MIT
// tasks/contained — the last wall between one bad file and the night. No room lets an exception out; where
// one comes all the same, by a mistake of ours, it is this file's problem and no other's. Private to this
// room.
#pragma once

#include <functional>
#include <optional>
#include <string>

#include "quantities/problem.hpp"

namespace emberline::tasks {

// Nothing where the work came to its end.
[[nodiscard]] std::optional<Problem> contained(const std::string& path, const std::function<void()>& work);

}  // namespace emberline::tasks
