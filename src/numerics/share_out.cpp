// SPDX-License-Identifier: MIT
#include "numerics/share_out.hpp"

#include <algorithm>
#include <atomic>
#include <exception>
#include <mutex>
#include <system_error>
#include <thread>
#include <vector>

namespace emberline::numerics {

void share_out(std::size_t n, int threads, const std::function<void(std::size_t)>& work) {
    std::atomic<std::size_t> next{0};
    std::mutex mutex;
    std::exception_ptr thrown;
    const auto take = [&] {
        try {
            for (std::size_t i = next++; i < n; i = next++)
                work(i);
        } catch (...) {
            next = n;
            const std::scoped_lock lock(mutex);
            if (!thrown) thrown = std::current_exception();
        }
    };
    {
        std::vector<std::jthread> others;
        const std::size_t many = std::min(n, static_cast<std::size_t>(std::max(1, threads)));
        others.reserve(many);
        try {
            while (others.size() + 1 < many)
                others.emplace_back(take);
        } catch (const std::system_error&) {
            // The system gives no more threads: those there are do all of it.
        }
        take();
    }
    if (thrown) std::rethrow_exception(thrown);
}

int threads_for(int asked) {
    return asked > 0 ? asked : static_cast<int>(std::max(1U, std::thread::hardware_concurrency()));
}

}  // namespace emberline::numerics
