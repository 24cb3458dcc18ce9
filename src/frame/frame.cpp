// SPDX-License-Identifier: MIT
#include "frame/frame.hpp"

#include <algorithm>
#include <array>
#include <limits>
#include <new>
#include <utility>

#include "frame/colour_pattern.hpp"
#include "frame/fits_image.hpp"
#include "frame/own_stack.hpp"
#include "frame/read_facts.hpp"

namespace emberline::frame {

namespace {

Problem no_memory(const std::string& path) {
    return {.what = "There is not enough memory to read this.",
            .where = path,
            .mend = "Close other programs, or read the frame in parts.",
            .kind = ProblemKind::storage};
}

// The smallest box of stored pixels that holds a box of the picture; empty where none is on the frame.
PixelBox stored_box(const Lattice& lattice, const PixelBox& box) {
    if (box.empty()) return {};
    const long long i0 = box.x0, i1 = i0 + box.width - 1, j0 = box.y0, j1 = j0 + box.height - 1;
    const auto [x0, x1] = std::minmax({i0 * lattice.ux + j0 * lattice.vx, i1 * lattice.ux + j0 * lattice.vx,
                                       i0 * lattice.ux + j1 * lattice.vx, i1 * lattice.ux + j1 * lattice.vx});
    const auto [y0, y1] = std::minmax({i0 * lattice.uy + j0 * lattice.vy, i1 * lattice.uy + j0 * lattice.vy,
                                       i0 * lattice.uy + j1 * lattice.vy, i1 * lattice.uy + j1 * lattice.vy});
    return PixelBox{static_cast<int>(lattice.x0 + x0), static_cast<int>(lattice.y0 + y0),
                    static_cast<int>(x1 - x0 + 1), static_cast<int>(y1 - y0 + 1)}
        .inside(lattice.stored_width_px, lattice.stored_height_px);
}

Cutout sampled(const Cutout& stored, const Lattice& lattice, const PixelBox& box) {
    Cutout picture{box, {}};
    picture.adu.reserve(box.pixels());
    for (int j = box.y0; j < box.y0 + box.height; ++j) {
        int x = lattice.x0 + box.x0 * lattice.ux + j * lattice.vx;
        int y = lattice.y0 + box.x0 * lattice.uy + j * lattice.vy;
        for (int i = 0; i < box.width; ++i, x += lattice.ux, y += lattice.uy)
            picture.adu.push_back(stored.contains(x, y) ? stored.at(x, y)
                                                        : std::numeric_limits<float>::quiet_NaN());
    }
    return picture;
}

FrameFacts seed_of(const FitsImage& image, const std::string& path) {
    FrameFacts seed;
    seed.path = path;
    seed.hdu = image.hdu();
    seed.planes = image.planes();
    seed.width_px = image.width_px();
    seed.height_px = image.height_px();
    seed.pixel_type = image.pixel_type();
    seed.tile_compressed = image.tile_compressed();
    if (image.bits() == 8) {
        seed.remarks.emplace_back(
            "An 8-bit picture: stretched or rounded, most of the light's steps are lost. "
            "Save frames with 16 bits or more.");
    }
    return seed;
}

}  // namespace

int Frame::stored_plane() const {
    return facts_.lattice ? 0 : facts_.plane;
}

const Header& Frame::header() const {
    return image_->header();
}

Result<Cutout> Frame::read(const PixelBox& box) const {
    auto cutouts = read(std::vector<PixelBox>{box});
    if (!cutouts) return fail(cutouts.error());
    return std::move(cutouts->front());
}

Result<std::vector<Cutout>> Frame::read(const std::vector<PixelBox>& boxes) const try {
    std::vector<PixelBox> inside, stored;
    inside.reserve(boxes.size());
    for (const PixelBox& box : boxes) {
        inside.push_back(box.inside(facts_.width_px, facts_.height_px));
        stored.push_back(facts_.lattice ? stored_box(*facts_.lattice, inside.back()) : inside.back());
        if (inside.back().empty() || stored.back().empty()) {
            return fail({.what = "That part lies outside the frame.",
                         .where = facts_.path,
                         .mend = "Check the plate solution and the positions of the stars."});
        }
    }
    auto cutouts = image_->read(stored_plane(), stored);
    if (!cutouts) return fail(cutouts.error());
    if (auto good = calibration_.apply(*cutouts); !good) return fail(good.error());
    if (facts_.lattice) {
        for (std::size_t i = 0; i < cutouts->size(); ++i)
            (*cutouts)[i] = sampled((*cutouts)[i], *facts_.lattice, inside[i]);
    }
    return cutouts;
} catch (const std::bad_alloc&) {
    return fail(no_memory(facts_.path));
}

Result<std::vector<Cutout>> Frame::read_stored(const std::vector<PixelBox>& boxes) const try {
    std::vector<PixelBox> inside;
    inside.reserve(boxes.size());
    for (const PixelBox& box : boxes)
        inside.push_back(box.inside(image_->width_px(), image_->height_px()));
    return image_->read(stored_plane(), inside);
} catch (const std::bad_alloc&) {
    return fail(no_memory(facts_.path));
}

Frame Frame::with_plate(const Wcs& stored, const PlateOrigin& origin) const {
    Frame out = *this;
    out.wcs_ = std::make_shared<const Result<Wcs>>(facts_.lattice ? stored.on(*facts_.lattice) : stored);
    out.plate_ = origin;
    return out;
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
    FrameFacts seed = seed_of(**image, path);
    std::optional<Fact<ColourPattern>> pattern;
    if (seed.planes == 1 && !read_own_stack((*image)->header())) {
        static const Instrument none;
        const Instrument* instrument = instrument_of((*image)->header(), instruments);
        auto found =
            read_colour_pattern((*image)->header(), instrument != nullptr ? *instrument : none, seed);
        if (!found) return fail(at(path, found.error()));
        pattern = std::move(*found);
    }
    std::array<Lattice, 3> lattices;
    if (pattern) {
        seed.planes = 3;
        seed.pattern = Fact<std::string>{pattern->value.word(), pattern->source};
        lattices = lattices_of(pattern->value, seed.width_px, seed.height_px);
    }
    std::vector<Frame> frames;
    for (int plane = 0; plane < seed.planes; ++plane) {
        FrameFacts own = seed;
        own.plane = plane;
        Frame frame;
        frame.wcs_ = shared_wcs;
        if (pattern) {
            const Lattice& lattice = lattices[static_cast<std::size_t>(plane)];
            own.lattice = lattice;
            own.width_px = lattice.width_px;
            own.height_px = lattice.height_px;
            if (*shared_wcs) frame.wcs_ = std::make_shared<const Result<Wcs>>((*shared_wcs)->on(lattice));
        }
        frame.facts_ = read_facts((*image)->header(), instruments, std::move(own));
        frame.image_ = *image;
        // A stack's frames were calibrated before they were stacked.
        if (masters != nullptr && frame.facts_.stack_of.empty()) {
            frame.calibration_ = masters->calibration_of(frame.facts_, (*image)->header());
            frame.calibration_.note_in(frame.facts_);
        }
        frames.push_back(std::move(frame));
    }
    return frames;
} catch (const std::bad_alloc&) {
    return fail(no_memory(path));
}

}  // namespace emberline::frame
