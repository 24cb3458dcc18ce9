// SPDX-License-Identifier: MIT
#include "picture/curve_picture.hpp"

#include "picture/curve_script.hpp"
#include "picture/gnuplot_process.hpp"

namespace emberline::picture {

void spread_bands(CurvePicture&) {}

Result<void> draw_curve(const CurvePicture& picture, const std::string& path) {
    const auto kind = paper_kind_of(path);
    if (!kind) return fail(kind.error());
    const auto script = curve_script(picture, *kind);
    if (!script) return fail(script.error());
    return run_gnuplot(*script, path);
}

}  // namespace emberline::picture
