// SPDX-License-Identifier: MIT
#include "picture/gnuplot_process.hpp"

#include <fcntl.h>
#include <fmt/format.h>
#include <signal.h>
#include <spawn.h>
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

// A file beside the target that disappears unless it is kept.
class TemporaryFile {
  public:
    explicit TemporaryFile(const std::string& target) : target_(target), name_(target + ".XXXXXX") {
        descriptor_ = ::mkostemp(name_.data(), O_CLOEXEC);
    }
    ~TemporaryFile() {
        if (descriptor_ < 0) return;
        ::close(descriptor_);
        if (!kept_) ::unlink(name_.c_str());
    }
    TemporaryFile(const TemporaryFile&) = delete;
    TemporaryFile& operator=(const TemporaryFile&) = delete;
    [[nodiscard]] int descriptor() const { return descriptor_; }
    [[nodiscard]] bool keep() {
        // mkostemp makes it private; a picture is for others to see, as far as the umask lets them.
        const mode_t mask = ::umask(0);
        ::umask(mask);
        kept_ = ::fchmod(descriptor_, 0666 & ~mask) == 0 && ::fsync(descriptor_) == 0 &&
                ::rename(name_.c_str(), target_.c_str()) == 0;
        return kept_;
    }

  private:
    std::string target_, name_;
    int descriptor_ = -1;
    bool kept_ = false;
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

// Length of the valid UTF-8 sequence at the start of `text`, 0 when there is none.
std::size_t sequence_length(std::string_view text) {
    for (std::size_t n = 1; n <= 4 && n <= text.size(); ++n) {
        if (is_plain_text(text.substr(0, n))) return n;
    }
    return 0;
}

}  // namespace

Result<void> run_gnuplot(std::string_view script, const std::string& path, double patience_s) {
    TemporaryFile picture(path);
    if (picture.descriptor() < 0) return fail(cannot_write(path));
    const Stream input(std::tmpfile(), &std::fclose), messages(std::tmpfile(), &std::fclose);
    if (!input || !messages || std::fwrite(script.data(), 1, script.size(), input.get()) != script.size() ||
        std::fflush(input.get()) != 0) {
        return fail(cannot_write("the folder for temporary files"));
    }
    std::rewind(input.get());

    const auto child = start_gnuplot(::fileno(input.get()), picture.descriptor(), ::fileno(messages.get()));
    if (!child) return fail(child.error());
    const auto status = wait_for(*child, patience_s);
    if (!status) {
        return fail(
            gnuplot_problem(fmt::format("gnuplot did not finish within {:.0f} s and was ended.", patience_s),
                            "Try again with fewer points or another file type."));
    }
    struct stat written {};
    const bool drew = ::fstat(picture.descriptor(), &written) == 0 && written.st_size > 0;
    if (!WIFEXITED(*status) || WEXITSTATUS(*status) != 0 || !drew) {
        const std::string why = last_message(messages.get());
        return fail(
            gnuplot_problem(why.empty() ? "gnuplot drew nothing and did not say why."
                                        : fmt::format("gnuplot failed with the message: {}.", why),
                            "Check that its version is 5.4 or later and that the disk has space left."));
    }
    if (!picture.keep()) return fail(cannot_write(path));
    return {};
}

std::string gnuplot_text(std::string_view text) {
    std::string quoted = "'";
    while (!text.empty()) {
        const std::size_t n = sequence_length(text);
        if (n == 0) {
            quoted += static_cast<unsigned char>(text.front()) < 0x80 ? ' ' : '?';
            text.remove_prefix(1);
            continue;
        }
        const std::string_view sequence = text.substr(0, n);
        if (sequence == "\t") {
            quoted += ' ';
        } else if (sequence == "'") {
            quoted += typographic_apostrophe;
        } else {
            quoted += sequence;
        }
        text.remove_prefix(n);
    }
    return quoted + "'";
}

}  // namespace emberline::picture
