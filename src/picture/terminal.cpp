// SPDX-License-Identifier: MIT
#include "picture/terminal.hpp"

#include <fmt/format.h>

#include <filesystem>

#include "picture/paper.hpp"
#include "quantities/text.hpp"

namespace emberline::picture {

Result<PaperKind> paper_kind_of(const std::string& path) {
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

// One SVG user unit is a 960th of the width; the other papers scale fonts, lines and points to match it. The
// PDF is 26 cm wide, where letters of 12 units are 9.2 pt high (measured: it sets 4/3 of font × fontscale).
std::string terminal(PaperKind kind, const std::string& name, int height) {
    switch (kind) {
        case PaperKind::svg:
            return fmt::format(
                "set terminal svg noenhanced name '{}' size {},{} dynamic rounded font 'sans-serif,14' "
                "background rgb '{}'\n",
                name, paper_width, height, paper);
        case PaperKind::pdf:
            return fmt::format(
                "set terminal pdfcairo noenhanced color rounded size 26cm,{:.3f}cm font 'sans-serif,14' "
                "fontscale 0.576 linewidth 1.4 pointscale 0.74 background rgb '{}'\n",
                26.0 * height / paper_width, paper);
        case PaperKind::png:
            return fmt::format(
                "set terminal pngcairo noenhanced color rounded size {},{} font 'sans-serif,14' "
                "fontscale 1.5 linewidth 2 pointscale 1.9 background rgb '{}'\n",
                2 * paper_width, 2 * height, paper);
    }
    return {};
}

}  // namespace emberline::picture
