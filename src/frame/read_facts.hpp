// SPDX-License-Identifier: MIT
// frame/read_facts — from a header to facts: dialects of time, gain that is no gain, filters by many names.
#pragma once

#include <vector>

#include "frame/frame_facts.hpp"
#include "frame/header.hpp"
#include "frame/instrument.hpp"

namespace emberline::frame {

// The campaign's instrument that took the frame: of those whose `match` fits the one that asks for most.
// Null: none fits.
[[nodiscard]] const Instrument* instrument_of(const Header& header,
                                              const std::vector<Instrument>& instruments);

// `seed` carries what the file itself tells (path, size, pixel type, plane). Never fails: what cannot be
// told stays absent, with a remark why.
[[nodiscard]] FrameFacts read_facts(const Header& header, const std::vector<Instrument>& instruments,
                                    FrameFacts seed);

}  // namespace emberline::frame
