// SPDX-License-Identifier: MIT
#include "picture/curve_picture.hpp"

#include <fmt/format.h>

#include <filesystem>

#include "picture/curve_script.hpp"
#include "picture/gnuplot_process.hpp"
#include "quantities/text.hpp"

namespace emberline::picture {
namespace {

Result<PaperKind> kind_of(const std::string& path) {
    const std::string ending = lower_case(std::filesystem::path(path).extension().string());
    if (ending == ".svg") return PaperKind::svg;
    if (ending == ".pdf") return PaperKind::pdf;
    if (ending == ".png") return PaperKind::png;
    return fail({.what = ending.empty() ? "The picture's file name has no ending."
                                        : fmt::format("Pictures of the type '{}' cannot be drawn.", ending),
                 .where = path,
                 .mend = "End the file name in .svg, .pdf or .png.",
                 .kind = ProblemKind::request});
}

}  // namespace

Result<void> draw_curve(const CurvePicture& picture, const std::string& path) {
    const auto kind = kind_of(path);
    if (!kind) return fail(kind.error());
    const auto script = curve_script(picture, *kind);
    if (!script) return fail(script.error());
    return run_gnuplot(*script, path);
}

}  // namespace emberline::picture
