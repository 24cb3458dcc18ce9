// SPDX-License-Identifier: MIT
#include "photometry/scene_frame.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "photometry/pixel_noise.hpp"

namespace emberline::photometry {
namespace {

constexpr double shift_sigma_px = 0.1;  // what centring on the frame's stars leaves
constexpr double rim_px = 1.5;

void link(FramePixels& pixels) {
    int x0 = pixels.at.front()[0], x1 = x0, y0 = pixels.at.front()[1], y1 = y0;
    for (const auto& p : pixels.at) {
        x0 = std::min(x0, p[0]);
        x1 = std::max(x1, p[0]);
        y0 = std::min(y0, p[1]);
        y1 = std::max(y1, p[1]);
    }
    const int width = x1 - x0 + 3;
    std::vector<int> index(static_cast<std::size_t>(width) * static_cast<std::size_t>(y1 - y0 + 3), -1);
    const auto place = [&](int x, int y) {
        return static_cast<std::size_t>(y - y0 + 1) * static_cast<std::size_t>(width) +
               static_cast<std::size_t>(x - x0 + 1);
    };
    for (std::size_t i = 0; i < pixels.at.size(); ++i)
        index[place(pixels.at[i][0], pixels.at[i][1])] = static_cast<int>(i);
    for (const auto& p : pixels.at) {
        pixels.beside.push_back({index[place(p[0] - 1, p[1])], index[place(p[0] + 1, p[1])],
                                 index[place(p[0], p[1] - 1)], index[place(p[0], p[1] + 1)]});
    }
}

// Light in the mean of a pixel and those beside it: photon noise by the pixel's own value would favour low
// ones.
double smoothed(const FramePixels& pixels, std::size_t i) {
    double sum = pixels.defined[i] ? pixels.light_e[i] : 0.0;
    int n = pixels.defined[i] ? 1 : 0;
    for (const int b : pixels.beside[i]) {
        if (b < 0 || !pixels.defined[static_cast<std::size_t>(b)]) continue;
        sum += pixels.light_e[static_cast<std::size_t>(b)];
        ++n;
    }
    return n > 0 ? sum / n : 0.0;
}

bool sound(const Surroundings& a) {
    double sum = a.transient.x + a.transient.y + a.sky_adu + a.sky_err_adu;
    for (const double m : a.px_per_arcsec)
        sum += m;
    return std::isfinite(sum) && a.mean_px_per_arcsec() > 0.0 && std::isfinite(a.sky_scatter_adu) &&
           a.sky_scatter_adu > 0.0 && std::isfinite(a.gain_e_per_adu) && a.gain_e_per_adu > 0.0 &&
           !a.cutout.box.empty() && a.cutout.adu.size() == a.cutout.box.pixels();
}

}  // namespace

Result<FrameScene> open_frame(const SceneFrame& frame, std::size_t number, const SceneGrid& grid) {
    const std::string where = fmt::format("scene, frame {}", number + 1);
    if (frame.around == nullptr || frame.around->psf.empty()) {
        return fail({.what = "The frame has no point-spread function.",
                     .where = where,
                     .mend = "Measure it with more stars, or leave it out of the scene."});
    }
    const Surroundings& a = *frame.around;
    if (!sound(a) || !(frame.scale > 0.0) || !std::isfinite(frame.scale) || !(frame.scale_err >= 0.0)) {
        return fail({.what = "The frame's scale, sky, gain or cut-out cannot be used.",
                     .where = where,
                     .mend = "Measure the frame again, or leave it out of the scene."});
    }
    auto psf = Psf::from_numbers(a.psf);
    if (!psf) return fail(at(where, psf.error()));
    const double per_arcsec = a.mean_px_per_arcsec();
    const double radius_px = grid.radius_arcsec * per_arcsec;
    const double reach_px = 2.0 * radius_px + 2.0 * psf->fwhm_px() + 2.0;
    FrameScene f{.frame = &frame, .number = number, .points = PointImage(*psf, a.transient, reach_px)};
    f.gain = a.gain_e_per_adu;
    f.scale = frame.scale;
    f.fwhm_px = psf->fwhm_px();
    f.noise_area_px = psf->noise_area_px(a.transient);
    f.sky_sigma_e = f.gain * std::max(2.0 * a.sky_err_adu, 0.01 * a.sky_scatter_adu);
    const PixelNoise noise{a.gain_e_per_adu, a.sky_scatter_adu};
    const auto& box = a.cutout.box;
    std::size_t inside = 0;
    for (int y = box.y0; y < box.y0 + box.height; ++y) {
        for (int x = box.x0; x < box.x0 + box.width; ++x) {
            const double r = std::hypot(x - a.transient.x, y - a.transient.y);
            if (r > radius_px + rim_px) continue;
            const double adu = static_cast<double>(a.cutout.at(x, y));
            const bool good = std::isfinite(adu) && adu < a.saturation_adu;
            f.pixels.at.push_back({x, y});
            f.pixels.defined.push_back(good);
            f.pixels.fitted.push_back(good && r <= radius_px);
            f.pixels.light_e.push_back(good ? (adu - a.sky_adu) * f.gain : 0.0);
            inside += f.pixels.fitted.back() ? 1 : 0;
        }
    }
    if (static_cast<double>(inside) < std::max(40.0, 8.0 * f.fwhm_px * f.fwhm_px)) {
        return fail(
            {.what = fmt::format("Only {} pixels about the transient can be used at a seeing of {:.1f} "
                                 "pixels.",
                                 inside, f.fwhm_px),
             .where = where,
             .mend = "Cut larger pieces out of the frames, or leave this frame out of the scene."});
    }
    link(f.pixels);
    for (std::size_t i = 0; i < f.pixels.at.size(); ++i)
        f.pixels.variance_e2.push_back(f.gain * f.gain * noise.variance_adu2(smoothed(f.pixels, i) / f.gain));
    f.host_e.assign(f.pixels.at.size(), 0.0);
    return f;
}

numerics::Matrix node_response(const FrameScene& f, const SceneGrid& grid) {
    const std::size_t rows = f.pixels.at.size(), n = grid.nodes.size();
    numerics::Matrix response(rows, n + place_unknowns);
    std::vector<double> column;
    for (std::size_t k = 0; k < n; ++k) {
        f.points.shares(f.frame->around->pixel(grid.nodes[k].east_arcsec, grid.nodes[k].north_arcsec),
                        f.pixels.at, column);
        for (std::size_t i = 0; i < rows; ++i)
            response(i, k) = f.scale * column[i];
    }
    return response;
}

void point_images(FrameScene& f, const SkyPoint& place) {
    constexpr double h = 0.1;  // px
    auto star = f.frame->around->pixel(place.east_arcsec, place.north_arcsec);
    star.x += f.star_shift_px[0];
    star.y += f.star_shift_px[1];
    std::vector<double> ahead, behind;
    f.points.shares(star, f.pixels.at, f.point);
    const auto slope = [&](double dx, double dy, std::vector<double>& out) {
        f.points.shares({star.x + dx, star.y + dy}, f.pixels.at, ahead);
        f.points.shares({star.x - dx, star.y - dy}, f.pixels.at, behind);
        out.resize(ahead.size());
        for (std::size_t i = 0; i < out.size(); ++i)
            out[i] = (ahead[i] - behind[i]) / (2.0 * h);
    };
    slope(h, 0.0, f.point_dx);
    slope(0.0, h, f.point_dy);
}

std::array<std::vector<double>, 2> gradient(const FramePixels& pixels, const std::vector<double>& image) {
    std::array<std::vector<double>, 2> out;
    for (std::size_t axis = 0; axis < 2; ++axis) {
        out[axis].resize(image.size());
        for (std::size_t i = 0; i < image.size(); ++i) {
            const int before = pixels.beside[i][2 * axis], after = pixels.beside[i][2 * axis + 1];
            const double low = image[before < 0 ? i : static_cast<std::size_t>(before)];
            const double high = image[after < 0 ? i : static_cast<std::size_t>(after)];
            const int steps = (before < 0 ? 0 : 1) + (after < 0 ? 0 : 1);
            out[axis][i] = steps > 0 ? (high - low) / steps : 0.0;
        }
    }
    return out;
}

numerics::Matrix own_response(const FrameScene& f, bool host_only) {
    const std::size_t rows = f.pixels.at.size();
    numerics::Matrix g(rows, own_unknowns);
    const auto slope = gradient(f.pixels, f.host_e);
    const double light = host_only ? 0.0 : f.own[transient_light];
    for (std::size_t i = 0; i < rows; ++i) {
        g(i, transient_light) = host_only || f.frame->after_fade ? 0.0 : f.point[i];
        g(i, sky_left) = 1.0;
        g(i, shift_x) = light * f.point_dx[i] - slope[0][i];
        g(i, shift_y) = light * f.point_dy[i] - slope[1][i];
        g(i, scale_error) = f.host_e[i];
    }
    return g;
}

std::vector<double> shift_made_good(const FrameScene& f) {
    std::vector<double> out(f.pixels.at.size());
    for (std::size_t i = 0; i < out.size(); ++i)
        out[i] = -f.own[transient_light] *
                 (f.star_shift_px[0] * f.point_dx[i] + f.star_shift_px[1] * f.point_dy[i]);
    return out;
}

void add_place(const FrameScene& f, numerics::Matrix& response) {
    const auto& m = f.frame->around->px_per_arcsec;
    const std::size_t n = response.columns() - place_unknowns;
    const double light = f.own[transient_light];
    for (std::size_t i = 0; i < response.rows(); ++i) {
        response(i, n) = light * (m[0] * f.point_dx[i] + m[2] * f.point_dy[i]);
        response(i, n + 1) = light * (m[1] * f.point_dx[i] + m[3] * f.point_dy[i]);
    }
}

numerics::DataBlock equations(const FrameScene& f, const numerics::Matrix& response,
                              const numerics::Matrix& own, bool movable) {
    std::size_t rows = 0;
    for (const bool b : f.pixels.fitted)
        rows += b ? 1 : 0;
    numerics::DataBlock block{.shared = {rows, response.columns()}, .own = {rows, own_unknowns}};
    const std::vector<double> made_good = shift_made_good(f);
    std::size_t r = 0;
    for (std::size_t i = 0; i < f.pixels.at.size(); ++i) {
        if (!f.pixels.fitted[i]) continue;
        for (std::size_t k = 0; k < response.columns(); ++k)
            block.shared(r, k) = response(i, k);
        for (std::size_t k = 0; k < own_unknowns; ++k)
            block.own(r, k) = movable || k <= sky_left ? own(i, k) : 0.0;
        block.y.push_back(f.pixels.light_e[i] - made_good[i]);
        block.weights.push_back(1.0 / (f.distrust * f.pixels.variance_e2[i]));
        ++r;
    }
    const double scale_sigma = std::max(f.frame->scale_err, 1e-5);
    block.own_precision = {f.frame->after_fade ? 1.0 : 0.0, 1.0 / (f.sky_sigma_e * f.sky_sigma_e),
                           1.0 / (shift_sigma_px * shift_sigma_px), 1.0 / (shift_sigma_px * shift_sigma_px),
                           1.0 / (scale_sigma * scale_sigma)};
    return block;
}

}  // namespace emberline::photometry
