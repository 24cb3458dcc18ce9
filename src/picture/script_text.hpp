// SPDX-License-Identifier: MIT
// picture/script_text — the words of a gnuplot script as they grow. Private to this room.
#pragma once

#include <fmt/format.h>

#include <iterator>
#include <string>

namespace emberline::picture {

class ScriptText {
  public:
    template <class... Args>
    void add(fmt::format_string<Args...> format, Args&&... args) {
        fmt::format_to(std::back_inserter(text_), format, std::forward<Args>(args)...);
    }
    [[nodiscard]] std::string take() { return std::move(text_); }

  private:
    std::string text_;
};

}  // namespace emberline::picture
