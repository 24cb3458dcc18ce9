// SPDX-License-Identifier: MIT
#include "photometry/match_kernel.hpp"

#include <catch2/catch.hpp>
#include <cmath>
#include <numbers>

using namespace emberline;
using namespace emberline::photometry;

namespace {

PixelPlane gaussian_star(const frame::PixelBox& box, const frame::PixelPosition& at, double sigma_px,
                         double light) {
    PixelPlane plane{box, {}};
    const auto share = [&](double d) {
        const double root = std::numbers::sqrt2 * sigma_px;
        return 0.5 * (std::erf((d + 0.5) / root) - std::erf((d - 0.5) / root));
    };
    for (int y = box.y0; y < box.y0 + box.height; ++y) {
        for (int x = box.x0; x < box.x0 + box.width; ++x)
            plane.v.push_back(light * share(x - at.x) * share(y - at.y));
    }
    return plane;
}

std::vector<KernelStamp> stamps_of(const KernelBasis& basis, double sigma_reference, double sigma_image,
                                   double ratio, std::size_t stars) {
    std::vector<KernelStamp> stamps;
    for (std::size_t k = 0; k < stars; ++k) {
        const double phase = static_cast<double>(k) / static_cast<double>(stars);
        const frame::PixelPosition at{30.0 + phase, 40.0 - 0.7 * phase};
        const frame::PixelBox box{12, 22, 37, 37};
        KernelStamp s;
        s.label = std::to_string(k);
        s.position = at;
        s.reference = gaussian_star(grown(box, basis.half()), at, sigma_reference, 1e5);
        s.image = gaussian_star(box, at, sigma_image, ratio * 1e5);
        s.reference_variance = {s.reference.box, std::vector<double>(s.reference.v.size(), 1e-4)};
        s.image_variance = {box, std::vector<double>(s.image.v.size(), 1.0)};
        for (double& adu : s.image.v)
            adu += 3.0;  // a constant of sky is no star's light
        s.usable.assign(s.image.v.size(), true);
        stamps.push_back(std::move(s));
    }
    return stamps;
}

constexpr double fwhm_per_sigma = 2.3548200450309493;

}  // namespace

TEST_CASE("the kernel between two Gaussians is the Gaussian whose variance is their difference", "[kernel]") {
    // Closed form: variances add under convolution, σ_K² = σ₂² − σ₁²; FWHM 3.0 → 4.5 px needs FWHM
    // 3.354101966 px. Tolerance 1 % of the second moment; the sum is the ratio of light, to 1e-4.
    for (const auto& [first, second] : {std::pair{3.0, 4.5}, {2.5, 3.5}, {3.5, 6.5}}) {
        const double sigma1 = first / fwhm_per_sigma, sigma2 = second / fwhm_per_sigma;
        const KernelBasis basis(kernel_shape(first, second, 8, 16));
        KernelOptions options;
        options.radius_px = 17.0, options.expected_sum = 1.7;
        const auto stamps = stamps_of(basis, sigma1, sigma2, 1.7, 8);
        const auto kernel = solve_kernel(stamps, basis, options);
        REQUIRE(kernel);
        double xx = 0.0, yy = 0.0, sum = 0.0;
        std::size_t k = 0;
        for (int v = -kernel->half; v <= kernel->half; ++v) {
            for (int u = -kernel->half; u <= kernel->half; ++u, ++k)
                sum += kernel->values[k], xx += u * u * kernel->values[k], yy += v * v * kernel->values[k];
        }
        const double expected = sigma2 * sigma2 - sigma1 * sigma1;
        INFO("FWHM " << first << " to " << second);
        CHECK(sum == Approx(1.7).epsilon(1e-4));
        CHECK(kernel->sum == Approx(sum).epsilon(1e-9));
        CHECK(xx / sum == Approx(expected).epsilon(0.01));
        CHECK(yy / sum == Approx(expected).epsilon(0.01));
        if (first == 3.0) CHECK(fwhm_per_sigma * std::sqrt(expected) == Approx(3.354101966).epsilon(1e-9));
        CHECK(kernel->used.size() == 8);
    }
}

TEST_CASE("a star that has changed its light and a hit pixel do not shape the kernel", "[kernel]") {
    const double sigma1 = 3.0 / fwhm_per_sigma, sigma2 = 4.0 / fwhm_per_sigma;
    const KernelBasis basis(kernel_shape(3.0, 4.0, 7, 12));
    KernelOptions options;
    options.radius_px = 14.0;
    auto stamps = stamps_of(basis, sigma1, sigma2, 1.0, 7);
    for (double& adu : stamps[3].image.v)
        adu *= 1.3;
    stamps[5].image.v[18 * 37 + 21] += 5000.0;
    const auto kernel = solve_kernel(stamps, basis, options);
    REQUIRE(kernel);
    CHECK(kernel->sum == Approx(1.0).epsilon(0.002));
    REQUIRE(kernel->left_out.size() == 1);
    CHECK(kernel->left_out.front() == "3: unlike the others");
}

TEST_CASE("basis functions carry no light but the first, and convolve as their sum does", "[kernel]") {
    // By construction (Alard 2000); a convolution pixel by pixel is the independent slow method.
    const KernelBasis basis(kernel_shape(2.5, 3.5, 8, 10));
    CHECK(basis.size() == 1 + 1 + (28 + 15 + 6) - 1);
    const PixelPlane star =
        gaussian_star({0, 0, 2 * basis.half() + 9, 2 * basis.half() + 9}, {12.0, 13.3}, 1.2, 100.0);
    const auto all = basis.convolve_all(star);
    for (std::size_t n = 0; n < basis.size(); ++n) {
        double sum = 0.0;
        for (const double v : basis.functions()[n])
            sum += v;
        CHECK(sum == Approx(n == 0 ? 1.0 : 0.0).margin(1e-9));
        const PixelPlane slow = convolve(star, basis.functions()[n], basis.half());
        REQUIRE(slow.box == all[n].box);
        double worst = 0.0;
        for (std::size_t k = 0; k < slow.v.size(); ++k)
            worst = std::max(worst, std::abs(slow.v[k] - all[n].v[k]));
        CHECK(worst < 1e-9);
    }
}

TEST_CASE("no star, no kernel", "[kernel]") {
    const KernelBasis basis(kernel_shape(3.0, 4.0, 1, 12));
    CHECK_FALSE(solve_kernel({}, basis, {}));
    auto stamps = stamps_of(basis, 1.3, 1.7, 1.0, 1);
    CHECK(solve_kernel(stamps, basis, {}));
    stamps.front().usable.assign(stamps.front().usable.size(), false);
    CHECK_FALSE(solve_kernel(stamps, basis, {}));
}
