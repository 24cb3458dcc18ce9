// SPDX-License-Identifier: MIT
// tasks/measure_file — one file's frames measured: by the plate solution of its header, or by one made of its
// own stars. Private to this room.
#pragma once

#include <optional>
#include <string>
#include <vector>

#include "frame/calibration.hpp"
#include "ledger/ledger.hpp"
#include "night/host_template.hpp"
#include "night/plate_finder.hpp"
#include "photometry/frame_record.hpp"
#include "tasks/measure.hpp"
#include "tasks/workspace.hpp"

namespace emberline::tasks {

struct MeasuredFile {
    std::vector<photometry::FrameFluxes> measured;
    std::vector<RefusedFrame> refused;
    std::vector<std::string>
        remarks;  // of frames that no master of a kind fits, or whose headers are doubted
    // Its header's plate solution is missing or in doubt: to be asked of its own stars. Nothing is measured
    // then; `refused` holds what it was refused for.
    bool wants_plate = false;
    bool measurable = false;  // all the same, by the header
};

struct FileTools {
    const Workspace& workspace;
    const frame::Masters& masters;
    const night::HostTemplates& templates;
};

[[nodiscard]] MeasuredFile measure_file(const std::string& path, const std::string& fingerprint,
                                        const FileTools& tools);

// A file that wants a plate, as measure_file left it.
struct UnsolvedFile {
    std::string path, fingerprint;
    std::vector<RefusedFrame> refused;
    bool measurable = false;
};

// As the ledger keeps it.
[[nodiscard]] ledger::KeptPlate kept_plate(const std::string& fingerprint, const night::FoundPlate& found);

struct SolvedFile {
    MeasuredFile file;
    std::optional<ledger::KeptPlate> plate;  // found now
    bool solved = false;                     // measured by a solution of its own stars
    std::string against;
    std::optional<double> header_off_arcsec;  // of a header's solution that was wrong, at the worst corner
    // Of a frame that could be solved: what others can be matched with.
    std::optional<night::FieldReference> reference;
};

// `kept`: its solution, where one was made before. `with_reference`: make one of it.
[[nodiscard]] SolvedFile solve_and_measure(const UnsolvedFile& unsolved,
                                           const std::optional<ledger::KeptPlate>& kept,
                                           const night::PlateFinder& finder, const FileTools& tools,
                                           bool with_reference);

// Of the first frame, by time, that the ledger has and whose header's plate solution is good; its file must
// lie there still. Problem: the ledger.
[[nodiscard]] Result<std::optional<night::FieldReference>> reference_of_ledger(const ledger::Ledger& ledger,
                                                                               const FileTools& tools);

}  // namespace emberline::tasks
