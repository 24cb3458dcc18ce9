// SPDX-License-Identifier: MIT
// Notation: q axis ratio of the profile, θ direction of its long axis from north through east; σ width of a
// Gaussian along it.
#include "photometry/scene_prior.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <limits>
#include <map>
#include <numbers>

namespace emberline::photometry {
namespace {

using numerics::Matrix;

constexpr int widths = 7;
// Slow departures from the profile: another ellipticity within, a warp, an arm as a whole.
constexpr double slow_fraction = 0.10;
constexpr double slow_length_fwhm = 5.0;
constexpr double floor_of_mean = 0.03;
// Nearer the nucleus than this the few Gaussians of the profile follow a galaxy less well: bars, rings,
// twists.
constexpr double core_fraction = 0.15;
constexpr double core_fwhm = 1.0;

struct Ellipse {
    double axis_ratio = 1.0, direction_rad = 0.0;
};

double largest_distance(const SceneGrid& grid, const SkyPoint& centre) {
    double most = 0.0;
    for (const SkyPoint& p : grid.nodes)
        most = std::max(most,
                        std::hypot(p.east_arcsec - centre.east_arcsec, p.north_arcsec - centre.north_arcsec));
    return most;
}

double width(const SceneGrid& grid, double largest, int i) {
    const double least = 0.6 * grid.spacing_arcsec, most = std::max(1.2 * largest, 4.0 * least);
    return least * std::pow(most / least, static_cast<double>(i) / (widths - 1));
}

// Columns: Gaussians of that ellipse, the same round, and (last) a point on the nucleus where it is a node.
Matrix profile_basis(const SceneGrid& grid, const SkyPoint& centre, const Ellipse& e,
                     const std::optional<std::size_t>& nucleus_node) {
    const std::size_t n = grid.nodes.size();
    const std::size_t columns = 2 * widths + (nucleus_node ? 1 : 0);
    Matrix basis(n + place_unknowns, columns);
    const double largest = largest_distance(grid, centre);
    const double c = std::cos(e.direction_rad), s = std::sin(e.direction_rad);
    for (std::size_t k = 0; k < n; ++k) {
        const double de = grid.nodes[k].east_arcsec - centre.east_arcsec;
        const double dn = grid.nodes[k].north_arcsec - centre.north_arcsec;
        const double along = dn * c + de * s, across = (de * c - dn * s) / e.axis_ratio;
        for (int i = 0; i < widths; ++i) {
            const double sigma = width(grid, largest, i);
            basis(k, static_cast<std::size_t>(i)) =
                std::exp(-0.5 * (along * along + across * across) / (sigma * sigma));
            basis(k, static_cast<std::size_t>(widths + i)) =
                std::exp(-0.5 * (de * de + dn * dn) / (sigma * sigma));
        }
    }
    if (nucleus_node) basis(*nucleus_node, columns - 1) = 1.0;
    return basis;
}

// Without a nucleus: broad Gaussians on a coarse grid, and a constant.
Matrix surface_basis(const SceneGrid& grid) {
    const double step = std::max(3.0 * grid.spacing_arcsec, 0.25 * grid.radius_arcsec);
    const double reach = grid.radius_arcsec + 1.3 * grid.fwhm_arcsec;
    std::vector<SkyPoint> centres;
    const int half = static_cast<int>(std::ceil(reach / step));
    for (int j = -half; j <= half; ++j) {
        for (int i = -half; i <= half; ++i) {
            if (std::hypot(i * step, j * step) <= reach + 0.5 * step) centres.push_back({i * step, j * step});
        }
    }
    Matrix basis(grid.nodes.size() + place_unknowns, centres.size() + 1);
    for (std::size_t k = 0; k < grid.nodes.size(); ++k) {
        for (std::size_t c = 0; c < centres.size(); ++c) {
            const double d = std::hypot(grid.nodes[k].east_arcsec - centres[c].east_arcsec,
                                        grid.nodes[k].north_arcsec - centres[c].north_arcsec);
            basis(k, c) = std::exp(-0.5 * d * d / (step * step));
        }
        basis(k, centres.size()) = 1.0;
    }
    return basis;
}

struct Fitted {
    double chi2 = std::numeric_limits<double>::infinity();  // up to a constant
    std::vector<double> amounts;
};

Fitted fit_basis(const Matrix& basis, const numerics::NormalEquations& data) {
    const auto small = numerics::projected(data.normal, data.right, basis);
    Fitted f;
    f.amounts = numerics::non_negative_solution(small.normal, small.right);
    f.chi2 = numerics::quadratic_form(small.normal, f.amounts, f.amounts);
    for (std::size_t i = 0; i < f.amounts.size(); ++i)
        f.chi2 -= 2.0 * f.amounts[i] * small.right[i];
    return f;
}

std::vector<double> node_lights(const Matrix& basis, const std::vector<double>& amounts) {
    std::vector<double> lights = numerics::multiply(basis, amounts);
    lights.resize(lights.size() - place_unknowns);
    return lights;
}

Ellipse best_ellipse(const SceneGrid& grid, const SkyPoint& centre, const numerics::NormalEquations& data,
                     const std::optional<std::size_t>& node) {
    Ellipse best;
    double least = std::numeric_limits<double>::infinity();
    const auto consider = [&](const Ellipse& e) {
        const double chi2 = fit_basis(profile_basis(grid, centre, e, node), data).chi2;
        if (chi2 < least) {
            least = chi2;
            best = e;
        }
    };
    constexpr double eighth = std::numbers::pi / 8.0;
    for (const double q : {0.3, 0.5, 0.75}) {
        for (int i = 0; i < 8; ++i)
            consider({q, i * eighth});
    }
    double q_step = 1.3, turn = 0.5 * eighth;
    for (int round = 0; round < 3; ++round, q_step = std::sqrt(q_step), turn *= 0.5) {
        const Ellipse at = best;
        for (const int i : {-1, 0, 1}) {
            for (const int j : {-1, 0, 1}) {
                if (i == 0 && j == 0) continue;
                consider({std::clamp(at.axis_ratio * std::pow(q_step, j), 0.12, 1.0),
                          at.direction_rad + i * turn});
            }
        }
    }
    return best;
}

double distance(const SkyPoint& a, const SkyPoint& b) {
    return std::hypot(a.east_arcsec - b.east_arcsec, a.north_arcsec - b.north_arcsec);
}

HostShape profile_shape(const SceneGrid& grid, const numerics::NormalEquations& data, const SkyPoint& centre,
                        double pixels) {
    HostShape shape;
    shape.centre = centre;
    for (std::size_t k = 0; k < grid.nodes.size(); ++k) {
        if (distance(grid.nodes[k], centre) < 1e-6 * grid.spacing_arcsec) shape.nucleus_node = k;
    }
    const Ellipse e = best_ellipse(grid, centre, data, shape.nucleus_node);
    Matrix basis = profile_basis(grid, centre, e, std::nullopt);
    Fitted fit = fit_basis(basis, data);
    if (shape.nucleus_node) {
        const Matrix with = profile_basis(grid, centre, e, shape.nucleus_node);
        const Fitted pointed = fit_basis(with, data);
        // One more parameter has to earn ln n (Schwarz 1978).
        if (pointed.chi2 + std::log(std::max(pixels, 2.0)) < fit.chi2) {
            fit = pointed;
            shape.nucleus_light = fit.amounts.back();
            fit.amounts.pop_back();
        }
    }
    shape.light = node_lights(basis, fit.amounts);
    if (shape.nucleus_node) {
        double core = 0.0;
        for (std::size_t k = 0; k < grid.nodes.size(); ++k) {
            if (distance(grid.nodes[k], centre) < 0.6 * grid.fwhm_arcsec) core += shape.light[k];
        }
        shape.nucleus_light_err = std::max(shape.nucleus_light, core);
    }
    return shape;
}

}  // namespace

HostShape fit_shape(const SceneGrid& grid, const numerics::NormalEquations& data,
                    const std::optional<SkyShift>& nucleus, double pixels) {
    if (nucleus) return profile_shape(grid, data, {nucleus->east_arcsec, nucleus->north_arcsec}, pixels);
    const Matrix basis = surface_basis(grid);
    return {.light = node_lights(basis, fit_basis(basis, data).amounts)};
}

std::vector<double> prior_mean(const HostShape& shape, const SkyPoint& place_before) {
    std::vector<double> mean = shape.light;
    if (shape.nucleus_node) mean[*shape.nucleus_node] += shape.nucleus_light;
    mean.push_back(place_before.east_arcsec);
    mean.push_back(place_before.north_arcsec);
    return mean;
}

std::vector<double> prior_reach(const HostShape& shape, double place_err_arcsec) {
    double sum = 0.0;
    for (const double light : shape.light)
        sum += light;
    std::vector<double> reach;
    for (const double light : shape.light)
        reach.push_back(light + floor_of_mean * sum / static_cast<double>(shape.light.size()) + 1e-12);
    if (shape.nucleus_node) reach[*shape.nucleus_node] += shape.nucleus_light_err;
    reach.insert(reach.end(), place_unknowns, place_err_arcsec);
    return reach;
}

Matrix prior_covariance(const SceneGrid& grid, const HostShape& shape, const Texture& texture,
                        double place_err_arcsec) {
    const std::size_t n = grid.nodes.size();
    Matrix c(n + place_unknowns, n + place_unknowns);
    double sum = 0.0;
    for (const double light : shape.light)
        sum += light;
    const double least = floor_of_mean * sum / static_cast<double>(n) + 1e-12;
    const double fast = texture.fraction * texture.fraction, slow = slow_fraction * slow_fraction;
    const double slow_length = slow_length_fwhm * grid.fwhm_arcsec;
    std::vector<double> core(n, 0.0);
    if (shape.centre) {
        for (std::size_t k = 0; k < n; ++k) {
            const double x = distance(grid.nodes[k], *shape.centre) / (core_fwhm * grid.fwhm_arcsec);
            core[k] = core_fraction * std::exp(-0.5 * x * x);
        }
    }
    for (std::size_t a = 0; a < n; ++a) {
        const double la = shape.light[a] + least;
        for (std::size_t b = 0; b <= a; ++b) {
            const double r = distance(grid.nodes[a], grid.nodes[b]);
            const double x = std::numbers::sqrt3 * r / texture.length_arcsec, y = r / slow_length;
            const double z = std::numbers::sqrt3 * r / grid.fwhm_arcsec;
            const double rho = fast * (1.0 + x) * std::exp(-x) + slow * std::exp(-0.5 * y * y) +
                               core[a] * core[b] * (1.0 + z) * std::exp(-z);
            c(a, b) = c(b, a) = la * (shape.light[b] + least) * rho;
        }
    }
    if (shape.nucleus_node) {
        const std::size_t k = *shape.nucleus_node;
        c(k, k) += shape.nucleus_light_err * shape.nucleus_light_err;
    }
    for (std::size_t i = n; i < n + place_unknowns; ++i)
        c(i, i) = place_err_arcsec * place_err_arcsec;
    return c;
}

Result<Texture> fit_texture(const SceneGrid& grid, const HostShape& shape, const numerics::WhitenedData& data,
                            const Texture& start, double place_err_arcsec, const SkyPoint& place_before) {
    const std::vector<double> mean = prior_mean(shape, place_before);
    constexpr double usual_fraction = 0.1, fraction_spread = 1.6;  // ln units
    constexpr double length_spread = 1.0;
    const double usual_length = grid.fwhm_arcsec;
    const double strength_step = 2.0, length_step = 1.6;
    std::map<std::pair<int, int>, double> known;
    const auto texture_at = [&](int i, int j) {
        return Texture{start.fraction * std::pow(strength_step, i),
                       start.length_arcsec * std::pow(length_step, j)};
    };
    std::optional<Problem> trouble;
    const auto cost = [&](int i, int j) {
        const auto found = known.find({i, j});
        if (found != known.end()) return found->second;
        const Texture t = texture_at(i, j);
        double value = std::numeric_limits<double>::infinity();
        if (t.fraction > 2e-3 && t.fraction < 3.0 && t.length_arcsec > 0.3 * grid.fwhm_arcsec &&
            t.length_arcsec < 6.0 * grid.fwhm_arcsec) {
            const auto evidence = numerics::minus_two_log_evidence(
                data, mean, prior_covariance(grid, shape, t, place_err_arcsec));
            if (!evidence) trouble = evidence.error();
            const double f = std::log(t.fraction / usual_fraction) / fraction_spread;
            const double l = std::log(t.length_arcsec / usual_length) / length_spread;
            if (evidence) value = *evidence + f * f + l * l;
        }
        known[{i, j}] = value;
        return value;
    };
    int i = 0, j = 0;
    double least = cost(0, 0);
    constexpr std::array<std::pair<int, int>, 6> ways{{{1, 0}, {-1, 0}, {0, 1}, {0, -1}, {1, 1}, {-1, -1}}};
    for (int turn = 0; turn < 10; ++turn) {
        bool moved = false;
        for (const auto& [di, dj] : ways) {
            // On along a direction that pays.
            while (cost(i + di, j + dj) < least - 0.05) {
                i += di;
                j += dj;
                least = cost(i, j);
                moved = true;
            }
        }
        if (!moved) break;
    }
    if (!std::isfinite(least) && trouble) return fail(*trouble);
    return texture_at(i, j);
}

}  // namespace emberline::photometry
