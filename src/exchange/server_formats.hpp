// SPDX-License-Identifier: MIT
// exchange/server_formats — what the writers and readers of JSON and TSV share. Private to this room.
#pragma once

#include <string_view>
#include <vector>

#include "exchange/server_fields.hpp"
#include "quantities/problem.hpp"

namespace emberline::exchange {

// Read back what is about to be written, so that no writer lets out what the validator refuses. Problem: the
// first finding, with its field.
[[nodiscard]] Result<void> proofread(const ServerReport& report);  // of its points the first alone
[[nodiscard]] Result<void> proofread_point(const std::vector<ServerField>& fields, std::size_t number);

void read_server_json(std::string_view text, ServerReader& reader, Findings& findings);
void read_server_tsv(std::string_view text, ServerReader& reader, Findings& findings);

}  // namespace emberline::exchange
