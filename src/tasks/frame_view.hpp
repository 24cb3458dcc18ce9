// SPDX-License-Identifier: MIT
// tasks/frame_view — one frame to be looked at: where everything that was measured lies on its pixels, and
// the pixels themselves. What the ledger keeps is told whether the file is still there or not. Needs: a
// campaign and its ledger.  Feeds: the page.
#pragma once

#include <array>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "frame/frame.hpp"
#include "ledger/ledger.hpp"
#include "picture/finder_image.hpp"
#include "quantities/band.hpp"
#include "quantities/caveat.hpp"
#include "quantities/instant.hpp"
#include "quantities/problem.hpp"
#include "tasks/find_measured.hpp"
#include "tasks/measured_frame.hpp"
#include "tasks/workspace.hpp"

namespace emberline::tasks {

// A measured frame, or the campaign's template for frames of a band.
struct ViewId {
    std::optional<FrameId> measured;
    Band template_of;  // where it is none of those
    [[nodiscard]] std::string text() const;
};
// "0f3a…-0", "template-V". Problem (request): neither.
[[nodiscard]] Result<ViewId> parse_view_id(std::string_view text);

struct ViewedStar {
    std::string label;
    picture::StarMark mark = picture::StarMark::unused;
    frame::PixelPosition position;
    std::optional<double> catalogue_mag;  // in the band that the frame is calibrated on
    bool suspect = false;
    std::string why;  // it is suspect, or not used
};

struct FrameView {
    std::string id, name, frame;  // name: of the file alone; frame: as the ledger or campaign.toml has it
    std::string night;            // empty: a template
    Band band;
    std::string instrument;
    std::optional<Instant> mid_exposure;
    std::optional<double> exposure_s, airmass;
    bool used = true;
    std::string reason;  // why not used
    Caveats caveats;
    std::optional<double> fwhm_px;
    std::optional<frame::PixelPosition> transient, nucleus;
    std::optional<ApertureInUse> aperture;
    std::vector<ViewedStar> stars;
    // Pixels an arcsecond at the transient: dx/d(east), dx/d(north), dy/d(east), dy/d(north).
    std::optional<std::array<double, 4>> px_per_arcsec;
    std::optional<double> scale_arcsec_per_px;
    std::optional<double> magnitude_mag, err_mag, limit_mag;  // err: random and common together
};

// Problem: nothing measured, no such frame or template, a template that cannot be opened (input); the ledger.
[[nodiscard]] Result<FrameView> frame_view(const Workspace& workspace, const ViewId& id);

// Its file as it was measured, with the campaign's masters. Problem: gone, overwritten, unreadable; each says
// what to do.
[[nodiscard]] Result<frame::Frame> frame_pixels(const Workspace& workspace, const ViewId& id);
// Another text whenever those pixels may be others: the file's content, what is done to it.
[[nodiscard]] std::string pixels_version(const Workspace& workspace, const frame::Frame& pixels);

// Of a night, by time; without one the deepest of each night and band, to be compared. Problem: the ledger.
[[nodiscard]] Result<std::vector<ledger::ListedFrame>> frame_list(const Workspace& workspace,
                                                                  const std::optional<std::string>& night);

}  // namespace emberline::tasks
