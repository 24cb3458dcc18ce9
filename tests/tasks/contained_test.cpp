// SPDX-License-Identifier: MIT
#include "tasks/contained.hpp"

#include <catch2/catch.hpp>
#include <new>
#include <stdexcept>

using namespace emberline;

TEST_CASE("what work on one file throws is that file's problem", "[contained]") {
    bool done = false;
    CHECK_FALSE(tasks::contained("a.fits", [&] { done = true; }));
    CHECK(done);

    const auto thrown = tasks::contained("a.fits", [] { throw std::out_of_range("beyond the end"); });
    REQUIRE(thrown);
    CHECK(thrown->what == "Something went wrong that should not have: beyond the end.");
    CHECK(thrown->where == "a.fits");
    CHECK(thrown->mend.find("report") != std::string::npos);

    const auto full = tasks::contained("a.fits", [] { throw std::bad_alloc(); });
    REQUIRE(full);
    CHECK(full->what == "There is not enough memory for it.");
    CHECK(full->kind == ProblemKind::storage);
}
