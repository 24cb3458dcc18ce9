// SPDX-License-Identifier: MIT
// tasks/find_measured — a frame that was measured, found in the ledger by its mark or its name, and opened
// again with the plate solution that it was measured with.
#pragma once

#include <optional>
#include <string>
#include <string_view>

#include "frame/frame.hpp"
#include "ledger/ledger.hpp"
#include "night/solution.hpp"
#include "photometry/frame_record.hpp"
#include "quantities/problem.hpp"
#include "tasks/workspace.hpp"

namespace emberline::tasks {

struct MeasuredFrame {
    photometry::FrameFluxes fluxes;
    std::optional<night::FrameMeasurement> measured;  // absent: not solved since
};

// What stands for one plane of one file: "FINGERPRINT-PLANE".
struct FrameId {
    std::string fingerprint;
    int plane = 0;
    [[nodiscard]] std::string text() const;
};
// Nothing where it is none.
[[nodiscard]] std::optional<FrameId> parse_frame_id(std::string_view text);

[[nodiscard]] Problem no_such_frame(const FrameId& id);

// Problem: no such frame is in the ledger (input); the ledger.
[[nodiscard]] Result<MeasuredFrame> find_measured(const ledger::Ledger& ledger, const FrameId& id);
// Named as the ledger names it or by the end of its path; `band` where a file holds several. Problem
// (request): nothing or several match.
[[nodiscard]] Result<MeasuredFrame> find_measured(const Workspace& workspace, const ledger::Ledger& ledger,
                                                  const std::string& name, const std::string& band);

// As open_as_measured, with the plate solution made of its own stars where it had one. Problem: the file is
// gone, or holds something else than when it was measured.
[[nodiscard]] Result<frame::Frame> open_with_plate(const Workspace& workspace, const ledger::Ledger& ledger,
                                                   const photometry::FrameFluxes& fluxes);

}  // namespace emberline::tasks
