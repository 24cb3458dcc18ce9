// SPDX-License-Identifier: MIT
// Notation: L sky level and V its variance a pixel, ADU and ADU²; g and r gain and read noise of one
// exposure, o its offset; n exposures, c = n for a mean and 2/π n or so for a median (stack_scale).
//   mean, median: V = (L − o)/(c g) + r²/(c g²);   sum: V = (L − n o)/g + n r²/g².
// Source: the photon transfer of Janesick 2007 (Photon Transfer, SPIE, chapter 5), stacks as in
// frame/read_stack.
#include "night/stack_evidence.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <limits>
#include <numbers>

#include "frame/read_stack.hpp"
#include "numerics/robust.hpp"
#include "photometry/pixel_correlation.hpp"
#include "photometry/sampling.hpp"
#include "quantities/magnitude.hpp"

namespace emberline::night {
namespace {

using frame::StackKind;

constexpr double clear_of_star_fwhm = 3.5;
constexpr double source_sigma = 5.0;
constexpr std::size_t first_rings = 3, most_rings = 12;  // of so many stars
constexpr std::size_t least_pixels = 1000, least_blocks = 40;
constexpr std::array<int, 2> block_sides_px = {4, 8};
constexpr double uncorrelated_sigma = 3.0;
constexpr double rounding_variance = 1.0 / 12.0;  // of whole numbers, ADU²

// What is known of a camera's numbers where somebody states them; a read noise that nobody states lies
// between a quiet and a loud camera's, and an offset drifts by some ADU.
constexpr double model_err = 0.12;  // of V: gain, faint stars, flat errors, an imperfect smoothing model
constexpr double read_noise_err = 0.08;
constexpr double quiet_e = 0.8, loud_e = 12.0;
constexpr double offset_err_adu = 1.0, offset_relative_err = 0.003;

struct Ring {
    const StarOnFrame* star;
    double inner_px;
    [[nodiscard]] bool clear(double x, double y, double reach_px) const {
        const double u = x - star->position.x, v = y - star->position.y;
        return std::sqrt(u * u + v * v) - reach_px > inner_px;
    }
};

// Half the squared differences of neighbouring blocks' means times their pixels: a tilted sky cancels.
void add_block_pairs(const Ring& ring, int side, double level, double scatter, std::vector<double>& out) {
    const frame::Cutout& cutout = ring.star->cutout;
    const frame::PixelBox& box = cutout.box;
    const double half = 0.5 * (side - 1), reach = half * std::numbers::sqrt2;
    const auto block = [&](int x0, int y0) -> std::optional<double> {
        if (!ring.clear(x0 + half, y0 + half, reach)) return std::nullopt;
        double sum = 0.0;
        int used = 0;
        for (int y = y0; y < y0 + side; ++y) {
            for (int x = x0; x < x0 + side; ++x) {
                const auto v = static_cast<double>(cutout.at(x, y));
                if (std::isnan(v)) continue;
                if (std::abs(v - level) > source_sigma * scatter) return std::nullopt;
                sum += v - level;
                ++used;
            }
        }
        // One colour of a mosaic has every second pixel at least.
        if (2 * used < side * side) return std::nullopt;
        return sum / std::sqrt(static_cast<double>(used));
    };
    for (int y = box.y0; y + side <= box.y0 + box.height; y += side) {
        for (int x = box.x0; x + 2 * side <= box.x0 + box.width; x += 2 * side) {
            const auto a = block(x, y);
            if (!a) continue;
            const auto b = block(x + side, y);
            if (b) out.push_back((*a - *b) / std::numbers::sqrt2);
        }
    }
}

// Of shifts by parts of a pixel, neighbours share k/2 of their variance on each axis: single pixels keep
// (1 − k)² of it, and differences of blocks of side b keep (1 − k/b)(1 − 3k/2b).
double unsmoothed(double block_variance, double pixel_variance, int side) {
    double variance = block_variance;
    for (int i = 0; i < 6; ++i) {
        const double k = 1.0 - std::sqrt(std::min(1.0, pixel_variance / variance));
        variance = block_variance / ((1.0 - k / side) * (1.0 - 1.5 * k / side));
    }
    return variance;
}

void add_scales(const std::vector<Ring>& rings, const std::vector<double>& levels,
                const std::vector<double>& scatters, SkyNoise& sky) {
    double sum = 0.0, weight = 0.0;
    bool correlated = false;
    for (const int side : block_sides_px) {
        std::vector<double> pairs;
        for (std::size_t i = 0; i < rings.size(); ++i)
            add_block_pairs(rings[i], side, levels[i], scatters[i], pairs);
        if (pairs.size() < least_blocks) continue;
        const auto clipped = numerics::clipped_mean(pairs, 4.0, 4.0);
        const double variance = clipped.sigma * clipped.sigma;
        const auto n = static_cast<double>(clipped.used);
        const double excess = variance / sky.pixel_variance_adu2 - 1.0;
        correlated = correlated || std::abs(excess) > uncorrelated_sigma * std::sqrt(2.0 / n);
        sum += n * unsmoothed(variance, sky.pixel_variance_adu2, side);
        weight += n;
    }
    // Where neighbours are independent, single pixels tell the same more precisely.
    if (!correlated || weight == 0.0) return;
    sky.variance_adu2 = sum / weight;
    sky.relative_err = std::sqrt(2.0 / weight);
}

// The largest Gaussian term of what a number may be, on a few points of it.
struct Prior {
    double value, log_weight;
};
std::vector<Prior> gaussian(double middle, double err, int steps) {
    std::vector<Prior> out;
    for (int i = -steps; i <= steps; ++i) {
        const double z = 3.0 * i / steps;
        out.push_back({middle + z * err, -0.5 * z * z});
    }
    return out;
}

std::vector<Prior> read_noises(const Camera& camera) {
    std::vector<Prior> out;
    if (camera.read_noise_known) {
        for (const Prior& ln : gaussian(std::log(std::max(1e-3, camera.read_noise_e)), read_noise_err, 4))
            out.push_back({std::exp(ln.value), ln.log_weight});
        return out;
    }
    for (int i = 0; i <= 8; ++i)
        out.push_back({quiet_e * std::pow(loud_e / quiet_e, i / 8.0), 0.0});
    return out;
}

// Of one exposure; of the whole picture where nobody knows it.
std::vector<Prior> offsets(const Camera& camera, double level_adu) {
    if (camera.offset_adu) {
        return gaussian(*camera.offset_adu,
                        offset_err_adu + offset_relative_err * std::abs(*camera.offset_adu), 4);
    }
    std::vector<Prior> out;
    for (int i = 0; i < 40; ++i)
        out.push_back({std::max(0.0, level_adu) * i / 40.0, 0.0});
    return out;
}

// The weight that widens what star light tells of ln g to no less than the profiles' own faults allow.
double tempered(const LightNoise& light) {
    constexpr double least_err = 0.3, least = 0.01, most = 1e5;
    constexpr int steps = 120;
    std::vector<double> logs, likes;
    for (int i = 0; i <= steps; ++i) {
        logs.push_back(std::log(least) + i * std::log(most / least) / steps);
        likes.push_back(light.log_likelihood(std::exp(logs.back())));
    }
    const double best = *std::max_element(likes.begin(), likes.end());
    double sum = 0.0, first = 0.0, second = 0.0;
    for (std::size_t k = 0; k < logs.size(); ++k) {
        const double p = std::exp(likes[k] - best);
        sum += p;
        first += p * logs[k];
        second += p * logs[k] * logs[k];
    }
    const double variance = std::max(0.0, second / sum - (first / sum) * (first / sum));
    return variance / (variance + least_err * least_err);
}

}  // namespace

std::optional<SkyNoise> sky_noise(const StarField& field, double unit, bool scales) {
    SkyNoise sky;
    std::vector<Ring> rings;
    std::vector<double> levels, scatters, variances;
    sky.whole_numbers = true;
    for (const StarOnFrame& star : field.stars) {
        if (star.transient) continue;
        if (rings.size() >= (scales ? most_rings : first_rings)) break;
        const frame::PixelBox& box = star.cutout.box;
        const Ring ring{&star, clear_of_star_fwhm * std::max(1.0, field.profile.fwhm_px)};
        std::vector<double> values;
        for (int y = box.y0; y < box.y0 + box.height; ++y) {
            for (int x = box.x0; x < box.x0 + box.width; ++x) {
                const auto v = static_cast<double>(star.cutout.at(x, y));
                if (!std::isnan(v) && ring.clear(x, y, 0.0)) values.push_back(v);
            }
        }
        if (values.size() < 100) continue;
        sky.whole_numbers = sky.whole_numbers && std::all_of(values.begin(), values.end(),
                                                             [](double v) { return v == std::floor(v); });
        const auto clipped = numerics::clipped_mean(values);
        if (clipped.used == 0) continue;
        rings.push_back(ring);
        levels.push_back(clipped.mean);
        scatters.push_back(clipped.sigma);
        variances.push_back(clipped.sigma * clipped.sigma);
        sky.pixels += clipped.used;
    }
    if (sky.pixels < least_pixels) return std::nullopt;
    sky.level_adu = numerics::median(levels);
    sky.pixel_variance_adu2 = numerics::median(variances);
    if (!(sky.pixel_variance_adu2 > 0.0)) return std::nullopt;
    sky.variance_adu2 = sky.pixel_variance_adu2;
    sky.relative_err = std::sqrt(2.0 / static_cast<double>(sky.pixels));
    photometry::LagProducts beside;
    for (std::size_t i = 0; i < rings.size(); ++i) {
        const frame::Cutout& cutout = rings[i].star->cutout;
        photometry::add_lag_products(
            cutout.box, 1,
            [&](int x, int y) -> std::optional<double> {
                if (!cutout.contains(x, y) || !rings[i].clear(x, y, 0.0)) return std::nullopt;
                const double z = (static_cast<double>(cutout.at(x, y)) - levels[i]) / scatters[i];
                return std::abs(z) < 3.0 ? std::optional(z) : std::nullopt;
            },
            beside);
    }
    sky.neighbours = beside.correlation();
    if (scales) add_scales(rings, levels, scatters, sky);
    sky.level_adu /= unit;
    sky.pixel_variance_adu2 /= unit * unit;
    sky.variance_adu2 /= unit * unit;
    return sky;
}

std::optional<LightNoise> light_noise(const StarField& field, const SkyNoise& sky, double unit,
                                      double saturation_adu) {
    // Eight numbers were fitted to each star, mostly to its core.
    constexpr double within_fwhm = 1.2, bin_factor = 1.5, fitted = 7.0;
    constexpr std::size_t least_stars = 4, least_in_bin = 8;
    struct Residual {
        double light_adu, value_adu;
    };
    std::vector<Residual> residuals;
    std::size_t used = 0;
    for (const StarOnFrame& star : field.stars) {
        if (star.transient || star.forced || !star.profile || !(star.profile->flux_adu > 0.0)) continue;
        const frame::Cutout& cutout = star.cutout;
        const frame::PixelPosition& centre = star.profile->centre;
        const double reach_px = within_fwhm * star.profile->fwhm_px;
        const photometry::GatheredImage image({.fwhm_px = star.profile->fwhm_px,
                                               .elongation = star.profile->elongation,
                                               .direction = star.profile->direction,
                                               .moffat_beta = star.profile->moffat_beta});
        std::vector<Residual> own;
        bool clean = true;
        for (int y = cutout.box.y0; y < cutout.box.y0 + cutout.box.height; ++y) {
            if (std::abs(y - centre.y) > reach_px) continue;
            for (int x = cutout.box.x0; x < cutout.box.x0 + cutout.box.width; ++x) {
                if (std::hypot(x - centre.x, y - centre.y) > reach_px) continue;
                const auto v = static_cast<double>(cutout.at(x, y));
                clean = clean && v / unit < saturation_adu;  // false of an undefined pixel too
                const double light_adu = star.profile->flux_adu * image.at(x - centre.x, y - centre.y);
                own.push_back({light_adu / unit, (v - star.profile->sky_adu - light_adu) / unit});
            }
        }
        const auto pixels = static_cast<double>(own.size());
        if (!clean || pixels < 1.5 * fitted) continue;
        for (const Residual& r : own)
            residuals.push_back({r.light_adu, r.value_adu / std::sqrt(1.0 - fitted / pixels)});
        ++used;
    }
    if (used < least_stars) return std::nullopt;
    const double scatter = std::sqrt(sky.pixel_variance_adu2);
    std::sort(residuals.begin(), residuals.end(),
              [](const Residual& a, const Residual& b) { return a.light_adu < b.light_adu; });
    LightNoise out;
    out.sky_variance_adu2 = sky.pixel_variance_adu2;
    out.smoothing = std::min(1.0, sky.pixel_variance_adu2 / sky.variance_adu2);
    for (std::size_t i = 0; i < residuals.size();) {
        const double top = bin_factor * std::max(residuals[i].light_adu, 0.5 * scatter);
        std::vector<double> values;
        LightNoise::Bin bin;
        for (; i < residuals.size() && residuals[i].light_adu <= top; ++i) {
            values.push_back(residuals[i].value_adu);
            bin.light_adu += residuals[i].light_adu;
            bin.light2_adu2 += residuals[i].light_adu * residuals[i].light_adu;
        }
        if (values.size() < least_in_bin) continue;
        const auto clipped = numerics::clipped_mean(values, 4.0, 4.0);
        const auto n = static_cast<double>(values.size());
        bin.light_adu /= n;
        bin.light2_adu2 /= n;
        bin.square_adu2 = clipped.sigma * clipped.sigma + clipped.mean * clipped.mean;
        bin.pixels = static_cast<double>(clipped.used) * out.smoothing;
        out.bins.push_back(bin);
    }
    if (out.bins.size() < 2) return std::nullopt;
    out.weight = tempered(out);
    return out;
}

std::optional<double> light_share(const StarField& field, const standard::Sequence& sequence,
                                  const Band& band, double gain_e_per_adu, double exposure_s,
                                  double aperture_mm) {
    // Photons a second and square metre of a star of magnitude 0, 3631 Jy: 1.509e7 of them a jansky and a
    // unit of ln λ (1 Jy over Planck's constant). The bands' own zero points lie within a third of it.
    constexpr double photons_per_log_wavelength = 1.509e7 * 3631.0;
    constexpr double unfiltered = 0.8;  // of a sensor without a filter, its width over its wavelength
    const BandFacts& about = emberline::facts(band);
    const bool open = band.name().starts_with("C") || !(about.width_nm > 0.0) || !(about.wavelength_nm > 0.0);
    const double width = open ? unfiltered : about.width_nm / about.wavelength_nm;
    const double area_m2 = 0.25 * std::numbers::pi * std::pow(aperture_mm / 1000.0, 2.0);
    std::vector<double> shares;
    for (const StarOnFrame& star : field.stars) {
        const standard::ComparisonStar* listed = star.transient ? nullptr : sequence.find(star.label);
        const auto magnitude = listed != nullptr ? listed->magnitude(sequence_band(band)) : std::nullopt;
        if (!magnitude || !star.profile || !(star.profile->flux_adu > 0.0)) continue;
        const double gathered = star.profile->flux_adu * gain_e_per_adu / exposure_s;
        shares.push_back(gathered /
                         (photons_per_log_wavelength * width * area_m2 * flux_ratio(magnitude->value)));
    }
    if (shares.empty()) return std::nullopt;
    return numerics::median(std::move(shares));
}

double log_likelihood(StackKind kind, double n, const Camera& camera, const SkyNoise& sky,
                      const std::optional<LightNoise>& light) {
    const frame::StackScale scale = frame::stack_scale(kind, n);
    const double gain = camera.gain_e_per_adu * scale.gain;
    const double err = std::hypot(sky.relative_err, model_err);
    const double times = camera.offset_adu ? scale.level : 1.0;
    double best = -std::numeric_limits<double>::infinity();
    for (const Prior& r : read_noises(camera)) {
        const double read_adu2 =
            std::pow(r.value * scale.read_noise / gain, 2.0) + (sky.whole_numbers ? rounding_variance : 0.0);
        for (const Prior& o : offsets(camera, sky.level_adu)) {
            // No sky lies below the offset, but for how well both are known.
            const double light_adu = sky.level_adu - times * o.value;
            if (light_adu < -offset_err_adu) continue;
            const double off =
                std::log(sky.variance_adu2 / (std::max(0.0, light_adu) / gain + read_adu2)) / err;
            best = std::max(best, -0.5 * off * off + r.log_weight + o.log_weight);
        }
    }
    return best + (light ? light->log_likelihood(gain) : 0.0);
}

double CountFit::n() const {
    return std::exp(log_n);
}

CountFit fit_count(StackKind kind, const Camera& camera, const SkyNoise& sky,
                   const std::optional<LightNoise>& light) {
    constexpr double least = 0.1, most = 1e4;
    constexpr int steps = 140;
    std::array<double, steps + 1> logs{}, likes{};
    CountFit fit;
    fit.best = -std::numeric_limits<double>::infinity();
    for (int i = 0; i <= steps; ++i) {
        const auto k = static_cast<std::size_t>(i);
        logs[k] = std::log(least) + i * std::log(most / least) / steps;
        likes[k] = log_likelihood(kind, std::exp(logs[k]), camera, sky, light);
        fit.best = std::max(fit.best, likes[k]);
    }
    double sum = 0.0, first = 0.0, second = 0.0;
    for (std::size_t k = 0; k < logs.size(); ++k) {
        const double p = std::isfinite(likes[k]) ? std::exp(likes[k] - fit.best) : 0.0;
        sum += p;
        first += p * logs[k];
        second += p * logs[k] * logs[k];
    }
    if (!(sum > 0.0)) return fit;
    fit.log_n = first / sum;
    fit.err = std::sqrt(std::max(0.0, second / sum - fit.log_n * fit.log_n));
    return fit;
}

double LightNoise::log_likelihood(double gain_e_per_adu) const {
    double best = -std::numeric_limits<double>::infinity();
    for (const double own : {0.0, 0.003, 0.005, 0.008, 0.012, 0.02, 0.03, 0.05, 0.08}) {
        double sum = 0.0;
        for (const Bin& bin : bins) {
            const double variance =
                sky_variance_adu2 + smoothing * bin.light_adu / gain_e_per_adu + own * own * bin.light2_adu2;
            sum -= 0.5 * bin.pixels * (std::log(variance) + bin.square_adu2 / variance);
        }
        best = std::max(best, sum);
    }
    return weight * best;
}

}  // namespace emberline::night
