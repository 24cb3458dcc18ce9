// SPDX-License-Identifier: MIT
#include "rehearsal/option_limits.hpp"

#include <fmt/format.h>

namespace emberline::rehearsal {

Result<void> check_limits(const std::vector<OptionLimit>& limits, const char* where) {
    for (const OptionLimit& limit : limits) {
        if (limit.value >= limit.least && limit.value <= limit.most) continue;
        return fail({.what = fmt::format("The {} cannot be {}.", limit.name, limit.value),
                     .where = where,
                     .mend = fmt::format("Choose from {} to {}.", limit.least, limit.most),
                     .kind = ProblemKind::request});
    }
    return {};
}

}  // namespace emberline::rehearsal
