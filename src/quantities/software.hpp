// SPDX-License-Identifier: MIT
// quantities/software — how this program names itself in reports, ledgers and files.
#pragma once

namespace emberline {
inline namespace quantities {

inline constexpr const char* software = "emberline 0.1.0";

}  // namespace quantities
}  // namespace emberline
