// SPDX-License-Identifier: MIT
#include "photometry/resample.hpp"

#include <catch2/catch.hpp>
#include <cmath>
#include <limits>
#include <numbers>

// The geometry library's own headers are not free of these warnings; the last is raised where they are used.
#pragma GCC diagnostic push
#pragma GCC diagnostic ignored "-Wshadow"
#pragma GCC diagnostic ignored "-Wdouble-promotion"
#pragma GCC diagnostic ignored "-Wunused-parameter"
#include <boost/geometry.hpp>
#include <boost/geometry/geometries/point_xy.hpp>
#include <boost/geometry/geometries/polygon.hpp>
#pragma GCC diagnostic pop
#if !defined(__clang__)
#pragma GCC diagnostic ignored "-Wmaybe-uninitialized"
#endif

#include "numerics/random.hpp"

using namespace emberline;
using namespace emberline::photometry;
using frame::PixelBox;
using frame::PixelPosition;

namespace {

namespace geometry = boost::geometry;
using GeometryPoint = geometry::model::d2::point_xy<double>;
using GeometryPolygon = geometry::model::polygon<GeometryPoint>;

struct Turn {
    double scale, degrees, shift_x, shift_y;
    bool mirrored;
    [[nodiscard]] PixelPosition operator()(const PixelPosition& p) const {
        const double angle = degrees * std::numbers::pi / 180.0;
        const double x = mirrored ? -p.x : p.x;
        return {shift_x + scale * (std::cos(angle) * x - std::sin(angle) * p.y),
                shift_y + scale * (std::sin(angle) * x + std::cos(angle) * p.y)};
    }
    [[nodiscard]] PixelMapping mapping() const {
        return [turn = *this](const PixelPosition& p) { return std::optional(turn(p)); };
    }
};

const std::vector<Turn> turns = {{1.0, 0.0, 0.3, -0.4, false}, {1.0, 90.0, 0.0, 0.0, false},
                                 {0.4, 11.0, 0.1, 0.2, false}, {0.7, 37.0, 0.5, 0.5, true},
                                 {1.6, -37.0, 0.0, 0.4, true}, {2.5, 200.0, -0.3, 0.1, false}};

// A box of the input's pixels about where the output's middle falls.
frame::Cutout input_about(const PixelPosition& middle, int half) {
    frame::Cutout c;
    c.box = {static_cast<int>(std::lround(middle.x)) - half, static_cast<int>(std::lround(middle.y)) - half,
             2 * half + 1, 2 * half + 1};
    c.adu.assign(static_cast<std::size_t>(c.box.width * c.box.height), 0.0F);
    return c;
}

}  // namespace

TEST_CASE("output pixels hold the light of the area they share with input pixels", "[resample]") {
    // Outside check: areas and centroids of the polygons' intersections by Boost.Geometry 1.74. Tolerance:
    // single-precision pixels, 1e-6 of the light of a pixel.
    for (const Turn& turn : turns) {
        const PixelBox output{7, -3, 12, 12};
        frame::Cutout input = input_about(turn({12.5, 2.5}), 24);
        numerics::Random random(20260711);
        for (float& adu : input.adu)
            adu = static_cast<float>(random.uniform(50.0, 150.0));
        const Resampled out = resample(input, {}, output, turn.mapping());
        double worst = 0.0;
        for (int y = output.y0; y < output.y0 + output.height; ++y) {
            for (int x = output.x0; x < output.x0 + output.width; ++x) {
                GeometryPolygon outline;
                for (const auto& [i, j] : {std::pair{-0.5, -0.5}, {-0.5, 0.5}, {0.5, 0.5}, {0.5, -0.5}}) {
                    const PixelPosition p = turn({x + i, y + j});
                    geometry::append(outline, GeometryPoint(p.x, p.y));
                }
                geometry::correct(outline);
                double expected = 0.0;
                for (int v = input.box.y0 + 1; v < input.box.y0 + input.box.height - 1; ++v) {
                    for (int u = input.box.x0 + 1; u < input.box.x0 + input.box.width - 1; ++u) {
                        GeometryPolygon square;
                        geometry::append(square, GeometryPoint(u - 0.5, v - 0.5));
                        geometry::append(square, GeometryPoint(u - 0.5, v + 0.5));
                        geometry::append(square, GeometryPoint(u + 0.5, v + 0.5));
                        geometry::append(square, GeometryPoint(u + 0.5, v - 0.5));
                        geometry::correct(square);
                        std::vector<GeometryPolygon> parts;
                        geometry::intersection(outline, square, parts);
                        for (const GeometryPolygon& part : parts) {
                            const double area = geometry::area(part);
                            if (area < 1e-12) continue;
                            GeometryPoint centre;
                            geometry::centroid(part, centre);
                            const double slope_x = 0.5 * (static_cast<double>(input.at(u + 1, v)) -
                                                          static_cast<double>(input.at(u - 1, v)));
                            const double slope_y = 0.5 * (static_cast<double>(input.at(u, v + 1)) -
                                                          static_cast<double>(input.at(u, v - 1)));
                            expected += area * (static_cast<double>(input.at(u, v)) +
                                                slope_x * (geometry::get<0>(centre) - u) +
                                                slope_y * (geometry::get<1>(centre) - v));
                        }
                    }
                }
                worst = std::max(worst, std::abs(static_cast<double>(out.image.at(x, y)) - expected));
            }
        }
        INFO("scale " << turn.scale << ", turned by " << turn.degrees);
        CHECK(worst < 150e-6 * std::max(1.0, turn.scale * turn.scale));
    }
}

TEST_CASE("a star keeps its total light through any turn, scale and mirror", "[resample]") {
    // Conservation by construction; the tolerance of 1e-6 is what single-precision pixels allow.
    for (const Turn& turn : turns) {
        const PixelPosition star{40.2, 38.7};
        const PixelPosition there = turn(star);
        frame::Cutout input = input_about(there, 70);
        double total = 0.0;
        for (int v = input.box.y0; v < input.box.y0 + input.box.height; ++v) {
            for (int u = input.box.x0; u < input.box.x0 + input.box.width; ++u) {
                const double r2 = (u - there.x) * (u - there.x) + (v - there.y) * (v - there.y);
                input.at(u, v) = static_cast<float>(1000.0 * std::exp(-r2 / (2.0 * 1.3 * 1.3)));
                total += static_cast<double>(input.at(u, v));
            }
        }
        const Resampled out = resample(input, {}, {20, 19, 41, 41}, turn.mapping());
        double sum = 0.0, first_x = 0.0, first_y = 0.0;
        for (int y = 19; y < 60; ++y) {
            for (int x = 20; x < 61; ++x) {
                const auto adu = static_cast<double>(out.image.at(x, y));
                sum += adu, first_x += x * adu, first_y += y * adu;
            }
        }
        INFO("scale " << turn.scale << ", turned by " << turn.degrees);
        CHECK(sum == Approx(total).epsilon(1e-6));
        // Its centre of light stays where it was: also a matter of exact moments, tolerance 5e-3 px (a star
        // of half a pixel at scale 2.5).
        CHECK(first_x / sum == Approx(star.x).margin(5e-3));
        CHECK(first_y / sum == Approx(star.y).margin(5e-3));
    }
}

TEST_CASE("a shift by part of a pixel does not blur a star", "[resample]") {
    // Second moments in closed form: a Gaussian integrated over pixels has σ² + 1/12 whatever its phase.
    // Tolerance 0.5 % of σ²: third-order terms; flat pixels would add up to 0.25 px², 15 %.
    const double sigma = 1.3;
    for (const double shift : {0.1, 0.25, 0.5}) {
        frame::Cutout input = input_about({0.0, 0.0}, 30);
        const auto share = [&](double from_centre) {
            const double root = std::numbers::sqrt2 * sigma;
            return 0.5 * (std::erf((from_centre + 0.5) / root) - std::erf((from_centre - 0.5) / root));
        };
        for (int v = -30; v <= 30; ++v) {
            for (int u = -30; u <= 30; ++u)
                input.at(u, v) = static_cast<float>(1e5 * share(u) * share(v));
        }
        const Turn turn{1.0, 0.0, shift, 0.0, false};
        const Resampled out = resample(input, {}, {-20, -20, 41, 41}, turn.mapping());
        double sum = 0.0, second = 0.0;
        for (int y = -20; y <= 20; ++y) {
            for (int x = -20; x <= 20; ++x) {
                const auto adu = static_cast<double>(out.image.at(x, y));
                sum += adu, second += adu * (x + shift) * (x + shift);
            }
        }
        CHECK(second / sum == Approx(sigma * sigma + 1.0 / 12.0).epsilon(0.005));
    }
}

TEST_CASE("the variance of resampled noise is what simulation gives", "[resample]") {
    // Independent check: the scatter of 400 realisations of unit noise (seed 77); the relative error of a
    // variance from n values is sqrt(2/n), over 100 pixels together below 1 %: tolerance 2 %.
    const Turn turn{0.7, 37.0, 0.5, 0.5, true};
    const PixelBox output{0, 0, 10, 10};
    frame::Cutout input = input_about(turn({4.5, 4.5}), 12);
    numerics::Random random(77);
    double sum = 0.0, expected = 0.0;
    for (int k = 0; k < 400; ++k) {
        for (float& adu : input.adu)
            adu = static_cast<float>(random.gaussian());
        const Resampled out = resample(input, {}, output, turn.mapping());
        for (std::size_t p = 0; p < 100; ++p) {
            sum += static_cast<double>(out.image.adu[p]) * static_cast<double>(out.image.adu[p]);
            expected += out.variance[p];
        }
    }
    CHECK(sum / expected == Approx(1.0).margin(0.02));
}

TEST_CASE("undefined pixels stay undefined, and only where they lie", "[resample]") {
    frame::Cutout input = input_about({10.0, 10.0}, 10);
    std::fill(input.adu.begin(), input.adu.end(), 5.0F);
    input.at(10, 10) = std::numeric_limits<float>::quiet_NaN();
    const Turn turn{1.0, 0.0, 0.25, 0.0, false};
    const Resampled out = resample(input, {}, {0, 0, 24, 20}, turn.mapping());
    std::size_t undefined = 0;
    for (int y = 2; y < 18; ++y) {
        for (int x = 2; x < 18; ++x) {
            const bool is_nan = std::isnan(out.image.at(x, y));
            undefined += is_nan ? 1U : 0U;
            if (!is_nan) CHECK(out.image.at(x, y) == Approx(5.0).epsilon(1e-6));
            CHECK(is_nan == std::isnan(out.variance[static_cast<std::size_t>(y * 24 + x)]));
        }
    }
    CHECK(undefined == 2);
    CHECK(std::isnan(out.image.at(23, 10)));  // beyond the input
    // A mapping without an answer gives nothing, and does not crash.
    const Resampled none =
        resample(input, {}, {0, 0, 5, 5},
                 [](const PixelPosition&) -> std::optional<PixelPosition> { return std::nullopt; });
    for (const float adu : none.image.adu)
        CHECK(std::isnan(adu));
    CHECK(resample(input, {}, {0, 0, 0, 0}, turn.mapping()).image.adu.empty());
}

TEST_CASE("weights carried back to the input give the same sum as weights on the output", "[resample]") {
    // The definition of a transposed map: Σ w (R x) = Σ (Rᵀ w) x, to rounding.
    const Turn turn{1.6, -37.0, 0.0, 0.4, true};
    const PixelBox output{0, 0, 12, 12};
    const frame::Cutout input = input_about(turn({5.5, 5.5}), 20);
    const ResampleMap map(input.box, {}, output, turn.mapping());
    numerics::Random random(5);
    std::vector<double> x(input.adu.size()), w(144);
    for (double& v : x)
        v = random.gaussian();
    for (double& v : w)
        v = random.gaussian();
    const std::vector<double> y = map.apply(x), back = map.transposed(w);
    double forwards = 0.0, backwards = 0.0;
    for (std::size_t k = 0; k < y.size(); ++k)
        forwards += w[k] * y[k];
    for (std::size_t k = 0; k < x.size(); ++k)
        backwards += back[k] * x[k];
    CHECK(forwards == Approx(backwards).epsilon(1e-12));
}
