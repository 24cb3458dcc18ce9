// SPDX-License-Identifier: MIT
// numerics/share_out — independent pieces of work among threads.
#pragma once

#include <cstddef>
#include <functional>

namespace emberline::numerics {

// work(i) for every i below n: whichever thread is free, this one among them, takes the next. After an
// exception (no memory) none is begun any more, and it is thrown again here.
void share_out(std::size_t n, int threads, const std::function<void(std::size_t)>& work);

// As many as asked for; 0: one a core.
[[nodiscard]] int threads_for(int asked);

}  // namespace emberline::numerics
