// SPDX-License-Identifier: MIT
#include "rehearsal/save_picture.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <cstdint>
#include <filesystem>
#include <limits>
#include <span>

#include "frame/write_frame.hpp"
#include "rehearsal/mosaic.hpp"

namespace emberline::rehearsal {
namespace {

namespace fs = std::filesystem;

constexpr double usual_strength = 1.0;

template <class Level>
std::vector<Level> rounded(std::span<const float> adu) {
    constexpr double most = std::numeric_limits<Level>::max();
    std::vector<Level> levels;
    levels.reserve(adu.size());
    for (const float value : adu)
        levels.push_back(static_cast<Level>(std::clamp(std::round(static_cast<double>(value)), 0.0, most)));
    return levels;
}

Result<void> write(const std::string& path, const CameraPicture& picture, int planes, bool eight_bits,
                   const std::vector<frame::Card>& cards) {
    const int width = picture.width_px, height = picture.height_px;
    if (eight_bits)
        return frame::write_bytes(path, width, height, planes, rounded<std::uint8_t>(picture.adu), cards);
    if (picture.whole_numbers)
        return frame::write_cube(path, width, height, planes, rounded<std::uint16_t>(picture.adu), cards);
    return frame::write_cube(path, width, height, planes, picture.adu, cards);
}

}  // namespace

Result<void> make_folder(const std::string& folder) {
    std::error_code error;
    fs::create_directories(folder, error);
    if (!error) return {};
    return fail({.what = fmt::format("The folder cannot be made: {}.", error.message()),
                 .where = folder,
                 .mend = "Choose a place that you may write to, on a disk with room.",
                 .kind = ProblemKind::storage});
}

Result<void> save_picture(const std::string& path, CameraPicture picture, const Saving& saving,
                          const std::vector<frame::Card>& cards) {
    if (auto made = make_folder(fs::path(path).parent_path().string()); !made) return made;
    const int planes = saving.debayer ? 3 : 1;
    if (saving.debayer)
        picture.adu = debayered(picture.adu, picture.width_px, picture.height_px, *saving.debayer);
    bool eight_bits = false;
    if (saving.processing != Processing::none) {
        const std::size_t size = picture.adu.size() / static_cast<std::size_t>(planes);
        for (std::size_t first = 0; first < picture.adu.size(); first += size) {
            const auto plane = std::span<const float>(picture.adu).subspan(first, size);
            const ProcessedImage image =
                process(plane, picture.width_px, picture.height_px, saving.processing, usual_strength);
            std::copy(image.adu.begin(), image.adu.end(),
                      picture.adu.begin() + static_cast<std::ptrdiff_t>(first));
            eight_bits = image.eight_bits;
        }
        picture.whole_numbers = true;
    }
    auto written = write(path, picture, planes, eight_bits, cards);
    if (!written) written.error().kind = ProblemKind::storage;
    return written;
}

}  // namespace emberline::rehearsal
