// SPDX-License-Identifier: MIT
// Notation: J pixels an arcsecond, dx/d(east) …; d = J p for each star, by least squares over the stars.
#include "picture/finder_image.hpp"

#include <algorithm>
#include <cmath>
#include <limits>

#include "numerics/robust.hpp"

namespace emberline::picture {
namespace {

constexpr int field_px = 520, close_px = 240;
constexpr double strip_pixels = 4.0e6;    // read at a time
constexpr double faint_sigma = 3.0;       // where the stretch turns from straight to logarithmic
constexpr double darkest_share = 0.0005;  // of the picture, at full black
constexpr double least_top_sigma = 60.0;  // full black stands at least so far above the sky: noise stays pale
constexpr double below_sky = 0.15;        // of the stretch, for pixels below the sky
constexpr double least_half_field_arcsec = 60.0;
constexpr double least_apart = 0.02;  // of a round field, how far stars must be from lying on one line

// The mean of blocks of `side` × `side` pixels.
struct Blocks {
    frame::PixelBox box;
    int side = 1, width = 0, height = 0;
    std::vector<float> mean;  // NaN where nothing was defined

    [[nodiscard]] float at(int i, int j) const {
        if (i < 0 || j < 0 || i >= width || j >= height) return std::numeric_limits<float>::quiet_NaN();
        return mean[static_cast<std::size_t>(j) * static_cast<std::size_t>(width) +
                    static_cast<std::size_t>(i)];
    }
    // Between the four nearest blocks, or of those that are defined.
    [[nodiscard]] double between(const frame::PixelPosition& p) const {
        const double u = (p.x - box.x0 + 0.5) / side - 0.5, v = (p.y - box.y0 + 0.5) / side - 0.5;
        const int i = static_cast<int>(std::floor(u)), j = static_cast<int>(std::floor(v));
        double sum = 0.0, weight = 0.0;
        for (int dj = 0; dj < 2; ++dj) {
            for (int di = 0; di < 2; ++di) {
                const double w = std::abs(1 - di - (u - i)) * std::abs(1 - dj - (v - j));
                const auto value = static_cast<double>(at(i + di, j + dj));
                if (!std::isfinite(value)) continue;
                sum += w * value;
                weight += w;
            }
        }
        return weight > 0.3 ? sum / weight : std::numeric_limits<double>::quiet_NaN();
    }
};

void add_strip(Blocks& blocks, const frame::Cutout& strip, int first_block) {
    const auto width = static_cast<std::size_t>(blocks.width);
    const int rows = (strip.box.height + blocks.side - 1) / blocks.side;
    std::vector<double> sum(width * static_cast<std::size_t>(rows), 0.0), count(sum.size(), 0.0);
    for (int y = strip.box.y0; y < strip.box.y0 + strip.box.height; ++y) {
        const std::size_t row = static_cast<std::size_t>((y - strip.box.y0) / blocks.side) * width;
        for (int x = strip.box.x0; x < strip.box.x0 + strip.box.width; ++x) {
            const auto value = static_cast<double>(strip.at(x, y));
            if (!std::isfinite(value)) continue;
            const std::size_t k = row + static_cast<std::size_t>((x - strip.box.x0) / blocks.side);
            sum[k] += value;
            count[k] += 1.0;
        }
    }
    for (std::size_t k = 0; k < sum.size(); ++k) {
        blocks.mean[static_cast<std::size_t>(first_block) * width + k] =
            count[k] > 0.0 ? static_cast<float>(sum[k] / count[k]) : std::numeric_limits<float>::quiet_NaN();
    }
}

Result<Blocks> read_blocks(const frame::Frame& frame, const frame::PixelBox& box, int side) {
    Blocks blocks{.box = box, .side = side};
    blocks.width = (box.width + side - 1) / side;
    blocks.height = (box.height + side - 1) / side;
    blocks.mean.resize(static_cast<std::size_t>(blocks.width) * static_cast<std::size_t>(blocks.height));
    const int blocks_a_strip = std::max(1, static_cast<int>(strip_pixels / (double{1.0} * box.width * side)));
    for (int j = 0; j < blocks.height; j += blocks_a_strip) {
        frame::PixelBox strip = box;
        strip.y0 = box.y0 + j * side;
        strip.height = std::min(blocks_a_strip * side, box.y0 + box.height - strip.y0);
        const auto pixels = frame.read(strip);
        if (!pixels) return fail(pixels.error());
        add_strip(blocks, *pixels, j);
    }
    return blocks;
}

// Dark stars on white: straight near the sky, logarithmic above it.
GreyPicture stretched(const std::vector<double>& adu, int size) {
    std::vector<double> defined;
    for (const double v : adu) {
        if (std::isfinite(v)) defined.push_back(v);
    }
    GreyPicture picture{size, size, std::vector<std::uint8_t>(adu.size(), 255)};
    if (defined.empty()) return picture;
    const numerics::ClippedMean sky = numerics::clipped_mean(defined);
    const double soft = std::max(faint_sigma * sky.sigma, 1e-6);
    const double top = std::max(numerics::quantile(std::move(defined), 1.0 - darkest_share),
                                sky.mean + least_top_sigma * sky.sigma);
    const double whole = std::asinh((top - sky.mean) / soft);
    for (std::size_t k = 0; k < adu.size(); ++k) {
        if (!std::isfinite(adu[k])) continue;
        const double share = std::clamp(std::asinh((adu[k] - sky.mean) / soft) / whole, -below_sky, 1.0);
        picture.grey[k] =
            static_cast<std::uint8_t>(std::lround(255.0 * (1.0 - (share + below_sky) / (1.0 + below_sky))));
    }
    return picture;
}

// North up, east left; NaN outside the frame.
Result<std::vector<double>> turned(const frame::Frame& frame, const FieldMap& map, double half_arcsec,
                                   int size) {
    const double step = 2.0 * half_arcsec / size;
    const auto place = [&](double column, double row) {
        return FieldPlace{half_arcsec - (column + 0.5) * step, half_arcsec - (row + 0.5) * step};
    };
    double low_x = HUGE_VAL, high_x = -HUGE_VAL, low_y = HUGE_VAL, high_y = -HUGE_VAL;
    for (const double column : {0.0, size - 1.0}) {
        for (const double row : {0.0, size - 1.0}) {
            const auto p = map.pixel(place(column, row));
            low_x = std::min(low_x, p.x);
            high_x = std::max(high_x, p.x);
            low_y = std::min(low_y, p.y);
            high_y = std::max(high_y, p.y);
        }
    }
    const int side = std::max(1, static_cast<int>(step / map.scale_arcsec_per_px()));
    const frame::FrameFacts& facts = frame.facts();
    const auto clamped = [](double v, int most) { return static_cast<int>(std::clamp(v, -1.0, most + 1.0)); };
    const int x0 = clamped(std::floor(low_x) - 2.0 * side, facts.width_px),
              x1 = clamped(high_x + 2.0 * side, facts.width_px);
    const int y0 = clamped(std::floor(low_y) - 2.0 * side, facts.height_px),
              y1 = clamped(high_y + 2.0 * side, facts.height_px);
    const auto box =
        frame::PixelBox{x0, y0, x1 - x0 + 1, y1 - y0 + 1}.inside(facts.width_px, facts.height_px);
    if (box.empty()) {
        return fail({.what = "The frame shows nothing of the field about the transient.",
                     .where = facts.path,
                     .mend = "Check its plate solution, and the transient's position in campaign.toml."});
    }
    const auto blocks = read_blocks(frame, box, side);
    if (!blocks) return fail(blocks.error());
    std::vector<double> adu;
    adu.reserve(static_cast<std::size_t>(size) * static_cast<std::size_t>(size));
    for (int row = 0; row < size; ++row) {
        for (int column = 0; column < size; ++column)
            adu.push_back(blocks->between(map.pixel(place(column, row))));
    }
    return adu;
}

}  // namespace

std::optional<FieldMap> FieldMap::of(const photometry::FrameFluxes& frame) {
    const photometry::StarFlux* transient = frame.find(photometry::transient_label);
    if (transient == nullptr || !(frame.scale_arcsec_per_px > 0.0)) return std::nullopt;
    FieldMap map;
    map.origin_ = transient->position;
    double ee = 0.0, en = 0.0, nn = 0.0, ex = 0.0, nx = 0.0, ey = 0.0, ny = 0.0;
    for (const photometry::StarFlux& star : frame.stars) {
        if (&star == transient) continue;
        const SkyOffset away = offset(transient->place, star.place);
        const double e = away.east.arcseconds(), n = away.north.arcseconds();
        const double x = star.position.x - map.origin_.x, y = star.position.y - map.origin_.y;
        ee += e * e;
        en += e * n;
        nn += n * n;
        ex += e * x;
        nx += n * x;
        ey += e * y;
        ny += n * y;
    }
    const double determinant = ee * nn - en * en;
    if (determinant > least_apart * (ee + nn) * (ee + nn) / 4.0) {
        map.x_east_ = (nn * ex - en * nx) / determinant;
        map.x_north_ = (ee * nx - en * ex) / determinant;
        map.y_east_ = (nn * ey - en * ny) / determinant;
        map.y_north_ = (ee * ny - en * ey) / determinant;
        return map;
    }
    const double turn = Angle::degrees(frame.rotation_deg).radians(), hand = frame.mirrored ? -1.0 : 1.0;
    map.x_east_ = -hand * std::cos(turn) / frame.scale_arcsec_per_px;
    map.x_north_ = hand * std::sin(turn) / frame.scale_arcsec_per_px;
    map.y_east_ = std::sin(turn) / frame.scale_arcsec_per_px;
    map.y_north_ = std::cos(turn) / frame.scale_arcsec_per_px;
    return map;
}

frame::PixelPosition FieldMap::pixel(const FieldPlace& p) const {
    return {origin_.x + x_east_ * p.east_arcsec + x_north_ * p.north_arcsec,
            origin_.y + y_east_ * p.east_arcsec + y_north_ * p.north_arcsec};
}

FieldPlace FieldMap::place(const frame::PixelPosition& pixel) const {
    const double x = pixel.x - origin_.x, y = pixel.y - origin_.y;
    const double determinant = x_east_ * y_north_ - x_north_ * y_east_;
    return {(y_north_ * x - x_north_ * y) / determinant, (x_east_ * y - y_east_ * x) / determinant};
}

double FieldMap::scale_arcsec_per_px() const {
    return 1.0 / std::sqrt(std::abs(x_east_ * y_north_ - x_north_ * y_east_));
}

void choose_fields(FinderImage& finder) {
    double reach = 0.0;
    for (const FieldStar& star : finder.stars)
        reach = std::max({reach, std::abs(star.place.east_arcsec), std::abs(star.place.north_arcsec)});
    finder.half_field_arcsec = std::max(1.12 * reach, least_half_field_arcsec);
    if (finder.aperture) {
        const double annulus = 1.25 * finder.aperture->outer_arcsec;
        finder.half_close_arcsec = annulus;
        if (finder.nucleus) {
            const double host =
                1.2 * std::max(std::abs(finder.nucleus->east_arcsec), std::abs(finder.nucleus->north_arcsec));
            if (host < 2.5 * annulus) finder.half_close_arcsec = std::max(annulus, host);
        }
    }
    finder.half_close_arcsec = std::min(finder.half_close_arcsec, finder.half_field_arcsec);
}

Result<FieldPictures> field_pictures(const frame::Frame& frame, const FieldMap& map, double half_field_arcsec,
                                     double half_close_arcsec) {
    const auto field = turned(frame, map, half_field_arcsec, field_px);
    if (!field) return fail(field.error());
    const auto close = turned(frame, map, half_close_arcsec, close_px);
    if (!close) return fail(close.error());
    return FieldPictures{stretched(*field, field_px), stretched(*close, close_px)};
}

}  // namespace emberline::picture
