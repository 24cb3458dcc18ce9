// SPDX-License-Identifier: MIT
#include "tasks/contained.hpp"

#include <fmt/format.h>

#include <exception>
#include <new>

namespace emberline::tasks {

std::optional<Problem> contained(const std::string& path, const std::function<void()>& work) {
    try {
        work();
    } catch (const std::bad_alloc&) {
        return Problem{.what = "There is not enough memory for it.",
                       .where = path,
                       .mend = "Close other programs, or use fewer --threads.",
                       .kind = ProblemKind::storage};
    } catch (const std::exception& error) {
        return Problem{.what = fmt::format("Something went wrong that should not have: {}.", error.what()),
                       .where = path,
                       .mend = "The others are not touched by it. Please report it with this file."};
    }
    return std::nullopt;
}

}  // namespace emberline::tasks
