// SPDX-License-Identifier: MIT
#include "frame/frame.hpp"

#include <new>
#include <utility>

#include "frame/fits_image.hpp"
#include "frame/read_facts.hpp"

namespace emberline::frame {

namespace {

Problem no_memory(const std::string& path) {
    return {.what = "There is not enough memory to read this.",
            .where = path,
            .mend = "Close other programs, or read the frame in parts.",
            .kind = ProblemKind::storage};
}

}  // namespace

const Header& Frame::header() const {
    return image_->header();
}

Result<Cutout> Frame::read(const PixelBox& box) const {
    auto cutouts = read(std::vector<PixelBox>{box});
    if (!cutouts) return fail(cutouts.error());
    return std::move(cutouts->front());
}

Result<std::vector<Cutout>> Frame::read(const std::vector<PixelBox>& boxes) const try {
    std::vector<PixelBox> inside;
    inside.reserve(boxes.size());
    for (const PixelBox& box : boxes) {
        inside.push_back(box.inside(facts_.width_px, facts_.height_px));
        if (inside.back().empty()) {
            return fail({.what = "That part lies outside the frame.",
                         .where = facts_.path,
                         .mend = "Check the plate solution and the positions of the stars."});
        }
    }
    return image_->read(facts_.plane, inside);
} catch (const std::bad_alloc&) {
    return fail(no_memory(facts_.path));
}

Result<std::vector<Cutout>> Frame::read_stored(const std::vector<PixelBox>& boxes) const try {
    return image_->read(facts_.plane, boxes);
} catch (const std::bad_alloc&) {
    return fail(no_memory(facts_.path));
}

Result<Cutout> Frame::read_whole() const {
    return read(PixelBox{0, 0, facts_.width_px, facts_.height_px});
}

Result<std::vector<Frame>> open_frames(const std::string& path, const std::vector<Instrument>& instruments,
                                       const Masters* masters) try {
    auto image = FitsImage::open(path);
    if (!image) return fail(image.error());
    auto wcs = Wcs::parse((*image)->header().raw());
    if (!wcs) wcs.error() = at(path, wcs.error());
    const auto shared_wcs = std::make_shared<const Result<Wcs>>(std::move(wcs));
    std::vector<Frame> frames;
    for (int plane = 0; plane < (*image)->planes(); ++plane) {
        FrameFacts seed;
        seed.path = path;
        seed.hdu = (*image)->hdu();
        seed.plane = plane;
        seed.planes = (*image)->planes();
        seed.width_px = (*image)->width_px();
        seed.height_px = (*image)->height_px();
        seed.pixel_type = (*image)->pixel_type();
        seed.tile_compressed = (*image)->tile_compressed();
        if ((*image)->bits() == 8) {
            seed.remarks.emplace_back(
                "An 8-bit picture: stretched or rounded, most of the light's steps are lost. "
                "Save frames with 16 bits or more.");
        }
        Frame frame;
        frame.facts_ = read_facts((*image)->header(), instruments, std::move(seed));
        frame.image_ = *image;
        if (masters != nullptr)
            frame.calibration_ = masters->calibration_of(frame.facts_, (*image)->header());
        frame.wcs_ = shared_wcs;
        frames.push_back(std::move(frame));
    }
    return frames;
} catch (const std::bad_alloc&) {
    return fail(no_memory(path));
}

}  // namespace emberline::frame
