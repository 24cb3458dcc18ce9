// SPDX-License-Identifier: MIT
#include "photometry/image_part.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <limits>

#include "numerics/robust.hpp"
#include "photometry/circle_pixel.hpp"

namespace emberline::photometry {
namespace {

// A saturated pixel, and one filled from its neighbours, may be wrong by this much of their light.
constexpr double doubt_of_light = 0.5;
constexpr double doubt_of_noise = 3.0;
constexpr double most_scatter_fwhm = 0.3;  // of stars against the plate solutions
constexpr double most_shift_fwhm = 8.0;
constexpr double aperture_share = 0.8;  // of the stamp's radius
constexpr double least_signal_to_noise = 15.0;
// Apertures about stars of unlike sharpness miss unlike parts of their wings.
constexpr double core_mismatch = 0.005;
constexpr double most_doubt = 0.02;  // of a star's light, in its stamp

Problem no_match(std::string what) {
    return {.what = std::move(what),
            .where = "host template",
            .mend = "Check that both frames show the same field and that their plate solutions are right."};
}

// The median of what is defined near a pixel, in ever wider squares.
double from_neighbours(const frame::Cutout& cutout, int x, int y) {
    for (int reach = 1; reach <= 4; ++reach) {
        std::vector<double> near;
        for (int v = y - reach; v <= y + reach; ++v) {
            for (int u = x - reach; u <= x + reach; ++u) {
                if (cutout.contains(u, v) && std::isfinite(cutout.at(u, v)))
                    near.push_back(static_cast<double>(cutout.at(u, v)));
            }
        }
        if (near.size() >= 3) return numerics::median(std::move(near));
    }
    return std::numeric_limits<double>::quiet_NaN();
}

// Mean of three by three: a variance from the pixel's own value would prefer those that noise made faint.
double smooth_light(const PixelPlane& plane, int x, int y) {
    double sum = 0.0;
    int n = 0;
    for (int v = y - 1; v <= y + 1; ++v) {
        for (int u = x - 1; u <= x + 1; ++u) {
            if (plane.box.holds(u, v)) sum += plane.v[plane.box.index(u, v)], ++n;
        }
    }
    return n > 0 ? sum / n : 0.0;
}

struct Sum {
    double light = 0.0, variance = 0.0, doubt = 0.0;
};
Sum in_circle(const ReadyPixels& p, const frame::PixelPosition& centre, double radius_px) {
    Sum sum;
    const frame::PixelBox& box = p.light.box;
    for (int y = box.y0; y < box.y0 + box.height; ++y) {
        for (int x = box.x0; x < box.x0 + box.width; ++x) {
            const double share = circle_pixel_overlap(x - centre.x, y - centre.y, radius_px);
            if (share <= 0.0) continue;
            const std::size_t k = box.index(x, y);
            sum.light += share * p.light.v[k];
            sum.variance += share * share * p.variance_adu2[k];
            sum.doubt += share * p.doubt_adu[k];
        }
    }
    return sum;
}

double largest(const std::vector<double>& v, double start) {
    for (const double x : v)
        start = std::max(start, x);
    return start;
}

}  // namespace

Result<Psf> own_psf(const ImagePart& part) {
    if (part.psf) return *part.psf;
    return Psf::make({.fwhm_px = part.fwhm_px});
}

ReadyPixels ready_pixels(const frame::Cutout& cutout, double sky_adu, const PixelNoise& noise,
                         double saturation_adu) {
    ReadyPixels out;
    out.light.box = cutout.box;
    const std::size_t n = cutout.adu.size();
    out.light.v.resize(n);
    out.doubt_adu.assign(n, 0.0);
    out.saturated.assign(n, false);
    out.variance_adu2.resize(n);
    const frame::PixelBox& box = cutout.box;
    for (int y = box.y0; y < box.y0 + box.height; ++y) {
        for (int x = box.x0; x < box.x0 + box.width; ++x) {
            const std::size_t k = box.index(x, y);
            const auto adu = static_cast<double>(cutout.adu[k]);
            if (std::isfinite(adu)) {
                out.light.v[k] = adu - sky_adu;
                out.saturated[k] = adu >= saturation_adu;
                if (!out.saturated[k]) continue;
            } else {
                const double filling = from_neighbours(cutout, x, y);
                out.light.v[k] = std::isfinite(filling) ? filling - sky_adu : 0.0;
                if (!std::isfinite(filling)) {
                    out.doubt_adu[k] = endless_doubt_adu;
                    continue;
                }
            }
            out.doubt_adu[k] =
                doubt_of_light * std::abs(out.light.v[k]) + doubt_of_noise * noise.sky_scatter_adu;
        }
    }
    for (int y = box.y0; y < box.y0 + box.height; ++y) {
        for (int x = box.x0; x < box.x0 + box.width; ++x)
            out.variance_adu2[box.index(x, y)] = noise.variance_adu2(smooth_light(out.light, x, y));
    }
    return out;
}

ReadyPixels on_box(const ReadyPixels& pixels, const frame::PixelBox& box) {
    ReadyPixels out;
    out.light.box = box;
    const double usual = pixels.variance_adu2.empty() ? 1.0 : numerics::median(pixels.variance_adu2);
    for (int y = box.y0; y < box.y0 + box.height; ++y) {
        for (int x = box.x0; x < box.x0 + box.width; ++x) {
            const bool covered = pixels.light.box.holds(x, y);
            const std::size_t k = covered ? pixels.light.box.index(x, y) : 0;
            out.light.v.push_back(covered ? pixels.light.v[k] : 0.0);
            out.variance_adu2.push_back(covered ? pixels.variance_adu2[k] : usual);
            out.doubt_adu.push_back(covered ? pixels.doubt_adu[k] : endless_doubt_adu);
            out.saturated.push_back(covered && pixels.saturated[k]);
        }
    }
    return out;
}

ReadyPixels resampled(const ReadyPixels& pixels, const ResampleMap& map) {
    ReadyPixels out;
    out.light = {map.output(), map.apply(pixels.light.v)};
    out.variance_adu2 = map.variance(pixels.variance_adu2);
    out.doubt_adu = map.reach_of(pixels.doubt_adu);
    std::vector<double> marked(pixels.saturated.size());
    for (std::size_t k = 0; k < marked.size(); ++k)
        marked[k] = pixels.saturated[k] ? 1.0 : 0.0;
    constexpr double touched = 0.05;
    double usual = 0.0;
    std::size_t n = 0;
    for (const double v : out.variance_adu2) {
        if (std::isfinite(v)) usual += v, ++n;
    }
    usual = n > 0 ? usual / static_cast<double>(n) : 1.0;
    for (const double reach : map.reach_of(marked))
        out.saturated.push_back(reach > touched);
    for (std::size_t k = 0; k < out.light.v.size(); ++k) {
        if (map.defined(k)) continue;
        out.light.v[k] = 0.0, out.variance_adu2[k] = usual, out.doubt_adu[k] = endless_doubt_adu;
    }
    return out;
}

Result<TemplateRegistration> registered(const ImagePart& frame, const ImagePart& host_template,
                                        const PixelMapping& to_template) {
    TemplateRegistration out;
    struct Offset {
        const StarStamp *frame, *host_template;
        double x, y;
    };
    std::vector<Offset> offsets;
    std::vector<double> dx, dy;
    for (const StarStamp& star : frame.stars) {
        for (const StarStamp& other : host_template.stars) {
            if (other.label != star.label) continue;
            const auto there = to_template(star.position);
            if (!there || !std::isfinite(there->x) || !std::isfinite(there->y)) break;
            offsets.push_back({&star, &other, other.position.x - there->x, other.position.y - there->y});
            dx.push_back(offsets.back().x), dy.push_back(offsets.back().y);
            break;
        }
    }
    if (offsets.empty()) {
        return fail(no_match(fmt::format("Of {} stars on the frame and {} on the template none is on both.",
                                         frame.stars.size(), host_template.stars.size())));
    }
    out.shift_x_px = numerics::median(dx), out.shift_y_px = numerics::median(dy);
    std::vector<double> away;
    for (const Offset& o : offsets)
        away.push_back(std::hypot(o.x - out.shift_x_px, o.y - out.shift_y_px));
    out.scatter_px = numerics::median(away);
    const double fwhm = host_template.fwhm_px;
    if (!(out.scatter_px <= most_scatter_fwhm * fwhm) ||
        !(std::hypot(out.shift_x_px, out.shift_y_px) <= most_shift_fwhm * fwhm)) {
        return fail(no_match(fmt::format(
            "The stars do not fall together on frame and template: they lie {:.1f} px off and scatter by "
            "{:.1f} px.",
            std::hypot(out.shift_x_px, out.shift_y_px), out.scatter_px)));
    }
    // The mean of those that agree is sharper than the median.
    const double limit = std::max(3.0 * out.scatter_px, 0.1 * fwhm);
    double sum_x = 0.0, sum_y = 0.0, n = 0.0;
    for (std::size_t k = 0; k < offsets.size(); ++k) {
        if (away[k] > limit) continue;
        sum_x += offsets[k].x, sum_y += offsets[k].y, n += 1.0;
        out.pairs.emplace_back(offsets[k].frame, offsets[k].host_template);
    }
    if (n > 0.0) out.shift_x_px = sum_x / n, out.shift_y_px = sum_y / n;
    out.to_template = [mapping = to_template, x = out.shift_x_px,
                       y = out.shift_y_px](const frame::PixelPosition& p) {
        auto there = mapping(p);
        if (there) there->x += x, there->y += y;
        return there;
    };
    const frame::PixelPosition& p = frame.transient;
    const auto a = out.to_template(p), b = out.to_template({p.x + 1.0, p.y}),
               c = out.to_template({p.x, p.y + 1.0});
    const double area =
        a && b && c ? std::abs((b->x - a->x) * (c->y - a->y) - (b->y - a->y) * (c->x - a->x)) : 0.0;
    constexpr double least_area = 0.02, most_area = 50.0;
    if (!(area >= least_area && area <= most_area))
        return fail(no_match("The transient's place on the frame has none on the template."));
    out.scale = std::sqrt(area);
    return out;
}

Result<StarPairs> star_pairs(const ImagePart& frame, const ImagePart& host_template,
                             const TemplateRegistration& registration, double radius_px, int margin_px) {
    StarPairs out;
    const double aperture_px = aperture_share * radius_px;
    for (const auto& [here, there] : registration.pairs) {
        StarPair pair;
        pair.label = here->label;
        pair.position = here->position;
        const int half = static_cast<int>(std::ceil(radius_px)) + 1 + margin_px;
        const frame::PixelBox box{static_cast<int>(std::lround(here->position.x)) - half,
                                  static_cast<int>(std::lround(here->position.y)) - half, 2 * half + 1,
                                  2 * half + 1};
        pair.frame =
            on_box(ready_pixels(here->cutout, here->sky_adu, frame.noise, frame.saturation_adu), box);
        const ReadyPixels own =
            ready_pixels(there->cutout, there->sky_adu, host_template.noise, host_template.saturation_adu);
        const ResampleMap map(there->cutout.box, {}, box, registration.to_template);
        pair.host_template = resampled(own, map);
        pair.correlation = map.correlation(correlation_reach_px);
        const Sum f = in_circle(pair.frame, pair.position, aperture_px);
        const Sum t = in_circle(pair.host_template, pair.position, aperture_px);
        double lags = 0.0;
        for (const double c : pair.correlation)
            lags += c;
        const double f_err = std::sqrt(f.variance), t_err = std::sqrt(t.variance * std::max(1.0, lags));
        if (!(f.doubt < most_doubt * f.light) || !(t.doubt < most_doubt * t.light)) {
            const bool bright = largest(pair.frame.doubt_adu, 0.0) < endless_doubt_adu &&
                                largest(pair.host_template.doubt_adu, 0.0) < endless_doubt_adu;
            out.left_out.push_back(fmt::format("{}: {}", pair.label,
                                               bright ? "saturated or undefined pixels" : "cut by an edge"));
            continue;
        }
        if (f.light < least_signal_to_noise * f_err || t.light < least_signal_to_noise * t_err) {
            out.left_out.push_back(pair.label + ": too faint");
            continue;
        }
        pair.ratio = f.light / t.light;
        pair.ratio_err = pair.ratio * std::hypot(f_err / f.light, t_err / t.light);
        out.stars.push_back(std::move(pair));
    }
    if (out.stars.empty()) {
        std::string why;
        for (const std::string& reason : out.left_out)
            why += (why.empty() ? "" : "; ") + reason;
        return fail({.what = fmt::format("No star is bright and whole on both frame and template ({}).",
                                         why.empty() ? "none was offered" : why),
                     .where = "host template",
                     .mend = "Add field stars that are bright and not saturated in both."});
    }
    std::vector<double> ratios, errs;
    for (const StarPair& star : out.stars)
        ratios.push_back(star.ratio), errs.push_back(star.ratio_err);
    const double middle = numerics::median(ratios);
    const double spread = numerics::mad_to_sigma * numerics::median_absolute_deviation(ratios, middle);
    constexpr double clip = 4.0;
    std::vector<double> kept, kept_errs;
    for (std::size_t k = 0; k < ratios.size(); ++k) {
        if (std::abs(ratios[k] - middle) > clip * std::hypot(spread, errs[k])) continue;
        kept.push_back(ratios[k]), kept_errs.push_back(std::hypot(errs[k], core_mismatch * ratios[k]));
    }
    const auto mean = numerics::weighted_mean(kept, kept_errs);
    out.ratio = mean.mean;
    out.ratio_err =
        kept.size() > 1
            ? mean.err * std::sqrt(std::max(1.0, mean.chi2 / (static_cast<double>(kept.size()) - 1.0)))
            : mean.err;
    return out;
}

}  // namespace emberline::photometry
