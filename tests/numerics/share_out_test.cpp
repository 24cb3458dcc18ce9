// SPDX-License-Identifier: MIT
#include "numerics/share_out.hpp"

#include <atomic>
#include <catch2/catch.hpp>
#include <stdexcept>
#include <vector>

using namespace emberline::numerics;

TEST_CASE("every piece of work is done once, whatever the number of threads", "[share]") {
    for (const int threads : {-1, 0, 1, 2, 7, 64}) {
        for (const std::size_t n : {0, 1, 5, 1000}) {
            std::vector<int> done(n, 0);
            share_out(n, threads, [&](std::size_t i) { ++done[i]; });
            CAPTURE(threads, n);
            CHECK(done == std::vector<int>(n, 1));
        }
    }
}

TEST_CASE("what one piece of work throws is thrown again, and nothing is begun any more", "[share]") {
    for (const int threads : {1, 4}) {
        std::atomic<std::size_t> begun{0};
        const auto work = [&](std::size_t i) {
            ++begun;
            if (i == 10) throw std::runtime_error("no memory");
        };
        CAPTURE(threads);
        CHECK_THROWS_WITH(share_out(1000000, threads, work), "no memory");
        CHECK(begun < 1000000);
    }
}
