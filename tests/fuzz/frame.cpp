// SPDX-License-Identifier: MIT
// A frame's file: refused in words, or facts in their ranges, pixels that are the same by cut-out and whole,
// and a plate that goes there and back.
#include "frame/frame.hpp"

#include <cstring>

#include "frame/fits_table.hpp"
#include "fuzz/fits_sketch.hpp"
#include "fuzz/promise.hpp"
#include "fuzz/scratch_file.hpp"
#include "tasks/inspect.hpp"

using namespace emberline;
using namespace emberline::fuzz;

namespace {

constexpr long long most_whole_px = 1 << 20;  // larger ones are read by cut-outs alone

bool positive(const frame::MaybeFact<double>& fact) {
    return !fact || (std::isfinite(fact->value) && fact->value > 0.0);
}
bool finite(const frame::MaybeFact<double>& fact) {
    return !fact || std::isfinite(fact->value);
}

void check(const frame::FrameFacts& facts) {
    ensure(facts.width_px > 0 && facts.height_px > 0, "a frame has pixels");
    ensure(facts.plane >= 0 && facts.plane < facts.planes && facts.planes <= 3,
           "a frame is one of its planes");
    ensure(positive(facts.exposure_s), "an exposure time is above zero");
    ensure(positive(facts.gain_e_per_adu), "a gain is above zero");
    ensure(positive(facts.saturation_adu) && positive(facts.aperture_mm), "what is given is above zero");
    ensure(finite(facts.read_noise_e) && (!facts.read_noise_e || facts.read_noise_e->value >= 0.0),
           "read noise is not below zero");
    ensure(finite(facts.offset_adu) && finite(facts.gain_setting) && finite(facts.temperature_c) &&
               finite(facts.header_airmass),
           "facts are numbers");
    ensure(!facts.stacked_exposures || facts.stacked_exposures->value >= 1, "a stack has an exposure");
    ensure(!facts.binning || facts.binning->value >= 1, "binning is 1 at least");
    if (facts.mid_exposure) ensure(std::isfinite(facts.mid_exposure->value.jd()), "a time is a number");
    if (facts.site) {
        ensure(std::abs(facts.site->value.latitude.degrees()) <= 90.0, "a latitude is -90 to 90");
        ensure(std::isfinite(facts.site->value.longitude.degrees()), "a longitude is a number");
        ensure(std::isfinite(facts.site->value.elevation_m), "an elevation is a number");
    }
    for (const std::string& remark : facts.remarks)
        ensure(!remark.empty(), "a remark says something");
}

bool same(const frame::Cutout& a, const frame::Cutout& b) {
    return a.box == b.box && a.adu.size() == b.adu.size() &&
           (a.adu.empty() || std::memcmp(a.adu.data(), b.adu.data(), a.adu.size() * sizeof(float)) == 0);
}

void check_pixels(const frame::Frame& frame) {
    const int width = frame.facts().width_px, height = frame.facts().height_px;
    const frame::PixelBox corner{-3, -2, 8, 7}, middle{width / 2 - 2, height / 2 - 2, 5, 5},
        off{width + 10, height + 10, 4, 4};
    ensure(!frame.read(off).has_value(), "a box off the frame is a problem");
    const auto boxes = frame.read({corner, middle});
    if (!boxes) {
        fuzz::check(boxes.error());
        return;
    }
    ensure(boxes->size() == 2, "each box asked for is answered");
    for (const frame::Cutout& box : *boxes)
        ensure(box.adu.size() == box.box.pixels(), "a cut-out has its pixels");
    const auto alone = frame.read(middle);
    ensure(alone && same(*alone, boxes->back()), "a box alone and among others is the same");
    if (static_cast<long long>(width) * height > most_whole_px) return;
    const auto whole = frame.read_whole();
    if (!whole) {
        fuzz::check(whole.error());
        return;
    }
    for (const frame::Cutout& box : *boxes) {
        for (int y = box.box.y0; y < box.box.y0 + box.box.height; ++y) {
            for (int x = box.box.x0; x < box.box.x0 + box.box.width; ++x) {
                const float a = box.at(x, y), b = whole->at(x, y);
                ensure(std::memcmp(&a, &b, sizeof a) == 0, "a pixel by cut-out and whole is the same");
            }
        }
    }
}

void check_plate(const frame::Frame& frame) {
    const auto& wcs = frame.wcs();
    if (!wcs) {
        ensure(!wcs.error().what.empty() && !wcs.error().mend.empty(), "a plate's problem says what to do");
        return;
    }
    const double scale = wcs->scale_arcsec_per_px();
    ensure(std::isfinite(scale) && scale > 0.0, "a plate has a scale");
    ensure(std::isfinite(wcs->position_angle_of_y().degrees()), "a plate has an orientation");
    ensure(!wcs->description().empty(), "a plate has a name");
    const auto middle = frame.facts().middle();
    if (const auto sky = wcs->sky(middle)) {
        fuzz::check(*sky);
        if (const auto back = wcs->pixel(*sky))
            ensure(std::isfinite(back->x) && std::isfinite(back->y), "a place on the frame is a number");
    }
}

}  // namespace

// cfitsio 4.2 forgets a tile's buffer where the tile is damaged; nothing of ours can give it back.
extern "C" const char* __lsan_default_suppressions();
extern "C" const char* __lsan_default_suppressions() {
    return "leak:imcomp_decompress_tile\n";
}

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size) {
    static const ScratchFile file;
    const std::string bytes = fits_of(text_of(data, size));
    file.write(bytes);
    static const std::vector<frame::Instrument> instruments{{.match = {}, .bands = {{"Green", "V"}}}};
    const auto frames = frame::open_frames(file.path(), instruments);
    const auto print = frame::fingerprint(file.path());
    const auto inspected = tasks::inspect({file.path()}, ".");
    ensure(inspected && inspected->size() == 1, "what is looked at is answered for");
    ensure(inspected->front().problem.has_value() == !frames.has_value(), "a frame opens again as before");
    if (!frames) {
        fuzz::check(frames.error());
        if (!print) fuzz::check(print.error());
        return 0;
    }
    ensure(print && *print == *frame::fingerprint(file.path()), "a frame has one fingerprint");
    ensure(frames->size() == 1 || frames->size() == 3, "a file holds one frame or three");
    ensure(inspected->front().frames.size() == frames->size(), "each of a file's frames is looked at");
    for (const frame::Frame& frame : *frames) {
        check(frame.facts());
        check_plate(frame);
        check_pixels(frame);
    }
    return 0;
}
