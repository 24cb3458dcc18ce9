// SPDX-License-Identifier: MIT
#include <fcntl.h>
#include <fmt/format.h>

#include <catch2/catch.hpp>
#include <chrono>
#include <filesystem>
#include <limits>
#include <random>
#include <set>
#include <thread>

#include "child.hpp"
#include "examples.hpp"

using namespace emberline;
using namespace emberline::ledger;
using namespace emberline::ledger::testing;

namespace {

constexpr int frames_at_once = 3;

// Records without end, three frames a transaction, a solution after each; says so after each commit.
int record_until_killed(const std::string& path, int first, int report) {
    Ledger ledger = opened(path);
    for (int number = first;; number += frames_at_once) {
        std::vector<photometry::FrameFluxes> frames;
        for (int i = 0; i < frames_at_once; ++i)
            frames.push_back(frame_fluxes(number + i, 13, 18));
        if (!ledger.record(frames, provenance())) return 1;
        const int recorded = number;
        if (::write(report, &recorded, sizeof recorded) != sizeof recorded) return 1;
        if (!ledger.store(solution(number / frames_at_once % 20 + 1, 2, 2), provenance())) return 1;
        const int solved = -number - 1;
        if (::write(report, &solved, sizeof solved) != sizeof solved) return 1;
    }
}

// That many, or as many as come before the other end closes.
std::vector<int> numbers_from(int pipe_end, std::size_t most) {
    std::vector<int> numbers;
    int number = 0;
    while (numbers.size() < most && ::read(pipe_end, &number, sizeof number) == sizeof number)
        numbers.push_back(number);
    return numbers;
}

bool integral(const std::string& path) {
    return ask(path, "SELECT count(*) FROM pragma_integrity_check WHERE integrity_check = 'ok'") == 1 &&
           ask(path, "SELECT count(*) FROM pragma_foreign_key_check") == 0;
}

}  // namespace

TEST_CASE("killed at any instant, the ledger opens with all that was committed", "[ledger][survival]") {
    constexpr unsigned seed = 4711;
    INFO("seed " << seed);
    std::mt19937 random(seed);
    const Folder folder;
    const std::string path = folder.file();
    std::set<int> reported;
    int next = 0;
    for (int round = 0; round < 24; ++round) {
        int ends[2];
        REQUIRE(::pipe(ends) == 0);
        const pid_t child = start_child([&] {
            ::close(ends[0]);
            return record_until_killed(path, next, ends[1]);
        });
        ::close(ends[1]);
        // After a number of commits and a while that ends anywhere in the next few: counted in commits, so
        // that a slow machine is cut off as far into the work as a fast one. With none: while the file is
        // made.
        const auto commits = random() % 12;
        std::vector<int> heard = numbers_from(ends[0], commits);
        std::this_thread::sleep_for(std::chrono::microseconds(random() % 8000));
        ::kill(child, SIGKILL);
        REQUIRE(wait_for(child) == -SIGKILL);
        int solutions = 0;
        for (const int number : numbers_from(ends[0], std::numeric_limits<std::size_t>::max()))
            heard.push_back(number);
        for (const int number : heard) {
            if (number >= 0) reported.insert(number);
            solutions += number < 0 ? 1 : 0;
        }
        ::close(ends[0]);

        Ledger ledger = opened(path);
        std::size_t frames = 0;
        int whole = 0;
        REQUIRE(ledger.for_each_frame([&](const photometry::FrameFluxes& frame) {
            const int number = static_cast<int>(frames++);
            whole += frame == frame_fluxes(number, 13, 18) ? 1 : 0;
            return true;
        }));
        CHECK(frames % frames_at_once == 0);
        CHECK(whole == static_cast<int>(frames));
        for (const int number : reported) {
            const auto frame = frame_fluxes(number);
            CHECK(ledger.has(frame.fingerprint, frame.plane, provenance().settings).value());
        }
        CHECK(frames >= reported.size() * frames_at_once);
        CHECK(frames <= (reported.size() + static_cast<std::size_t>(round) + 1) * frames_at_once);
        const Solution newest = ledger.newest().value();
        if (solutions > 0 || !newest.frames.empty())
            CHECK(same(newest, solution(static_cast<int>(newest.frames.size()), 2, 2)));
        CHECK(integral(path));
        next = static_cast<int>(frames);
    }
    CHECK(reported.size() > 20);
}

TEST_CASE("two programs that make and fill a ledger at once wait for each other", "[ledger][survival]") {
    for (int round = 0; round < 5; ++round) {
        const Folder folder;
        const std::string path = folder.file();
        constexpr int each = 40;
        int start[2];
        REQUIRE(::pipe(start) == 0);
        std::vector<pid_t> children;
        for (int who = 0; who < 2; ++who) {
            children.push_back(start_child([&, who] {
                ::close(start[1]);
                char go = 0;
                if (::read(start[0], &go, 1) != 0) return 2;  // until the parent closes its end
                auto ledger = Ledger::open(path, Ledger::Access::write);
                if (!ledger) {
                    fmt::print(stderr, "{}\n", one_line(ledger.error()));
                    return 3;
                }
                for (int i = 0; i < each; ++i) {
                    const auto recorded = ledger->record({frame_fluxes(2 * i + who)}, provenance());
                    if (!recorded || recorded->at(0) != Recorded::fresh) return 4;
                    if (i % 8 == 0 && !ledger->store(solution(i + 1, who + 1, 1), provenance())) return 5;
                }
                return 0;
            }));
        }
        ::close(start[0]);
        ::close(start[1]);
        for (const pid_t child : children)
            CHECK(wait_for(child) == 0);
        CHECK(opened(path).frames().value().size() == 2 * each);
        CHECK(integral(path));
    }
}

TEST_CASE("programs that open a new ledger at once all find one", "[ledger][survival]") {
    for (int round = 0; round < 40; ++round) {
        const Folder folder;
        int start[2];
        REQUIRE(::pipe(start) == 0);
        std::vector<pid_t> children;
        for (int who = 0; who < 4; ++who) {
            children.push_back(start_child([&, who] {
                ::close(start[1]);
                char go = 0;
                if (::read(start[0], &go, 1) != 0) return 2;
                const auto access = who == 3 ? Ledger::Access::read : Ledger::Access::write;
                const auto ledger = Ledger::open(folder.file(), access);
                // A reader may come too early, and is told so.
                if (ledger || (who == 3 && ledger.error().kind == ProblemKind::input)) return 0;
                fmt::print(stderr, "{}\n", one_line(ledger.error()));
                return 3;
            }));
        }
        ::close(start[0]);
        ::close(start[1]);
        for (const pid_t child : children)
            CHECK(wait_for(child) == 0);
        CHECK(opened(folder.file()).frames().value().empty());
    }
}

TEST_CASE("a ledger left by a killed program is read from a folder where nothing can be written",
          "[ledger][survival]") {
    const Folder folder;
    const std::string path = folder.file();
    const int status = in_child([&] {
        Ledger ledger = opened(path);
        if (!ledger.record({frame_fluxes(1)}, provenance())) return 1;
        ::kill(::getpid(), SIGKILL);
        return 0;
    });
    REQUIRE(status == -SIGKILL);
    REQUIRE(std::filesystem::file_size(path + "-wal") > 0);
    // The frame lies in the log only. Whoever reads must see it, or be told; never an empty ledger.
    const Folder medium;
    for (const char* part : {"", "-wal"}) {
        std::filesystem::copy_file(path + part, medium.file() + part);
        std::filesystem::permissions(medium.file() + part, std::filesystem::perms(0444));
    }
    std::filesystem::permissions(medium.path(), std::filesystem::perms(0555));
    const bool superuser = ::geteuid() == 0;
    if (superuser) REQUIRE(::seteuid(65534) == 0);
    const auto ledger = Ledger::open(medium.file(), Ledger::Access::read, 0.1);
    const auto frames = ledger ? ledger->frames() : fail(ledger.error());
    if (superuser) REQUIRE(::seteuid(0) == 0);
    if (frames) {
        CHECK(frames->size() == 1);
    } else {
        CHECK(frames.error().kind == ProblemKind::storage);
        CHECK(frames.error().what.find("nothing was measured") == std::string::npos);
    }
}
