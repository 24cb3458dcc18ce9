// SPDX-License-Identifier: MIT
// exchange/network_findings — one line of a report, read and judged. Private to this room.
#pragma once

#include <string>
#include <utility>
#include <vector>

#include "exchange/network_format.hpp"
#include "exchange/network_report.hpp"

namespace emberline::exchange {

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
