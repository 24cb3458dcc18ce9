// SPDX-License-Identifier: MIT
// tasks/make_template — a template of the host from the campaign's own frames, written into the campaign.
#pragma once

#include <functional>
#include <optional>
#include <string>
#include <vector>

#include "night/stack_template.hpp"
#include "quantities/problem.hpp"
#include "tasks/workspace.hpp"

namespace emberline::tasks {

struct TemplateRequest {
    std::vector<std::string> places;       // files and folders
    std::string output = "template.fits";  // in the campaign's folder, unless absolute
    std::optional<std::string> band;       // which, of colour cameras' files
    bool replace = false;                  // an existing file
    std::function<void(std::size_t done, std::size_t of)> progress;
};

struct TemplateOutcome {
    std::string path;
    std::vector<std::string> used;
    std::vector<LeftOut> left_out;
    std::size_t clipped_pixels = 0;
    double fwhm_arcsec = 0.0;
    bool named_in_settings = false;  // campaign.toml names that file already
};

// Problem: no frames, an existing file (request); nothing to stack; the disk (storage).
[[nodiscard]] Result<TemplateOutcome> make_template(const Workspace& workspace,
                                                    const TemplateRequest& request);

}  // namespace emberline::tasks
