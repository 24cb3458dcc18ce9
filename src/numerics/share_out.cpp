// SPDX-License-Identifier: MIT
#include "numerics/share_out.hpp"

#include <algorithm>
#include <exception>
#include <thread>
#include <vector>

namespace emberline::numerics {

void share_out(std::size_t n, int threads, const std::function<void(std::size_t)>& work) {
    const auto many = static_cast<std::size_t>(std::max(1, threads));
    std::vector<std::exception_ptr> thrown(many);
    const auto take = [&](std::size_t t) {
        try {
            for (std::size_t i = t; i < n; i += many)
                work(i);
        } catch (...) {
            thrown[t] = std::current_exception();
        }
    };
    std::vector<std::thread> others;
    for (std::size_t t = 1; t < std::min(many, n); ++t)
        others.emplace_back(take, t);
    take(0);
    for (std::thread& other : others)
        other.join();
    for (const std::exception_ptr& one : thrown) {
        if (one) std::rethrow_exception(one);
    }
}

int threads_for(int asked) {
    return asked > 0 ? asked : static_cast<int>(std::max(1U, std::thread::hardware_concurrency()));
}

}  // namespace emberline::numerics
