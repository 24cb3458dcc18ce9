// SPDX-License-Identifier: MIT
// tasks/measure — frames into the ledger, the campaign solved, the nights told.
#pragma once

#include <atomic>
#include <functional>
#include <string>
#include <vector>

#include "night/solve_campaign.hpp"
#include "quantities/problem.hpp"
#include "tasks/workspace.hpp"

namespace emberline::tasks {

struct MeasureRequest {
    std::vector<std::string> places;          // files and folders; empty: the campaign's frames/
    bool again = false;                       // no frames: solve from the ledger's fluxes
    int threads = 0;                          // 0: as many as there are cores
    const std::atomic<bool>* stop = nullptr;  // set by a signal: what is measured so far is kept
    std::function<void(std::size_t done, std::size_t of)> progress;
};

struct RefusedFrame {
    std::string frame;
    Problem problem;
};

struct MeasureOutcome {
    std::size_t offered = 0;      // frames, planes of cubes counted each
    std::size_t fresh = 0;        // measured for the first time
    std::size_t superseding = 0;  // measured with other settings than before, or in an overwritten file
    std::size_t solved = 0;       // of those two: by a plate solution made here, of their own stars
    std::size_t renamed = 0;      // files that are known under another name
    std::size_t known = 0;        // in the ledger already, with these settings
    std::vector<RefusedFrame> refused;
    std::vector<Problem> refused_templates;   // that could not be opened: their bands go on without
    std::vector<Problem> refused_masters;     // that cannot be used: frames go on without
    bool template_refused = false;            // one that was opened, and is no good
    std::vector<std::string> touched_nights;  // of the frames offered
    night::Solution solution;                 // of the whole campaign
    std::vector<std::string> remarks;
    bool changed = false;  // the ledger holds a new solution
    bool interrupted = false;
    bool judged_away = false;  // frames just measured that the judgement does not use
};

// One frame that cannot be measured is refused with its reason and the others go on. Frames whose header has
// no plate solution, or one that their stars contradict, are solved after all others were measured, matched
// with the stars of one solved frame of the campaign: the ledger keeps these stars and the solutions, so that
// later runs give the same fluxes. A file under a new name keeps its fluxes; one that was overwritten
// supersedes what it held before.
// Problem: bad campaign, no frame files, a ledger that fails, nothing measured ever.
[[nodiscard]] Result<MeasureOutcome> measure(const Workspace& workspace, const MeasureRequest& request);

// Solves the campaign from the ledger's fluxes and stores what changed.
struct Resolved {
    night::CampaignSolution campaign;
    night::SetAsideByObserver set_aside;
    bool changed = false;
};
[[nodiscard]] Result<Resolved> solve_from_ledger(const Workspace& workspace, ledger::Ledger& ledger);

// The transient's magnitude on each night through each of the apertures, for `measure --explain`.
struct ApertureAnswer {
    std::string night;
    Band band;
    std::string instrument;
    double fwhm_multiple = 0.0;
    std::optional<double> magnitude_mag, random_err_mag, limit_mag;
    bool chosen = false;
};
struct Surroundings {  // of the transient, on one night in one band
    std::string night;
    Band band;
    double aperture_arcsec = 0.0, fwhm_arcsec = 0.0;
    double sky_e_per_px = 0.0, sky_scatter_e = 0.0;
    double unevenness = 0.0;             // of the annulus; 1 is flat
    double comparison_unevenness = 0.0;  // the comparison stars' middle
    bool host_unmodelled = false;
};
// The transient's magnitude on each night by each way of taking the host away.
struct MethodAnswer {
    std::string night;
    Band band;
    std::string instrument;
    std::string method;  // "template-psf" …; the annulus is plain "aperture"
    std::optional<double> magnitude_mag, random_err_mag, common_err_mag, limit_mag;
    bool chosen = false;
};
// One star's light within each radius over that within the largest, as the night's frames show it.
struct GrowthOfLight {
    std::string night;
    Band band;
    std::vector<double> radius_fwhm, stars, transient;  // the transient's with the host under it
};
struct HostOfBand {
    Band band;
    std::string instrument, method;
    std::optional<double> surface_mag_arcsec2;  // under the transient
    std::optional<photometry::SkyShift> place;  // of the transient, from its catalogue position
};
struct Explanation {
    std::vector<Surroundings> surroundings;
    std::vector<ApertureAnswer> answers;
    std::vector<HostOfBand> hosts;      // where one shines in
    std::vector<MethodAnswer> methods;  // likewise
    std::vector<GrowthOfLight> growth;
    std::vector<std::string> pictures;  // files written: data, model, residual
    std::vector<std::string> remarks;
};
// Solves the campaign in every way that there is, and draws what each leaves of one frame a band, in out/.
[[nodiscard]] Result<Explanation> explain(const Workspace& workspace);

}  // namespace emberline::tasks
