// SPDX-License-Identifier: MIT
// tests/bench/bench — how the benchmarks take time, and how they tell scripts/bench what they found.
// Private to the benchmarks.
#pragma once

#include <fcntl.h>
#include <fmt/format.h>
#include <sys/resource.h>
#include <sys/wait.h>
#include <unistd.h>

#include <algorithm>
#include <chrono>
#include <cstdio>
#include <cstdlib>
#include <ctime>
#include <filesystem>
#include <string>
#include <string_view>
#include <vector>

#include "quantities/problem.hpp"

namespace emberline::bench {

inline double wall_s() {
    return std::chrono::duration<double>(std::chrono::steady_clock::now().time_since_epoch()).count();
}

// Of this process, all of its threads: what other programs do on the machine does not count.
inline double processor_s() {
    std::timespec t{};
    ::clock_gettime(CLOCK_PROCESS_CPUTIME_ID, &t);
    return static_cast<double>(t.tv_sec) + 1e-9 * static_cast<double>(t.tv_nsec);
}

// The least of several runs is nearest to what the machine can do undisturbed.
template <class Work>
double least_s(int rounds, double (*clock)(), const Work& work) {
    double least = 1e9;
    for (int i = 0; i < rounds; ++i) {
        const double start = clock();
        work();
        least = std::min(least, clock() - start);
    }
    return least;
}
template <class Work>
double least_processor_s(int rounds, const Work& work) {
    return least_s(rounds, processor_s, work);
}

template <class T>
T must(Result<T> result) {
    if (!result) {
        fmt::print(stderr, "{}\n", one_line(result.error()));
        std::exit(1);
    }
    if constexpr (!std::is_void_v<T>) return std::move(*result);
}

// A folder that goes with the benchmark; the first argument of the program may say where.
class Folder {
  public:
    explicit Folder(const std::filesystem::path& where = std::filesystem::temp_directory_path())
        : path_(where / fmt::format("emberline-bench-{}", ::getpid())) {
        std::filesystem::create_directories(path_);
    }
    Folder(const Folder&) = delete;
    Folder& operator=(const Folder&) = delete;
    ~Folder() {
        std::error_code error;
        std::filesystem::remove_all(path_, error);
    }
    [[nodiscard]] std::string operator/(const std::string& name) const { return (path_ / name).string(); }

  private:
    std::filesystem::path path_;
};

// What a program took, run as a process of its own with its output thrown away. The kernel counts the peak of
// whoever starts it as the child's own: where the peak matters, this process must have stayed small, so that
// large things are made by a process of their own as well.
struct Spent {
    double processor_s = 0.0, wall_s = 0.0, peak_mib = 0.0;
};
inline Spent spent_by(const std::vector<std::string>& words) {
    std::vector<char*> arguments;
    for (const std::string& word : words)
        arguments.push_back(const_cast<char*>(word.c_str()));
    arguments.push_back(nullptr);
    const double start = wall_s();
    const pid_t child = ::vfork();
    if (child == 0) {
        const int nowhere = ::open("/dev/null", O_WRONLY);
        ::dup2(nowhere, STDOUT_FILENO);
        ::execvp(arguments[0], arguments.data());
        ::_exit(127);
    }
    int status = 0;
    struct rusage usage = {};
    ::wait4(child, &status, 0, &usage);
    if (!WIFEXITED(status) || WEXITSTATUS(status) > 1) {
        fmt::print(stderr, "{} {} ended with {}\n", words[0], words.size() > 1 ? words[1] : "", status);
        std::exit(1);
    }
    const auto seconds = [](const timeval& t) {
        return static_cast<double>(t.tv_sec) + 1e-6 * static_cast<double>(t.tv_usec);
    };
    return {seconds(usage.ru_utime) + seconds(usage.ru_stime), wall_s() - start,
            static_cast<double>(usage.ru_maxrss) / 1024.0};
}

// A line that scripts/bench gathers into its table.
enum class Goal { at_most, at_least };
inline void figure(std::string_view what, Goal kind, double goal, double measured, std::string_view unit) {
    const bool met = kind == Goal::at_most ? measured <= goal : measured >= goal;
    fmt::print("FIGURE\t{}\t{} {:g}{}\t{:.3g}{}\t{}\n", what, kind == Goal::at_most ? "≤" : "≥", goal, unit,
               measured, unit, met ? "met" : "NOT MET");
    std::fflush(stdout);
}
// … and how a figure grows.
inline void grows(std::string_view what, std::string_view how) {
    fmt::print("GROWS\t{}\t{}\n", what, how);
    std::fflush(stdout);
}

}  // namespace emberline::bench
