// SPDX-License-Identifier: MIT
// exchange/network_findings — the validator's list, kept short however long the file. Private to this room.
#pragma once

#include <string>
#include <utility>
#include <vector>

#include "exchange/network_format.hpp"
#include "exchange/network_report.hpp"

namespace emberline::exchange {

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

// 'text' for a message, cut where it is long.
[[nodiscard]] std::string quoted(std::string_view text);

// What holds for the data at some line of the file.
struct LineContext {
    char delimiter = ',';
    std::string date_format = "JD";  // JD, HJD or EXCEL
};
// One line of data. Nothing where it cannot be read as an observation; `findings` says why.
[[nodiscard]] std::optional<NetworkObservation> read_network_line(std::string_view text, std::size_t line,
                                                                  const LineContext& context,
                                                                  Findings& findings);

}  // namespace emberline::exchange
