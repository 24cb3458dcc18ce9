// SPDX-License-Identifier: MIT
// frame/transfer_exposures — flats and biases for photon transfer: opened, judged by header, put into pairs.
// Private to this room.
#pragma once

#include <optional>
#include <string>
#include <utility>
#include <vector>

#include "frame/frame.hpp"
#include "frame/instrument.hpp"
#include "frame/transfer_boxes.hpp"
#include "quantities/problem.hpp"

namespace emberline::frame {

struct TransferExposure {
    std::string path;
    Frame frame;
    FrameKind kind = FrameKind::flat;
    Exposed look;
    [[nodiscard]] bool is_flat() const { return kind == FrameKind::flat; }
    [[nodiscard]] double exposure_s() const;
    [[nodiscard]] std::string filter() const;   // "" where none is said
    [[nodiscard]] std::string setting() const;  // two of one setting can be compared
};
// Absent: a picture of the sky. Problem: not readable, of no kind, made of several, calibrated, no whole
// numbers.
[[nodiscard]] Result<std::optional<TransferExposure>> open_exposure(
    const std::string& path, const std::vector<Instrument>& instruments);

// Of the exposures without light, the biases, else the shortest darks of which there are two.
[[nodiscard]] std::vector<const TransferExposure*> biases_of(const std::vector<TransferExposure>& all,
                                                             const std::string& setting);

// Flats through one filter: neighbours in level, of one exposure first; then what is left over.
using FlatPair = std::pair<const TransferExposure*, const TransferExposure*>;
[[nodiscard]] std::vector<FlatPair> pairs_of(const std::vector<const TransferExposure*>& flats);

}  // namespace emberline::frame
