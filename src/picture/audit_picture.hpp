// SPDX-License-Identifier: MIT
// picture/audit_picture — the comparison stars on trial: a strip each, how far it was from its catalogue
// magnitude on each night, against the others; accused ones in ember.
#pragma once

#include <string>

#include "night/audit_sequence.hpp"
#include "quantities/problem.hpp"

namespace emberline::picture {

inline constexpr std::size_t most_strips = 60;  // the first of the audit's order are drawn

// SVG or PNG, by the path's ending. Problem: no star with a night, gnuplot missing, the disk.
[[nodiscard]] Result<void> draw_audit(const night::SequenceAudit& audit, const std::string& title,
                                      const std::string& path);

}  // namespace emberline::picture
