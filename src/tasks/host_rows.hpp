// SPDX-License-Identifier: MIT
// tasks/host_rows — what each way of taking the host's light away makes of the pixels about the transient:
// data, model, and what is left.  Needs: the campaign solved once for each way.  Feeds: `measure --explain`,
// the page.
#pragma once

#include <optional>
#include <string>
#include <vector>

#include "frame/pixels.hpp"
#include "frame/wcs.hpp"
#include "ledger/ledger.hpp"
#include "night/solve_campaign.hpp"
#include "photometry/frame_record.hpp"
#include "photometry/host_light.hpp"
#include "quantities/problem.hpp"
#include "tasks/workspace.hpp"

namespace emberline::tasks {

// The whole campaign with one method wherever a band can have it; other bands fall back to the annulus.
struct HostTrial {
    photometry::HostMethod method = photometry::HostMethod::annulus;
    night::CampaignSolution solved;  // its models are known by the places of the frames that were solved
};
// In the order of trust. A method that no frame allows is left out.
[[nodiscard]] std::vector<HostTrial> try_host_methods(const std::vector<photometry::FrameFluxes>& frames,
                                                      const Workspace& workspace,
                                                      const night::SetAsideByObserver& set_aside);
// Those that have models of frames of that band and instrument.
[[nodiscard]] std::vector<const night::HostChoice*> host_models(const std::vector<HostTrial>& trials,
                                                                const Band& band,
                                                                const std::string& instrument);
// Of a pixel of their sky: the scale of what is left.
[[nodiscard]] double noise_in(const photometry::Surroundings& around);
// Where the host's nucleus falls among those pixels.
[[nodiscard]] std::optional<frame::PixelPosition> nucleus_in(const photometry::Surroundings& around,
                                                             const night::Campaign& campaign);

// All that is costly, for any frame of the campaign.
class HostTrials {
  public:
    // Problem: the ledger; nothing measured.
    static Result<HostTrials> solve(const Workspace& workspace, const ledger::Ledger& ledger);
    HostTrials(HostTrials&&) = default;
    HostTrials& operator=(HostTrials&&) = default;

    // Null where the campaign has no such frame.
    [[nodiscard]] const photometry::FrameFluxes* find(const std::string& fingerprint, int plane) const;
    // The method in use first; of a frame without a host, or that is not in use, nothing.
    [[nodiscard]] std::vector<const night::HostChoice*> models_of(const photometry::FrameFluxes& frame) const;
    [[nodiscard]] std::optional<photometry::HostMethod> in_use(const photometry::FrameFluxes& frame) const;

  private:
    HostTrials() = default;
    std::vector<photometry::FrameFluxes> frames_;  // the models know them by their places
    std::vector<night::HostChoice> chosen_;
    std::vector<HostTrial> trials_;
};

struct HostModel {
    std::string method;  // photometry::word, or "sky"
    bool used = false;
    std::vector<double> model_adu, residual_sigma;  // residual: (data − model) / noise; NaN where undefined
};
struct HostRows {
    std::string frame;
    frame::Cutout data;
    std::vector<HostModel> methods;  // the one in use first; never empty
    double noise_adu = 1.0;          // of a sky pixel
    frame::PixelPosition transient;
    std::optional<frame::PixelPosition> nucleus;
    std::string words;  // what the model is
};
// Where no host shines in, and of a frame that is not in use, the model is the sky alone. Problem: no such
// frame (input); without a host, as of open_with_plate.
[[nodiscard]] Result<HostRows> host_rows(const Workspace& workspace, const ledger::Ledger& ledger,
                                         const HostTrials& trials, const std::string& fingerprint, int plane);

}  // namespace emberline::tasks
