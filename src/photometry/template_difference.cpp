// SPDX-License-Identifier: MIT
// Notation: I the frame, T the template on the frame's pixels, both above sky; K the kernel, S its sum.
// Template convolved: D = I − K ⊗ T − b. Frame convolved: D = (K ⊗ I − T)/S − b. b is the mean of D away from
// the transient: the two skies are known only so well, and a constant of the difference of both is all that
// is needed.
#include "photometry/template_difference.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <limits>

#include "numerics/robust.hpp"
#include "photometry/convolved_psf.hpp"
#include "photometry/cosmic_hits.hpp"
#include "photometry/image_part.hpp"

namespace emberline::photometry {
namespace {

constexpr double stamp_radius_fwhm = 3.0;
constexpr double least_stamp_radius_px = 6.0;
// A template this much blurrier than the frame (FWHM) has the frame convolved to it.
constexpr double blurrier = 1.03;
// … unless that leaves the stamps so much worse.
constexpr double much_worse = 1.25;
constexpr double far_ratio = 0.10, off_ratio = 0.03;    // kernel's sum against the stars', relative …
constexpr double far_sigma = 6.0, off_sigma = 3.0;      // … and in errors
constexpr double far_excess = 0.15, off_excess = 0.03;  // of the light in stars' cores, left beyond noise
constexpr double least_chi2 = 1.5;                      // below it what is left is noise
constexpr double background_from_fwhm = 3.0, background_from_at_least_fwhm = 1.5;
constexpr std::size_t background_pixels = 60;
constexpr double unseen_sigma = 300.0;  // that light beyond a cut-out may have
constexpr double bright_host = 4.0;     // times the usual variance: not for the background

Problem refused(std::string what, std::string mend) {
    return {.what = std::move(what), .where = "host template", .mend = std::move(mend)};
}

std::string fault_of(const ImagePart& part) {
    const auto whole = [](const frame::Cutout& c) {
        return !c.box.empty() && c.adu.size() == c.box.pixels();
    };
    constexpr int least_side = 15;
    if (!whole(part.target) || part.target.box.width < least_side || part.target.box.height < least_side)
        return "has too few pixels about the transient.";
    if (!(part.fwhm_px > 0.5 && part.fwhm_px < 60.0)) return "has no usable width of its stars.";
    if (!(part.noise.sky_scatter_adu > 0.0) || !(part.noise.gain_e_per_adu > 0.0) ||
        !std::isfinite(part.noise.sky_scatter_adu) || !std::isfinite(part.noise.gain_e_per_adu))
        return "has no usable noise.";
    if (!std::isfinite(part.sky_adu) || !std::isfinite(part.transient.x) || !std::isfinite(part.transient.y))
        return "has no sky level or no place of the transient.";
    for (const StarStamp& star : part.stars) {
        if (!whole(star.cutout) || !std::isfinite(star.sky_adu) || !std::isfinite(star.position.x) ||
            !std::isfinite(star.position.y))
            return fmt::format("has no pixels of star {}.", star.label);
    }
    return "";
}

// One direction of convolution, solved.
struct Matched {
    KernelBasis basis;
    MatchKernel kernel;
};

PixelPlane part_of(const frame::PixelBox& from, const std::vector<double>& v, const frame::PixelBox& box) {
    PixelPlane out{box, {}};
    for (int y = box.y0; y < box.y0 + box.height; ++y) {
        for (int x = box.x0; x < box.x0 + box.width; ++x)
            out.v.push_back(v[from.index(x, y)]);
    }
    return out;
}

// Doubtful light of the reference spoils pixels within a core's width; of the image, its own pixel.
std::vector<bool> usable_pixels(const PixelPlane& image, const std::vector<double>& image_doubt,
                                const ReadyPixels& reference, int reach) {
    std::vector<bool> usable;
    const frame::PixelBox &box = image.box, &wide = reference.light.box;
    for (int y = box.y0; y < box.y0 + box.height; ++y) {
        for (int x = box.x0; x < box.x0 + box.width; ++x) {
            bool good = image_doubt[usable.size()] == 0.0;
            for (int v = y - reach; good && v <= y + reach; ++v) {
                for (int u = x - reach; good && u <= x + reach; ++u)
                    good = reference.doubt_adu[wide.index(u, v)] == 0.0;
            }
            usable.push_back(good);
        }
    }
    return usable;
}

Result<Matched> match(const StarPairs& pairs, bool template_convolved, const KernelShape& shape,
                      double radius_px, double fwhm_px, int margin_px) {
    Matched out{KernelBasis(shape), {}};
    const int half = out.basis.half();
    std::vector<KernelStamp> stamps;
    KernelOptions options;
    options.radius_px = radius_px;
    options.expected_sum = template_convolved ? pairs.ratio : 1.0 / pairs.ratio;
    double lags = 0.0;
    std::vector<double> correlation(pairs.stars.front().correlation.size(), 0.0);
    for (const StarPair& pair : pairs.stars) {
        for (std::size_t k = 0; k < correlation.size(); ++k)
            correlation[k] += pair.correlation[k] / static_cast<double>(pairs.stars.size());
    }
    for (const double c : correlation)
        lags += c;
    if (template_convolved) {
        options.correlation = correlation;
    } else {
        options.image_correlation = lags;
    }
    const int reach = std::min(half, 1 + static_cast<int>(std::lround(fwhm_px)));
    for (const StarPair& pair : pairs.stars) {
        const ReadyPixels& reference = template_convolved ? pair.host_template : pair.frame;
        const ReadyPixels& image = template_convolved ? pair.frame : pair.host_template;
        const frame::PixelBox from = reference.light.box;
        const frame::PixelBox narrow = grown(from, -margin_px), wide = grown(narrow, half);
        KernelStamp stamp;
        stamp.label = pair.label;
        stamp.position = pair.position;
        ReadyPixels cut;
        cut.light = stamp.reference = part_of(from, reference.light.v, wide);
        stamp.reference_variance = part_of(from, reference.variance_adu2, wide);
        cut.doubt_adu = part_of(from, reference.doubt_adu, wide).v;
        stamp.image = part_of(from, image.light.v, narrow);
        stamp.image_variance = part_of(from, image.variance_adu2, narrow);
        stamp.usable = usable_pixels(stamp.image, part_of(from, image.doubt_adu, narrow).v, cut, reach);
        stamps.push_back(std::move(stamp));
    }
    auto kernel = solve_kernel(stamps, out.basis, options);
    if (!kernel) return fail(kernel.error());
    out.kernel = std::move(*kernel);
    return out;
}

// The direction: the sharper image is convolved, unless its stamps are left worse.
bool convolve_template(const Result<Matched>& forwards, const Result<Matched>& backwards,
                       bool template_blurrier) {
    if (!forwards || !backwards) return forwards.has_value();
    const auto badness = [](const MatchKernel& k) { return std::max(least_chi2, k.chi2); };
    const double there = badness(forwards->kernel), back = badness(backwards->kernel);
    return template_blurrier ? back > much_worse * there : there <= much_worse * back;
}

// Equal weights where the sky may be told: away from the transient and from bright host, clipped.
std::vector<double> background_weights(const std::vector<double>& d, const std::vector<double>& variance,
                                       const frame::PixelBox& box, const frame::PixelPosition& transient,
                                       double fwhm_px) {
    std::vector<double> finite;
    for (std::size_t k = 0; k < d.size(); ++k) {
        if (std::isfinite(d[k])) finite.push_back(variance[k]);
    }
    if (finite.empty()) return {};
    const double usual = numerics::quantile(finite, 0.25);
    for (double from = background_from_fwhm; from >= background_from_at_least_fwhm; from -= 0.5) {
        std::vector<std::size_t> there;
        std::vector<double> values;
        for (std::size_t k = 0; k < d.size(); ++k) {
            const double x = box.x0 + static_cast<int>(k) % box.width - transient.x;
            const double y = box.y0 + static_cast<int>(k) / box.width - transient.y;
            if (!std::isfinite(d[k]) || variance[k] > bright_host * usual ||
                x * x + y * y < from * from * fwhm_px * fwhm_px)
                continue;
            there.push_back(k), values.push_back(d[k]);
        }
        if (values.size() < background_pixels) continue;
        const auto mean = numerics::clipped_mean(values);
        constexpr double clip = 3.0;
        std::vector<double> weights(d.size(), 0.0);
        double n = 0.0;
        for (std::size_t i = 0; i < there.size(); ++i) {
            if (std::abs(values[i] - mean.mean) <= clip * mean.sigma) weights[there[i]] = 1.0, n += 1.0;
        }
        if (n < 0.5 * static_cast<double>(background_pixels)) continue;
        for (double& w : weights)
            w /= n;
        return weights;
    }
    return {};
}

// Both images on the target's pixels, what will be convolved by the kernel's half more on every side.
struct OnTarget {
    ReadyPixels frame, host_template;
    std::vector<bool> hits;  // of the frame's target: by cosmic rays, and filled
    std::shared_ptr<const ResampleMap> map;
    std::vector<double> template_variance_adu2;  // of the template's own pixels
};

OnTarget on_target(const ImagePart& frame, const ImagePart& host_template,
                   const TemplateRegistration& registration, const Psf& psf, int half,
                   bool template_convolved) {
    const frame::PixelBox box = frame.target.box;
    OnTarget out;
    out.frame = ready_pixels(frame.target, frame.sky_adu, frame.noise, frame.saturation_adu);
    out.hits = cosmic_hits(out.frame.light, psf, frame.noise);
    fill_hits(out.frame, out.hits, psf, frame.transient);
    const ReadyPixels own = ready_pixels(host_template.target, host_template.sky_adu, host_template.noise,
                                         host_template.saturation_adu);
    out.template_variance_adu2 = own.variance_adu2;
    out.map = std::make_shared<const ResampleMap>(host_template.target.box, std::vector<bool>{},
                                                  template_convolved ? grown(box, half) : box,
                                                  registration.to_template);
    out.host_template = resampled(own, *out.map);
    if (!template_convolved) out.frame = on_box(out.frame, grown(box, half));
    // The faint tail of a kernel may reach beyond what a cut-out covers: there is hardly more than sky.
    for (ReadyPixels* pixels : {&out.host_template, &out.frame}) {
        for (std::size_t k = 0; k < pixels->doubt_adu.size(); ++k) {
            if (pixels->doubt_adu[k] >= endless_doubt_adu)
                pixels->doubt_adu[k] = unseen_sigma * std::sqrt(pixels->variance_adu2[k]);
        }
    }
    return out;
}

// D before its sky is taken off; NaN where it is not known well enough.
struct RawDifference {
    std::vector<double> d_adu, variance_adu2;
};

RawDifference subtracted(const OnTarget& images, const Matched& matched, bool template_convolved,
                         const frame::PixelBox& box, DifferenceParts& parts) {
    const ReadyPixels &target = images.frame, &there = images.host_template;
    const ReadyPixels& sharp = template_convolved ? there : target;
    const MatchKernel& kernel = matched.kernel;
    const int half = kernel.half;
    const auto n = box.pixels();
    const double undefined = std::numeric_limits<double>::quiet_NaN();
    RawDifference out{std::vector<double>(n, undefined), std::vector<double>(n, undefined)};
    std::vector<double> doubt(n, std::numeric_limits<double>::infinity());

    std::vector<double> squares, sizes;
    double size = 0.0;
    for (const double k : kernel.values) {
        squares.push_back(k * k), sizes.push_back(std::abs(k));
        size += std::abs(k);
    }
    PixelPlane marked{sharp.light.box, {}};
    for (const bool saturated : sharp.saturated)
        marked.v.push_back(saturated ? 1.0 : 0.0);
    const std::vector<PixelPlane> basis = matched.basis.convolve_all(sharp.light);
    const PixelPlane convolved = convolve(sharp.light, kernel.values, half);
    const PixelPlane noise = convolve({sharp.light.box, sharp.variance_adu2}, squares, half);
    const PixelPlane doubts = convolve({sharp.light.box, sharp.doubt_adu}, sizes, half);
    const PixelPlane saturation = convolve(marked, sizes, half);
    constexpr double touched = 0.03;

    parts.host_adu.assign(n, 0.0);
    parts.saturated.assign(n, false);
    parts.cosmic_ray = images.hits;
    parts.gradient.assign(basis.size(), {box, std::vector<double>(n, 0.0)});
    const frame::PixelBox inner = convolved.box;
    for (int y = inner.y0; y < inner.y0 + inner.height; ++y) {
        for (int x = inner.x0; x < inner.x0 + inner.width; ++x) {
            const auto in = inner.index(x, y);
            const auto k = box.index(x, y);
            const bool saturated_there = saturation.v[in] > touched * size;
            if (template_convolved) {
                parts.host_adu[k] = convolved.v[in];
                out.d_adu[k] = target.light.v[k] - convolved.v[in];
                out.variance_adu2[k] = target.variance_adu2[k] + noise.v[in];
                doubt[k] = target.doubt_adu[k] + doubts.v[in];
                parts.saturated[k] = target.saturated[k] || saturated_there;
                if (images.hits[k]) doubt[k] = std::numeric_limits<double>::infinity();
            } else {
                const double s = kernel.sum;
                parts.host_adu[k] = there.light.v[k] / s;
                out.d_adu[k] = (convolved.v[in] - there.light.v[k]) / s;
                out.variance_adu2[k] = (noise.v[in] + there.variance_adu2[k]) / (s * s);
                doubt[k] = (doubts.v[in] + there.doubt_adu[k]) / s;
                parts.saturated[k] = there.saturated[k] || saturated_there;
            }
            for (std::size_t b = 0; b < basis.size(); ++b) {
                const double c = basis[b].v[in];
                parts.gradient[b].v[k] =
                    template_convolved ? -c : (c - (b == 0 ? out.d_adu[k] : 0.0)) / kernel.sum;
            }
        }
    }
    // A pixel is left out where a filling could move it by more than half its own noise.
    constexpr double most_doubt_sigma = 0.5;
    for (std::size_t k = 0; k < n; ++k) {
        if (!(doubt[k] <= most_doubt_sigma * std::sqrt(out.variance_adu2[k]))) out.d_adu[k] = undefined;
    }
    return out;
}

// Problem: a match that cannot serve. One that serves less well is remarked upon.
Result<void> judge_match(Difference& out) {
    const MatchKernel& kernel = out.parts.kernel;
    const double off = std::abs(out.ratio / out.expected_ratio - 1.0);
    const double off_err = std::hypot(out.ratio_err, out.expected_ratio_err) / out.expected_ratio;
    if (off > std::max(far_ratio, far_sigma * off_err)) {
        return fail(refused(
            fmt::format("By the kernel the frame has {:.3f} times the template's light, by the stars {:.3f}.",
                        out.ratio, out.expected_ratio),
            "Check that the template shows the same field in the same band, without saturated stars."));
    }
    if (off > std::max(off_ratio, off_sigma * off_err)) {
        out.remarks.push_back(fmt::format(
            "The kernel's sum {:.3f} ± {:.3f} differs from the stars' light ratio {:.3f} ± {:.3f}.",
            out.ratio, out.ratio_err, out.expected_ratio, out.expected_ratio_err));
    }
    if (kernel.chi2 > least_chi2 && kernel.excess > far_excess) {
        return fail(refused(
            fmt::format("The stars do not vanish when the template is subtracted: {:.0f} % of their cores is "
                        "left, chi² {:.1f} a pixel.",
                        100.0 * kernel.excess, kernel.chi2),
            "Take a template whose stars are round, or check its plate solution."));
    }
    if (kernel.chi2 > least_chi2 && kernel.excess > off_excess) {
        out.remarks.push_back(fmt::format("The template leaves {:.1f} % of the stars' cores (chi² {:.1f}).",
                                          100.0 * kernel.excess, kernel.chi2));
    }
    double size = 0.0;
    for (const double k : kernel.values)
        size += std::abs(k);
    if (size > 2.0 * kernel.sum)
        out.remarks.push_back("The kernel sharpens: noise is raised where template and frame are alike.");
    return {};
}

}  // namespace

Result<Difference> subtract_template(const ImagePart& frame, const ImagePart& host_template,
                                     const PixelMapping& to_template) {
    for (const auto& [part, name] : {std::pair{&frame, "frame"}, std::pair{&host_template, "template"}}) {
        if (std::string fault = fault_of(*part); !fault.empty())
            return fail(refused(fmt::format("The {} {}", name, fault), "Check that frame."));
    }
    const auto registration = registered(frame, host_template, to_template);
    if (!registration) return fail(registration.error());
    const double template_fwhm_px = host_template.fwhm_px / registration->scale;
    const double fwhm_px = std::max(frame.fwhm_px, template_fwhm_px);
    const frame::PixelBox box = frame.target.box;
    const int most_half = std::max(4, std::min(box.width, box.height) / 4);
    const double radius_px = std::max(least_stamp_radius_px, stamp_radius_fwhm * fwhm_px);
    const auto pairs = star_pairs(frame, host_template, *registration, radius_px, most_half);
    if (!pairs) return fail(pairs.error());

    const KernelShape shape =
        kernel_shape(std::min(frame.fwhm_px, template_fwhm_px), fwhm_px, pairs->stars.size(), most_half);
    const auto forwards = match(*pairs, true, shape, radius_px, fwhm_px, most_half);
    const auto backwards = match(*pairs, false, shape, radius_px, fwhm_px, most_half);
    if (!forwards && !backwards) return fail(forwards.error());
    const bool template_convolved =
        convolve_template(forwards, backwards, template_fwhm_px > blurrier * frame.fwhm_px);
    const Matched& matched = template_convolved ? *forwards : *backwards;
    const MatchKernel& kernel = matched.kernel;

    const auto own = own_psf(frame);
    if (!own) return fail(own.error());
    auto psf = template_convolved ? own : convolved_psf(*own, kernel.values, kernel.half, frame.transient);
    if (!psf) return fail(psf.error());

    Difference out{.psf = std::move(*psf)};
    out.template_convolved = template_convolved;
    out.ratio = template_convolved ? kernel.sum : 1.0 / kernel.sum;
    out.ratio_err = kernel.sum_err / kernel.sum * out.ratio;
    out.expected_ratio = pairs->ratio, out.expected_ratio_err = pairs->ratio_err;
    out.stamps = kernel.used.size();
    for (const auto* list : {&pairs->left_out, &kernel.left_out}) {
        for (const std::string& star : *list)
            out.remarks.push_back("Not used to match the template: star " + star + ".");
    }

    OnTarget images = on_target(frame, host_template, *registration, *own, kernel.half, template_convolved);
    DifferenceParts& parts = out.parts;
    RawDifference raw = subtracted(images, matched, template_convolved, box, parts);
    parts.background_weights =
        background_weights(raw.d_adu, raw.variance_adu2, box, frame.transient, out.psf.fwhm_px());
    if (parts.background_weights.empty()) {
        return fail(refused("Frame and template share too few pixels about the transient.",
                            "Take a template that covers the transient's surroundings."));
    }
    for (std::size_t k = 0; k < raw.d_adu.size(); ++k) {
        if (parts.background_weights[k] > 0.0)
            parts.background_adu += parts.background_weights[k] * raw.d_adu[k];
    }
    out.image.box = box;
    for (std::size_t k = 0; k < raw.d_adu.size(); ++k) {
        out.image.adu.push_back(static_cast<float>(raw.d_adu[k] - parts.background_adu));
        if (!std::isfinite(raw.d_adu[k])) raw.variance_adu2[k] = std::numeric_limits<double>::quiet_NaN();
    }
    out.variance_adu2 = std::move(raw.variance_adu2);
    parts.kernel = kernel;
    parts.resampled = std::move(images.map);
    parts.template_variance_adu2 = std::move(images.template_variance_adu2);
    if (auto good = judge_match(out); !good) return fail(good.error());
    return out;
}

}  // namespace emberline::photometry
