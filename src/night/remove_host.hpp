// SPDX-License-Identifier: MIT
// night/remove_host — the most trusted way to take the host's light away that the frames of a band allow, and
// the transient's fluxes by it (design, section 4: template, scene, smooth model, annulus).
// Needs: surroundings and differences from measure_frame.  Feeds: solve_campaign. Private to this room but
// for what it tells of its choice.
#pragma once

#include <map>
#include <optional>
#include <set>
#include <string>
#include <vector>

#include "night/campaign.hpp"
#include "photometry/frame_record.hpp"
#include "photometry/star_flux.hpp"

namespace emberline::night {

// For one band and instrument.
struct HostChoice {
    Band band;
    std::string instrument;
    bool shines = false;  // light under the aperture is not flat, or a template was given
    photometry::HostMethod method = photometry::HostMethod::annulus;
    bool template_refused = false;
    std::vector<std::string> remarks;           // why not a more trusted one; what the method remarked
    std::optional<photometry::SkyShift> place;  // of the transient, from its catalogue position
    std::optional<double> surface_mag_arcsec2;  // set by solve_campaign, of the host under the transient
    // The method's host and sky for each frame that was offered, ADU: for pictures.
    std::map<const photometry::FrameFluxes*, frame::Cutout> models;
};

// One for each frame offered that has a more trusted flux than the annulus: the transient's alone.
using HostFreeFluxes = std::map<const photometry::FrameFluxes*, photometry::StarFlux>;

struct HostRemoval {
    HostFreeFluxes transients;
    std::set<const photometry::FrameFluxes*> unfit;  // no such flux, where the others of their band have one
    std::set<const photometry::FrameFluxes*> on_nucleus;  // no model can tell the two apart
    std::vector<HostChoice> choices;
};

// `frames`: those in use, of all bands. `comparison`: labels that may calibrate.
[[nodiscard]] HostRemoval remove_host(const std::vector<const photometry::FrameFluxes*>& frames,
                                      const std::set<std::string>& comparison, const Campaign& campaign,
                                      bool keep_models);

}  // namespace emberline::night
