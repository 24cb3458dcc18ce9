// SPDX-License-Identifier: MIT
#include "photometry/convolved_psf.hpp"

#include <algorithm>
#include <cmath>

#include "numerics/gaussian.hpp"

namespace emberline::photometry {
namespace {

constexpr double table_reach_fwhm = 3.0;  // beyond it the core alone is close enough
constexpr int most_nodes_half = 80;

}  // namespace

Result<Psf> convolved_psf(const Psf& psf, const std::vector<double>& kernel, int half,
                          const frame::PixelPosition& place) {
    double sum = 0.0, second = 0.0;
    std::size_t i = 0;
    for (int v = -half; v <= half; ++v) {
        for (int u = -half; u <= half; ++u, ++i)
            sum += kernel[i], second += 0.5 * (u * u + v * v) * kernel[i];
    }
    MoffatCore core = psf.core();
    const double widened = std::max(0.0, second / sum);
    core.fwhm_px = std::sqrt(core.fwhm_px * core.fwhm_px +
                             numerics::fwhm_per_sigma * numerics::fwhm_per_sigma * widened);
    const auto bare = Psf::make(core);
    if (!bare) return bare;
    PsfTable table;
    table.step_px = std::max(0.5, core.fwhm_px / 8.0);
    table.half = std::min(most_nodes_half,
                          static_cast<int>(std::ceil(table_reach_fwhm * core.fwhm_px / table.step_px)));
    // The old PSF's share at any distance: the star is put beside a pixel of the frame.
    const int x0 = static_cast<int>(std::lround(place.x)), y0 = static_cast<int>(std::lround(place.y));
    const int reach = static_cast<int>(std::ceil(psf.reach_px())) + 1;
    const int side = 2 * table.half + 1;
    table.constant.reserve(static_cast<std::size_t>(side) * static_cast<std::size_t>(side));
    for (int b = -table.half; b <= table.half; ++b) {
        for (int a = -table.half; a <= table.half; ++a) {
            const double dx = a * table.step_px, dy = b * table.step_px;
            // Whole pixels by the kernel's own steps, the rest by the star's place.
            const int px = static_cast<int>(std::lround(dx)), py = static_cast<int>(std::lround(dy));
            const frame::PixelPosition star{x0 - (dx - px), y0 - (dy - py)};
            double light = 0.0;
            std::size_t k = 0;
            for (int v = -half; v <= half; ++v) {
                for (int u = -half; u <= half; ++u, ++k) {
                    if (kernel[k] == 0.0 || std::abs(px - u) > reach || std::abs(py - v) > reach) continue;
                    light += kernel[k] * psf.share(star, x0 + px - u, y0 + py - v);
                }
            }
            table.constant.push_back(light / sum - bare->share(star, x0 + px, y0 + py));
        }
    }
    return Psf::make(core, std::move(table));
}

}  // namespace emberline::photometry
