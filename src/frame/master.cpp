// SPDX-License-Identifier: MIT
#include "frame/master.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <limits>

#include "frame/colour_pattern.hpp"
#include "frame/read_calibration_facts.hpp"
#include "frame/read_facts.hpp"
#include "frame/wcs.hpp"
#include "numerics/robust.hpp"
#include "quantities/text.hpp"

namespace emberline::frame {
namespace {

constexpr int box_px = 16;
constexpr double noisiest_flat = 0.1;    // relative, one pixel: it would add more than it takes away
constexpr double raw_flat_adu = 50.0;    // flats below are normalised
constexpr double flat_too_high = 0.97;   // of what the pixels can hold
constexpr double most_at_the_top = 0.5;  // of the sampled pixels
constexpr double beyond_samples = 0.95;  // the flat's lowest parts lie between the boxes

Problem unfit(const Master& master, std::string what, std::string mend) {
    return {.what = fmt::format("The {} cannot be used: {}", word(master.role), what),
            .where = master.name,
            .mend = std::move(mend)};
}

bool wrong_kind(MasterRole role, FrameKind kind) {
    switch (role) {
        case MasterRole::bias:  // a short dark may stand in for a bias
            return kind == FrameKind::flat || kind == FrameKind::light;
        case MasterRole::dark:
            return kind == FrameKind::flat || kind == FrameKind::light || kind == FrameKind::bias;
        case MasterRole::flat:
            return kind == FrameKind::bias || kind == FrameKind::dark || kind == FrameKind::flat_dark;
        case MasterRole::defects:
            return false;
    }
    return false;
}

const char* word_of(FrameKind kind) {
    constexpr const char* words[] = {"a picture of the sky", "a bias", "a dark", "a flat",
                                     "a dark for flats"};
    return words[static_cast<int>(kind)];
}

// √ of the mean square of a pixel against the two beside it of its colour, which leaves slow changes out.
// Var(p − (l + r)/2) = 3/2 Var(p).
double roughness(const Cutout& cutout, int step) {
    std::vector<double> bends;
    const PixelBox& box = cutout.box;
    for (int y = box.y0; y < box.y0 + box.height; ++y) {
        for (int x = box.x0 + step; x < box.x0 + box.width - step; ++x) {
            const auto middle = static_cast<double>(cutout.at(x, y));
            bends.push_back(middle - 0.5 * (static_cast<double>(cutout.at(x - step, y)) +
                                            static_cast<double>(cutout.at(x + step, y))));
        }
    }
    return numerics::clipped_mean(bends, 4.0, 4.0).sigma / std::sqrt(1.5);
}

std::array<double, 4> phase_medians(const Cutout& cutout) {
    std::array<std::vector<double>, 4> pixels;
    const PixelBox& box = cutout.box;
    for (int y = box.y0; y < box.y0 + box.height; ++y) {
        for (int x = box.x0; x < box.x0 + box.width; ++x) {
            const auto v = static_cast<double>(cutout.at(x, y));
            if (std::isfinite(v)) pixels[phase_of(x, y)].push_back(v);
        }
    }
    std::array<double, 4> medians{};
    for (std::size_t p = 0; p < 4; ++p)
        medians[p] = numerics::median(std::move(pixels[p]));
    return medians;
}

double mean_of(const std::vector<double>& values) {
    return numerics::clipped_mean(values, 20.0, 20.0).mean;
}

// Over the mean of each phase; a few bad pixels left out.
std::pair<double, double> relative_range(const Cutout& cutout, const std::array<double, 4>& phase_adu) {
    std::vector<double> relative;
    const PixelBox& box = cutout.box;
    for (int y = box.y0; y < box.y0 + box.height; ++y) {
        for (int x = box.x0; x < box.x0 + box.width; ++x)
            relative.push_back(static_cast<double>(cutout.at(x, y)) / phase_adu[phase_of(x, y)]);
    }
    const double low = numerics::quantile(relative, 0.05);
    return {low, numerics::quantile(std::move(relative), 0.95)};
}

// The level, its phases, and how far the boxes stand off it.
void weigh(Master& master, const std::vector<Cutout>& samples) {
    std::array<std::vector<double>, 4> by_phase;
    std::vector<double> boxes;
    for (const Cutout& cutout : samples) {
        const auto medians = phase_medians(cutout);
        double sum = 0.0;
        for (std::size_t p = 0; p < 4; ++p) {
            by_phase[p].push_back(medians[p]);
            sum += 0.25 * medians[p];
        }
        if (std::isfinite(sum)) boxes.push_back(sum);
    }
    for (std::size_t p = 0; p < 4; ++p)
        master.phase_adu[p] = mean_of(by_phase[p]);
    master.level_adu = master.role == MasterRole::flat ? mean_of(boxes) : numerics::median(boxes);
    if (boxes.empty() || !(master.level_adu > 0.0)) return;
    for (const Cutout& cutout : samples) {
        const auto [low, high] = relative_range(cutout, master.phase_adu);
        master.lowest = std::min(master.lowest, beyond_samples * low);
        master.highest = std::max(master.highest, high);
    }
}

// Of one pixel, relative: by its variance plane, else by what it varies from pixel to pixel.
double relative_err(const Master& master, const std::vector<Cutout>& samples, const std::string& path) {
    std::vector<double> errs;
    if (const auto plane = FitsImage::open(path, "VARIANCE");
        plane && (*plane)->width_px() == master.image->width_px() &&
        (*plane)->height_px() == master.image->height_px()) {
        std::vector<PixelBox> boxes;
        for (const Cutout& cutout : samples)
            boxes.push_back(cutout.box);
        if (const auto variances = (*plane)->read(0, boxes)) {
            for (const Cutout& cutout : *variances) {
                for (const float v : cutout.adu) {
                    if (v >= 0.0F) errs.push_back(std::sqrt(static_cast<double>(v)) / master.level_adu);
                }
            }
        }
    }
    if (!errs.empty()) return numerics::median(std::move(errs));
    for (const Cutout& cutout : samples) {
        const double own = std::min(roughness(cutout, 1), roughness(cutout, 2));
        if (std::isfinite(own)) errs.push_back(own / master.level_adu);
    }
    return errs.empty() ? 0.0 : numerics::median(std::move(errs));
}

Result<void> check_flat(const Master& master, const std::vector<Cutout>& samples) {
    if (!std::all_of(master.phase_adu.begin(), master.phase_adu.end(), [](double p) { return p > 0.0; }))
        return fail(unfit(master, "There is no light in it.", "Take it out of [masters]."));
    float top = -std::numeric_limits<float>::infinity();
    std::size_t at_top = 0, n = 0;
    for (const Cutout& cutout : samples) {
        for (const float v : cutout.adu) {
            if (v > top) at_top = 0;
            top = std::max(top, v);
            at_top += v == top ? 1 : 0;
            ++n;
        }
    }
    const double held = master.facts.saturation_adu ? master.facts.saturation_adu->value : 65535.0;
    const bool flat_top = master.level_adu > raw_flat_adu &&
                          static_cast<double>(at_top) > most_at_the_top * static_cast<double>(n);
    if (flat_top || (master.bias_in && master.level_adu > flat_too_high * held)) {
        return fail(unfit(master, fmt::format("It is saturated, at {:.0f} ADU.", master.level_adu),
                          "Expose flats to about half of what the pixels hold."));
    }
    if (master.pixel_err > noisiest_flat) {
        return fail(
            unfit(master,
                  fmt::format("Its pixels vary by {:.0f} % from one to the next: it had too little light.",
                              100.0 * master.pixel_err),
                  "Combine more flats, or expose them to about half of what the pixels hold."));
    }
    return {};
}

bool says_so(const Header& header, const char* keyword) {
    const std::string value = lower_case(header.text(keyword).value_or(""));
    return value == "t" || value == "true" || value == "1";
}

bool has_letter(const FrameFacts& facts, char letter) {
    return facts.calibrated && facts.calibrated->value.find(letter) != std::string::npos;
}

// A flat as the camera gave it still holds its bias; one that was made of several, or is in other numbers
// than the camera's, does not.
bool holds_bias(const Master& master, const Header& header) {
    if (says_so(header, "BIASSUB") || has_letter(master.facts, 'B')) return false;
    if (master.role != MasterRole::flat) return true;
    const bool made = is_made(header) || header.find("NCOMBINE") != nullptr ||
                      header.find("FLATLEV") != nullptr || has_letter(master.facts, 'D') ||
                      (master.facts.stacked_exposures && master.facts.stacked_exposures->value > 1);
    return !made && master.image->bits() == 16 && master.level_adu > raw_flat_adu;
}

}  // namespace

const char* word(MasterRole role) {
    constexpr const char* words[] = {"bias", "dark", "flat", "defect map"};
    return words[static_cast<int>(role)];
}

std::vector<PixelBox> sample_boxes(int width_px, int height_px, int side_px) {
    constexpr int per_axis = 8;
    const auto starts = [&](int length) {
        std::vector<int> out;
        const int last = std::max(0, length - side_px);
        for (int k = 0; k < per_axis; ++k) {
            const int start = static_cast<int>(static_cast<long long>(last) * k / (per_axis - 1)) & ~1;
            if (out.empty() || out.back() != start) out.push_back(start);
        }
        return out;
    };
    std::vector<PixelBox> boxes;
    for (const int y : starts(height_px)) {
        for (const int x : starts(width_px))
            boxes.push_back(PixelBox{x, y, side_px, side_px}.inside(width_px, height_px));
    }
    return boxes;
}

Result<std::vector<Cutout>> Master::read(const std::vector<PixelBox>& boxes) const {
    if (image->shareable()) return image->read(0, boxes);
    const std::scoped_lock lock(one_at_a_time);
    return image->read(0, boxes);
}

Result<std::shared_ptr<const Master>> open_master(MasterRole role, const std::string& path,
                                                  const std::string& band) {
    const auto master = std::make_shared<Master>();
    master->role = role;
    master->name = path;
    master->band = band;
    auto image = FitsImage::open(path);
    if (!image) {
        return fail(unfit(*master, image.error().what, image.error().mend + " Or take it out of [masters]."));
    }
    master->image = *image;
    const Header& header = (*image)->header();
    FrameFacts seed;
    seed.path = path;
    seed.planes = (*image)->planes();
    seed.width_px = (*image)->width_px();
    seed.height_px = (*image)->height_px();
    seed.pixel_type = (*image)->pixel_type();
    if (seed.planes == 1) {
        if (auto pattern = read_colour_pattern(header, {}, seed); pattern && *pattern)
            seed.pattern = Fact<std::string>{(*pattern)->value.word(), (*pattern)->source};
    }
    master->facts = read_facts(header, {}, std::move(seed));
    const FrameFacts& facts = master->facts;
    master->egain = header.number("EGAIN");
    const SubFrameOrigin origin = sub_frame_origin(header);
    master->left_px = origin.left_px;
    master->bottom_px = origin.bottom_px;
    if (facts.planes != 1) {
        return fail(unfit(*master, "It is a colour picture of three planes.",
                          "Name a file of the camera's own pixels."));
    }
    if ((*image)->bits() == 8 && role != MasterRole::defects) {
        return fail(unfit(*master, "It is an 8-bit picture: the light's steps are lost.",
                          "Save it with 16 bits or more."));
    }
    if (facts.kind && wrong_kind(role, facts.kind->value)) {
        return fail(
            unfit(*master,
                  fmt::format("Its {} says that it is {}.", facts.kind->source, word_of(facts.kind->value)),
                  fmt::format("Name a {} there.", word(role))));
    }
    // Sky flats call themselves light frames, and nobody solves their plates.
    if (role == MasterRole::flat && facts.kind && facts.kind->value == FrameKind::light &&
        Wcs::parse(header.raw())) {
        return fail(
            unfit(*master, "It is a picture of the sky, with a plate solution.", "Name a flat there."));
    }
    if (role == MasterRole::dark && !facts.exposure_s) {
        return fail(unfit(*master, "It does not say how long it was exposed.", "Add EXPTIME in seconds."));
    }
    if (role == MasterRole::defects) return master;
    const auto samples = master->read(sample_boxes(facts.width_px, facts.height_px, box_px));
    if (!samples) return fail(unfit(*master, samples.error().what, samples.error().mend));
    weigh(*master, *samples);
    if (!std::isfinite(master->level_adu))
        return fail(unfit(*master, "It has no pixel with a number in it.", "Make it anew."));
    master->bias_in = holds_bias(*master, header);
    if (role == MasterRole::flat) {
        if (!(master->level_adu > 0.0))
            return fail(unfit(*master, "There is no light in it.", "Take it out of [masters]."));
        master->pixel_err = relative_err(*master, *samples, path);
        if (auto good = check_flat(*master, *samples); !good) return fail(good.error());
    }
    return master;
}

}  // namespace emberline::frame
