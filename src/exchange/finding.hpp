// SPDX-License-Identifier: MIT
// exchange/finding — what a validator says of a file.
#pragma once

#include <cstddef>
#include <string>
#include <string_view>
#include <utility>
#include <vector>

namespace emberline::exchange {

struct Finding {
    std::size_t line = 0;  // from 1; of a table without lines, the row; 0: the file as a whole
    std::string field;     // "MAGNITUDE", "#OBSCODE", a column, or empty
    std::string what;
    bool error = true;  // false: a warning, e.g. an obsolete filter code
};
[[nodiscard]] bool any_error(const std::vector<Finding>& findings);

// 'text' for a finding, cut between characters where it is long.
[[nodiscard]] std::string in_quotes(std::string_view text);

// The list as it grows, kept short however long the file.
class Findings {
  public:
    void error(std::size_t line, std::string field, std::string what) {
        add({line, std::move(field), std::move(what), true});
    }
    void warning(std::size_t line, std::string field, std::string what) {
        add({line, std::move(field), std::move(what), false});
    }
    // The list, with one last entry that counts what did not fit.
    [[nodiscard]] std::vector<Finding> take() &&;

  private:
    void add(Finding finding);

    std::vector<Finding> list_;
    std::size_t more_ = 0, more_errors_ = 0;
};

}  // namespace emberline::exchange
