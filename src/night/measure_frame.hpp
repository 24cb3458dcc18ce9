// SPDX-License-Identifier: MIT
// night/measure_frame — one frame: every star of the sequence and the transient, at every aperture.
// Needs: a Frame, the sequence, the campaign.  Feeds: the ledger, and from there solve_campaign.
#pragma once

#include <string>

#include "frame/frame.hpp"
#include "night/campaign.hpp"
#include "night/host_template.hpp"
#include "photometry/frame_record.hpp"
#include "quantities/problem.hpp"
#include "standard/sequence.hpp"

namespace emberline::night {

// Comparison stars are found near where the plate solution puts them, give the frame's profile and the mean
// shift, and are centred on themselves where bright enough; faint stars and the transient are measured at
// their catalogue positions through that shift.
// Where a host shines in, its surroundings and the frame's PSF are kept with the fluxes, and the difference
// with the campaign's template is measured, if there are `templates`.
// `fingerprint` and `name` go into the result as they are.
// Problem: no time, exposure, band or plate solution; the transient off the frame; too few stars; a frame
// that holds no picture (one value, undefined, saturated).
[[nodiscard]] Result<photometry::FrameFluxes> measure_frame(const frame::Frame& frame, std::string name,
                                                            std::string fingerprint,
                                                            const standard::Sequence& sequence,
                                                            const Campaign& campaign,
                                                            const HostTemplates* templates = nullptr);

// Canonical text of all that shapes fluxes: instruments, positions, measure settings. Frames measured with
// the same text need not be measured again. Catalogue magnitudes and roles are not part of it.
[[nodiscard]] std::string flux_settings(const Campaign& campaign, const standard::Sequence& sequence);

}  // namespace emberline::night
