// SPDX-License-Identifier: MIT
#include "program/process.hpp"

#include <fcntl.h>
#include <linux/capability.h>
#include <sys/prctl.h>
#include <sys/resource.h>
#include <sys/wait.h>
#include <unistd.h>

#include <array>
#include <chrono>
#include <csignal>
#include <fstream>
#include <sstream>
#include <stdexcept>
#include <thread>

#include "watched.hpp"

namespace emberline::testing {
namespace {

namespace fs = std::filesystem;

constexpr auto longest_run = std::chrono::seconds(60) * watched_slowdown;

// In the child: only calls that are safe after a fork.
[[noreturn]] void become_program(char* const* words, char* const* environment, const Setting& setting,
                                 const char* out, const char* err) {
    constexpr int failed = 99;
    const int to_out = ::open(out, O_WRONLY | O_CREAT | O_TRUNC, 0600);
    const int to_err = ::open(err, O_WRONLY | O_CREAT | O_TRUNC, 0600);
    const int from = ::open("/dev/null", O_RDONLY);
    if (to_out < 0 || to_err < 0 || from < 0) ::_exit(failed);
    ::dup2(from, STDIN_FILENO);
    ::dup2(to_out, STDOUT_FILENO);
    ::dup2(to_err, STDERR_FILENO);
    if (!setting.folder.empty() && ::chdir(setting.folder.c_str()) != 0) ::_exit(failed);
    if (setting.as_ordinary_user && ::geteuid() == 0 &&
        ::prctl(PR_CAPBSET_DROP, CAP_DAC_OVERRIDE, 0, 0, 0) != 0) {
        ::_exit(failed);
    }
    if (setting.most_file_bytes > 0) {
        const rlimit limit{static_cast<rlim_t>(setting.most_file_bytes),
                           static_cast<rlim_t>(setting.most_file_bytes)};
        ::setrlimit(RLIMIT_FSIZE, &limit);
        ::signal(SIGXFSZ, SIG_IGN);  // the write fails then, as on a full disk
    }
    ::execve(words[0], words, environment);
    ::_exit(failed);
}

std::vector<char*> pointers_to(Words& words) {
    std::vector<char*> pointers;
    for (std::string& word : words)
        pointers.push_back(word.data());
    pointers.push_back(nullptr);
    return pointers;
}

}  // namespace

std::string contents(const std::string& path) {
    std::ifstream file(path, std::ios::binary);
    std::ostringstream text;
    text << file.rdbuf();
    return text.str();
}

std::vector<std::string> lines_of(const std::string& text) {
    std::vector<std::string> lines;
    std::istringstream stream(text);
    for (std::string line; std::getline(stream, line);)
        lines.push_back(line);
    return lines;
}

Process::Process(const Words& words, const Setting& setting)
    : words_(words), out_is_elsewhere_(!setting.standard_output.empty()) {
    words_.insert(words_.begin(), EMBERLINE_PROGRAM);
    const std::string out = out_is_elsewhere_ ? setting.standard_output : caught_.path("out");
    const std::string err = caught_.path("err");
    Words environment = setting.environment;
    for (char** entry = environ; *entry != nullptr; ++entry)
        environment.emplace_back(*entry);
    const auto words_at = pointers_to(words_), environment_at = pointers_to(environment);
    id_ = ::fork();
    if (id_ < 0) throw std::runtime_error("no child process");
    if (id_ == 0) become_program(words_at.data(), environment_at.data(), setting, out.c_str(), err.c_str());
}

Process::~Process() {
    if (ended_) return;
    ::kill(id_, SIGKILL);
    ::waitpid(id_, &raw_status_, 0);
}

void Process::signal(int number) const {
    ::kill(id_, number);
}

bool Process::running() {
    if (!ended_) ended_ = ::waitpid(id_, &raw_status_, WNOHANG) == id_;
    return !ended_;
}

Outcome Process::wait() {
    const auto give_up = std::chrono::steady_clock::now() + longest_run;
    while (running() && std::chrono::steady_clock::now() < give_up)
        std::this_thread::sleep_for(std::chrono::milliseconds(2));
    if (running()) {
        ::kill(id_, SIGKILL);
        ::waitpid(id_, &raw_status_, 0);
        ended_ = true;
        throw std::runtime_error("the program did not end within a minute: " + words_.at(1));
    }
    Outcome outcome;
    outcome.status = WIFEXITED(raw_status_) ? WEXITSTATUS(raw_status_) : 128 + WTERMSIG(raw_status_);
    if (!out_is_elsewhere_) outcome.out = contents(caught_.path("out"));
    outcome.err = contents(caught_.path("err"));
    return outcome;
}

Outcome run(const Words& words, const Setting& setting) {
    Process process(words, setting);
    return process.wait();
}

bool can_be_ordinary() {
    return ::geteuid() != 0 || run({"--version"}, {.as_ordinary_user = true}).status == 0;
}

}  // namespace emberline::testing
