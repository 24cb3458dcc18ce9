// SPDX-License-Identifier: MIT
// exchange/network_findings — one line of a report, read and judged. Private to this room.
#pragma once

#include <optional>
#include <string>
#include <string_view>

#include "exchange/finding.hpp"
#include "exchange/network_report.hpp"

namespace emberline::exchange {

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
