// SPDX-License-Identifier: MIT
#include "picture/gnuplot_process.hpp"

#include <fcntl.h>
#include <fmt/format.h>
#include <signal.h>
#include <spawn.h>
#include <sys/mman.h>
#include <sys/stat.h>
#include <sys/wait.h>
#include <unistd.h>

#include <cerrno>
#include <chrono>
#include <cstdio>
#include <cstring>
#include <memory>
#include <optional>
#include <thread>
#include <vector>

#include "quantities/new_file.hpp"
#include "quantities/text.hpp"

extern char** environ;

namespace emberline::picture {
namespace {

using Stream = std::unique_ptr<std::FILE, int (*)(std::FILE*)>;

Problem cannot_write(const std::string& path) {
    return {.what = fmt::format("The picture cannot be written: {}.", std::strerror(errno)),
            .where = path,
            .mend = "Check that the folder exists, may be written to and has space left.",
            .kind = ProblemKind::storage};
}

Problem gnuplot_problem(std::string what, std::string mend) {
    return {
        .what = std::move(what), .where = "gnuplot", .mend = std::move(mend), .kind = ProblemKind::storage};
}

// What gnuplot draws into: it does not say when a disk took less than it drew, and memory takes all.
class Sheet {
  public:
    Sheet() : descriptor_(::memfd_create("picture", MFD_CLOEXEC)) {}
    ~Sheet() {
        if (descriptor_ >= 0) ::close(descriptor_);
    }
    Sheet(const Sheet&) = delete;
    Sheet& operator=(const Sheet&) = delete;
    [[nodiscard]] int descriptor() const { return descriptor_; }
    [[nodiscard]] std::string drawn() const {
        struct stat about {};
        if (::fstat(descriptor_, &about) != 0) return {};
        std::string bytes(static_cast<std::size_t>(about.st_size), '\0');
        const ssize_t got = ::pread(descriptor_, bytes.data(), bytes.size(), 0);
        bytes.resize(got > 0 ? static_cast<std::size_t>(got) : 0);
        return bytes;
    }

  private:
    int descriptor_ = -1;
};

// The observer's locale and gnuplot settings would change the picture from machine to machine.
std::vector<std::string> neutral_environment() {
    std::vector<std::string> kept;
    for (char** entry = environ; *entry != nullptr; ++entry) {
        const std::string_view text(*entry);
        if (!text.starts_with("LC_") && !text.starts_with("LANG=") && !text.starts_with("GNUPLOT")) {
            kept.emplace_back(text);
        }
    }
    kept.emplace_back("LC_ALL=C.UTF-8");
    return kept;
}

Result<pid_t> start_gnuplot(int script, int picture, int messages) {
    posix_spawn_file_actions_t actions;
    posix_spawn_file_actions_init(&actions);
    posix_spawn_file_actions_adddup2(&actions, script, STDIN_FILENO);
    posix_spawn_file_actions_adddup2(&actions, picture, STDOUT_FILENO);
    posix_spawn_file_actions_adddup2(&actions, messages, STDERR_FILENO);
    auto environment = neutral_environment();
    std::vector<char*> variables;
    for (auto& entry : environment)
        variables.push_back(entry.data());
    variables.push_back(nullptr);
    std::string program = "gnuplot", no_personal_settings = "-d";
    char* arguments[] = {program.data(), no_personal_settings.data(), nullptr};
    pid_t child = 0;
    const int refused = ::posix_spawnp(&child, "gnuplot", &actions, nullptr, arguments, variables.data());
    posix_spawn_file_actions_destroy(&actions);
    if (refused != 0) {
        return fail(gnuplot_problem(
            refused == ENOENT
                ? "The program that draws pictures, gnuplot, is not installed."
                : fmt::format("gnuplot, which draws pictures, does not start: {}.", std::strerror(refused)),
            "Install it (on Debian the package gnuplot-nox); everything but pictures works without."));
    }
    return child;
}

// Its exit status; nothing when it took too long and was ended.
std::optional<int> wait_for(pid_t child, double patience_s) {
    using Clock = std::chrono::steady_clock;
    const auto until = Clock::now() + std::chrono::duration<double>(patience_s);
    int status = 0;
    while (true) {
        const pid_t done = ::waitpid(child, &status, WNOHANG);
        if (done == child) return status;
        if (done < 0 && errno != EINTR) return std::nullopt;
        if (Clock::now() > until) {
            ::kill(child, SIGKILL);
            while (::waitpid(child, &status, 0) < 0 && errno == EINTR) {
            }
            return std::nullopt;
        }
        std::this_thread::sleep_for(std::chrono::milliseconds(4));
    }
}

// gnuplot echoes the line it stumbled over before it says why: the last line that is not empty tells most.
std::string last_message(std::FILE* messages) {
    std::string all(1024, '\0');
    if (std::fseek(messages, -static_cast<long>(all.size()), SEEK_END) != 0) std::rewind(messages);
    all.resize(std::fread(all.data(), 1, all.size(), messages));
    std::string last;
    for (const std::string_view line : split(all, '\n')) {
        if (!trimmed(line).empty()) last = trimmed(line);
    }
    while (last.ends_with('.'))
        last.pop_back();
    return last;
}

// gnuplot 5.4 reads '' as an apostrophe only behind another character, and of '''' only the first two: a
// title that begins with one, or holds two in a row, would end its own quotes.
constexpr std::string_view typographic_apostrophe = "\u2019";

}  // namespace

Result<void> run_gnuplot(std::string_view script, const std::string& path, double patience_s) {
    auto file = NewFile::open(path);
    if (!file) return fail(cannot_write(path));
    const Sheet sheet;
    const Stream input(std::tmpfile(), &std::fclose), messages(std::tmpfile(), &std::fclose);
    if (sheet.descriptor() < 0 || !input || !messages ||
        std::fwrite(script.data(), 1, script.size(), input.get()) != script.size() ||
        std::fflush(input.get()) != 0) {
        return fail(cannot_write("the folder for temporary files"));
    }
    std::rewind(input.get());

    const auto child = start_gnuplot(::fileno(input.get()), sheet.descriptor(), ::fileno(messages.get()));
    if (!child) return fail(child.error());
    const auto status = wait_for(*child, patience_s);
    if (!status) {
        return fail(
            gnuplot_problem(fmt::format("gnuplot did not finish within {:.0f} s and was ended.", patience_s),
                            "Try again with fewer points or another file type."));
    }
    const std::string drawn = sheet.drawn();
    if (!WIFEXITED(*status) || WEXITSTATUS(*status) != 0 || drawn.empty()) {
        const std::string why = last_message(messages.get());
        return fail(
            gnuplot_problem(why.empty() ? "gnuplot drew nothing and did not say why."
                                        : fmt::format("gnuplot failed with the message: {}.", why),
                            "Check that its version is 5.4 or later and that the disk has space left."));
    }
    file->out().write(drawn.data(), static_cast<std::streamsize>(drawn.size()));
    if (!file->commit()) return fail(cannot_write(path));
    return {};
}

std::string gnuplot_text(std::string_view text) {
    std::string quoted = "'";
    while (!text.empty()) {
        const std::size_t n = first_character_bytes(text);
        if (n == 0) {
            quoted += static_cast<unsigned char>(text.front()) < 0x80 ? ' ' : '?';
            text.remove_prefix(1);
            continue;
        }
        const std::string_view one = text.substr(0, n);
        if (one == "\t") {
            quoted += ' ';
        } else if (one == "'") {
            quoted += typographic_apostrophe;
        } else {
            quoted += one;
        }
        text.remove_prefix(n);
    }
    return quoted + "'";
}

}  // namespace emberline::picture
