// SPDX-License-Identifier: MIT
// tasks/command_line — what to type for the same answer: a command of this program, quoted for a shell.
#pragma once

#include <string>
#include <string_view>
#include <vector>

namespace emberline::tasks {

// As one word of a POSIX shell (IEEE Std 1003.1-2017, XCU 2.2): in single quotes where it needs them.
[[nodiscard]] std::string shell_word(std::string_view text);

class CommandLine {
  public:
    explicit CommandLine(std::string_view command) : text_("emberline " + std::string(command)) {}
    CommandLine& option(std::string_view name, std::string_view value);  // none where the value is empty
    CommandLine& option(std::string_view name, const std::vector<std::string>& values);  // once for each
    CommandLine& flag(std::string_view name, bool on);
    [[nodiscard]] const std::string& text() const { return text_; }

  private:
    std::string text_;
};

}  // namespace emberline::tasks
