// SPDX-License-Identifier: MIT
// Notation: x the light between black and white point, 0 to 1; y what is saved of it, 0 to 1; c how much less
// the bright gain than the faint: y = x / (x + c (1 − x)), whose slope is 1/c at black and c at white.
#include "rehearsal/processed_save.hpp"

#include <algorithm>
#include <cmath>
#include <functional>

#include "numerics/robust.hpp"
#include "rehearsal/picture_filters.hpp"

namespace emberline::rehearsal {
namespace {

constexpr double top_adu = 65535.0;
// Where people and programs put them: common practice, no source.
constexpr double black_sigma = 3.0;     // below the middle of the histogram
constexpr double stretched_sky = 0.2;   // of the range, where a stretch puts the sky
constexpr std::size_t sampled = 40000;  // pixels that tell the statistics

struct Statistics {
    double sky = 0.0, scatter = 0.0, lowest = 0.0, highest = 0.0;
    std::vector<double> sorted;  // of the sample
    [[nodiscard]] double quantile(double q) const {
        return sorted[static_cast<std::size_t>(q * static_cast<double>(sorted.size() - 1))];
    }
};

Statistics statistics_of(const Picture& picture) {
    Statistics s;
    const std::size_t step = std::max<std::size_t>(1, picture.adu.size() / sampled);
    for (std::size_t i = 0; i < picture.adu.size(); i += step)
        s.sorted.push_back(static_cast<double>(picture.adu[i]));
    std::sort(s.sorted.begin(), s.sorted.end());
    s.sky = s.quantile(0.5);
    s.scatter = std::max(1e-6, numerics::mad_to_sigma * numerics::median_absolute_deviation(s.sorted, s.sky));
    const auto [low, high] = std::minmax_element(picture.adu.begin(), picture.adu.end());
    s.lowest = static_cast<double>(*low);
    s.highest = static_cast<double>(*high);
    return s;
}

// Pixel by pixel, from black to white point over the whole range.
Picture stretched(const Picture& picture, double black, double white,
                  const std::function<double(double)>& y_of_x) {
    Picture out = picture;
    const double span = std::max(white - black, 1e-6);
    for (float& v : out.adu) {
        const double x = std::clamp((static_cast<double>(v) - black) / span, 0.0, 1.0);
        v = static_cast<float>(top_adu * y_of_x(x));
    }
    return out;
}

double between(double strength, double hardly, double usual, double hard) {
    return strength < 1.0 ? hardly + strength * (usual - hardly) : usual + (strength - 1.0) * (hard - usual);
}

Picture rationally_stretched(const Picture& picture, double strength) {
    const Statistics s = statistics_of(picture);
    const double black = std::max(s.lowest, s.sky - black_sigma * s.scatter);
    const double white = std::max(s.highest, black + 1.0);
    const double sky = std::clamp((s.sky - black) / (white - black), 1e-6, 0.5);
    const double wanted = sky * (1.0 - stretched_sky) / (stretched_sky * (1.0 - sky));
    const double c = std::pow(std::min(wanted, 1.0), between(strength, 0.1, 1.0, 1.3));
    return stretched(picture, black, white, [c](double x) { return x / (x + c * (1.0 - x)); });
}

struct Display {
    double black, white;
};
Display display_range(const Statistics& s, double strength) {
    const double low = std::pow(10.0, between(strength, -3.3, -2.3, -1.3));
    const double high = std::pow(10.0, between(strength, -3.3, -2.6, -2.0));
    const double black = s.quantile(low);
    return {black, std::max(s.quantile(1.0 - high), black + 4.0 * s.scatter)};
}

double same(double x) {
    return x;
}

Picture s_curved(const Picture& picture, double strength) {
    const Statistics s = statistics_of(picture);
    const double p = between(strength, 1.2, 1.8, 2.6), pivot = 0.2;
    const double at_pivot = std::pow(pivot / (1.0 - pivot), p - 1.0);
    return stretched(picture, s.lowest, s.highest, [=](double x) {
        const double low = std::pow(x, p), high = at_pivot * std::pow(1.0 - x, p);
        return low / (low + high);
    });
}

Picture equalised(const Picture& picture, double strength) {
    const Statistics s = statistics_of(picture);
    const double share = between(strength, 0.3, 1.0, 1.0), span = std::max(s.highest - s.lowest, 1e-6);
    const auto n = static_cast<double>(s.sorted.size());
    return stretched(picture, s.lowest, s.highest, [&, share, span, n](double x) {
        const double v = s.lowest + x * span;
        const auto next = std::upper_bound(s.sorted.begin(), s.sorted.end(), v);
        const double rank = static_cast<double>(next - s.sorted.begin()) / n;
        return (1.0 - share) * x + share * rank;
    });
}

Picture processed(const Picture& picture, Processing processing, double strength) {
    switch (processing) {
        case Processing::none:
            return picture;
        case Processing::gamma: {
            const double power = 1.0 / between(strength, 1.2, 2.2, 3.0);
            return stretched(picture, 0.0, top_adu, [=](double x) { return std::pow(x, power); });
        }
        case Processing::arcsinh: {
            const Statistics s = statistics_of(picture);
            const double a = std::pow(10.0, between(strength, 0.5, 2.0, 3.0));
            return stretched(picture, s.sky - black_sigma * s.scatter, s.highest,
                             [=](double x) { return std::asinh(a * x) / std::asinh(a); });
        }
        case Processing::rational:
            return rationally_stretched(picture, strength);
        case Processing::logarithm: {
            const Statistics s = statistics_of(picture);
            const double a = std::pow(10.0, between(strength, 0.5, 2.0, 3.0));
            return stretched(picture, s.lowest, s.highest,
                             [=](double x) { return std::log1p(a * x) / std::log1p(a); });
        }
        case Processing::display_scaled: {
            const Display d = display_range(statistics_of(picture), strength);
            return stretched(picture, d.black, d.white, same);
        }
        case Processing::eight_bits:
        case Processing::eight_bits_wide: {
            const Display d = display_range(statistics_of(picture), strength);
            Picture out = stretched(picture, d.black, d.white, same);
            const double step = top_adu / 255.0;
            for (float& v : out.adu) {
                const double level = std::round(static_cast<double>(v) / step);
                v = static_cast<float>(processing == Processing::eight_bits ? level : step * level);
            }
            return out;
        }
        case Processing::curve:
            return s_curved(picture, strength);
        case Processing::histogram_equal:
            return equalised(picture, strength);
        case Processing::sharpened:
            return unsharp_masked(picture, between(strength, 1.0, 1.5, 2.0),
                                  between(strength, 0.3, 1.0, 2.5));
        case Processing::deconvolved:
            return restored(picture, 1.3, static_cast<int>(std::lround(between(strength, 3.0, 12.0, 40.0))));
        case Processing::smoothed:
            return blurred(picture, between(strength, 0.5, 1.2, 2.5));
        case Processing::median_filtered:
            return middle_of_neighbours(picture, static_cast<int>(std::lround(strength)));
        case Processing::denoised:
            return shrunk(picture, between(strength, 1.0, 2.5, 4.0), strength < 1.5 ? 3 : 4);
        case Processing::background_removed_and_stretched:
            return rationally_stretched(background_removed(picture, 64), strength);
    }
    return picture;
}

}  // namespace

std::string_view word(Processing processing) {
    switch (processing) {
        case Processing::none:
            return "none";
        case Processing::gamma:
            return "gamma";
        case Processing::arcsinh:
            return "arcsinh";
        case Processing::rational:
            return "rational";
        case Processing::logarithm:
            return "logarithm";
        case Processing::display_scaled:
            return "display-scaled";
        case Processing::eight_bits:
            return "eight-bits";
        case Processing::eight_bits_wide:
            return "eight-bits-wide";
        case Processing::curve:
            return "curve";
        case Processing::histogram_equal:
            return "histogram-equal";
        case Processing::sharpened:
            return "sharpened";
        case Processing::deconvolved:
            return "deconvolved";
        case Processing::smoothed:
            return "smoothed";
        case Processing::median_filtered:
            return "median-filtered";
        case Processing::denoised:
            return "denoised";
        case Processing::background_removed_and_stretched:
            return "background-removed-and-stretched";
    }
    return "none";
}

const std::vector<Processing>& all_processings() {
    static const std::vector<Processing> all = [] {
        std::vector<Processing> list;
        for (int i = 0; i <= static_cast<int>(Processing::background_removed_and_stretched); ++i)
            list.push_back(static_cast<Processing>(i));
        return list;
    }();
    return all;
}

ProcessedImage process(std::span<const float> adu, int width_px, int height_px, Processing processing,
                       double strength) {
    ProcessedImage image{{adu.begin(), adu.end()}, processing == Processing::eight_bits};
    if (processing == Processing::none || width_px < 2 || height_px < 2 ||
        adu.size() != static_cast<std::size_t>(width_px) * static_cast<std::size_t>(height_px))
        return image;
    image.adu =
        processed({std::move(image.adu), width_px, height_px}, processing, std::clamp(strength, 0.0, 2.0))
            .adu;
    const double top = image.eight_bits ? 255.0 : top_adu;
    for (float& v : image.adu)
        v = static_cast<float>(std::round(std::clamp(static_cast<double>(v), 0.0, top)));
    return image;
}

}  // namespace emberline::rehearsal
