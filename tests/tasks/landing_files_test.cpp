// SPDX-License-Identifier: MIT
#include "tasks/landing_files.hpp"

#include <catch2/catch.hpp>

using namespace emberline;
using namespace emberline::tasks;
using Verdict = LandingFiles::Verdict;
using Kind = LandingFiles::News::Kind;

namespace {

SteadyTime at_s(double seconds) {
    return SteadyTime() +
           std::chrono::duration_cast<SteadyTime::duration>(std::chrono::duration<double>(seconds));
}

FileSeen file(const std::string& name, std::int64_t bytes, std::int64_t written = 0) {
    return {"d/" + name, name, bytes, written, written};
}

using Paths = std::vector<std::string>;

}  // namespace

TEST_CASE("a file lands once two looks, far enough apart, see the same", "[watch]") {
    LandingFiles files({.settle_s = 2.0, .give_up_s = 60.0});
    files.see({file("a", 10)}, at_s(0));
    CHECK(files.take().empty());
    files.see({file("a", 20)}, at_s(3));
    files.see({file("a", 20)}, at_s(4));
    CHECK(files.take().empty());
    files.see({file("a", 20), file("b", 1)}, at_s(5.5));
    CHECK(files.take() == Paths{"d/a"});
    files.judge("d/a", Verdict::done, {}, at_s(6));
    files.see({file("a", 20), file("b", 1)}, at_s(8));
    CHECK(files.take() == Paths{"d/b"});
}

TEST_CASE("a file that changes lands again, also while it is looked into", "[watch]") {
    LandingFiles files({.settle_s = 1.0, .give_up_s = 60.0});
    files.see({file("a", 10, 5)}, at_s(0));
    files.see({file("a", 10, 5)}, at_s(1));
    REQUIRE(files.take().size() == 1);
    // Times are compared, never reckoned with: a clock set back is a change like any other.
    files.see({file("a", 10, 3)}, at_s(2));
    files.judge("d/a", Verdict::done, {}, at_s(2));
    CHECK(files.settling());
    files.see({file("a", 10, 3)}, at_s(3));
    CHECK(files.take().size() == 1);
    files.judge("d/a", Verdict::done, {}, at_s(3));
    files.see({}, at_s(4));
    files.see({file("a", 10, 3)}, at_s(5));
    files.see({file("a", 10, 3)}, at_s(6));
    CHECK(files.take().size() == 1);
}

TEST_CASE("what is not whole is told once, and given up once", "[watch]") {
    LandingFiles files({.settle_s = 1.0, .give_up_s = 60.0});
    files.see({file("cut", 10), file("grows", 1)}, at_s(0));
    files.see({file("cut", 10), file("grows", 2)}, at_s(1));
    REQUIRE(files.take() == Paths{"d/cut"});
    files.judge("d/cut", Verdict::unwhole, Problem{.what = "It is cut short.", .where = "", .mend = ""},
                at_s(1));
    auto news = files.news(at_s(2));
    REQUIRE(news.size() == 1);
    CHECK(news[0].kind == Kind::unwhole);
    for (int s = 2; s < 59; ++s) {
        files.see({file("cut", 10), file("grows", s + 2)}, at_s(s));
        news = files.news(at_s(s));
        CHECK(news.size() == (s == 3 ? 1 : 0));
    }
    CHECK(files.settling());
    news = files.news(at_s(61));
    REQUIRE(news.size() == 2);
    CHECK(news[0].kind == Kind::given_up);
    CHECK(news[0].problem->what == "It is cut short.");
    CHECK(news[1].kind == Kind::growing_on);
    CHECK_FALSE(files.settling());
    CHECK(files.news(at_s(100)).empty());
    REQUIRE(files.left().size() == 1);
    CHECK(files.left()[0].name == "grows");
    // Whole after all.
    files.see({file("cut", 20), file("grows", 99)}, at_s(101));
    files.see({file("cut", 20), file("grows", 100)}, at_s(102));
    CHECK(files.take() == Paths{"d/cut"});
}

TEST_CASE("frames without a plate solution are tried again after successes, ever more rarely", "[watch]") {
    LandingFiles files({.settle_s = 1.0, .give_up_s = 60.0});
    files.see({file("a", 10)}, at_s(0));
    files.see({file("a", 10)}, at_s(1));
    int tries = 0;
    for (int success = 0; success <= 100; ++success) {
        for (const std::string& path : files.take()) {
            ++tries;
            files.judge(path, Verdict::no_plate, {}, at_s(2));
        }
        files.try_plates_again(false);
    }
    // At first, and after 1, 2, 4 … 32 more successes: 1 + 6.
    CHECK(tries == 7);
    files.try_plates_again(true);
    CHECK(files.waiting());
}
