// SPDX-License-Identifier: MIT
// frame/find_defects — pixels that no calibration mends, from what a master says about them.
// Against neighbours of the same colour: the 24 around it at every second column and row.
// Hot: a dark current whose shot noise is more than all other noise of one frame there, and beyond 6 robust
// sigma of its surroundings. Dead: a response below 0.5 or above 1.5 of its neighbours', or none at all.
// Unstable (five frames and more): a scatter from frame to frame of more than three times what read noise and
// its own dark current explain, or cut in three frames and in a tenth of them: charge that comes and goes.
// With five frames one Gaussian pixel in some three million scatters so by chance. Common practice, no
// source. Private to this room.
#pragma once

#include <array>
#include <cstddef>
#include <vector>

#include "frame/build_master.hpp"
#include "frame/row_writer.hpp"
#include "quantities/problem.hpp"

namespace emberline::frame {

struct MasterNoise {
    FrameKind kind = FrameKind::dark;
    std::size_t frames = 1;
    std::array<double, 4> typical_adu{};  // of one pixel of one frame, each phase
    double gain_e_per_adu = 1.0;
    int threads = 2;
};

// Of a master whose parts are its mean, its variance, and the frames used, sorted by row and column.
[[nodiscard]] Result<std::vector<Defect>> find_defects(const RowWriter& master, const MasterNoise& noise);

}  // namespace emberline::frame
