// SPDX-License-Identifier: MIT
// Notation: d pixels, s a star's sky, F its flux, P the PSF so far; a sample r = (d − s)/F − P at its place
// from the star's centre, of weight F²/Var(d). Nodes of the table gather samples by tents one step wide.
#include "photometry/build_psf.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <array>
#include <cmath>
#include <limits>
#include <optional>

#include "numerics/robust.hpp"
#include "photometry/psf_core.hpp"
#include "photometry/psf_fit.hpp"

namespace emberline::photometry {
namespace {

using Star = StarOfPsf;

constexpr double least_signal_to_noise = 20.0;
constexpr double core_fwhm = 1.5;   // a star must be whole out to here
constexpr double table_fwhm = 2.2;  // reach of the table
// Five and eight were tried too, on trailed, double-humped and hollow stars: fluxes scatter twice as much
// with five, and three stars do not fill the nodes of eight.
constexpr double steps_per_fwhm = 7.0;
constexpr double least_step_px = 0.5;
constexpr int rounds = 4;
constexpr double neighbour_from_fwhm = 1.5;  // nearer, a misfit is the star's own shape
constexpr double odd_star = 4.0;             // misfit of a star over the usual one that sets it aside
constexpr double least_misfit = 0.01;        // of its light: below it no star is odd
constexpr int joint_rounds = 2;

double reach_within(const frame::Cutout& cutout, const frame::PixelPosition& at) {
    return std::min({at.x - cutout.box.x0, at.y - cutout.box.y0,
                     cutout.box.x0 + cutout.box.width - 1.0 - at.x,
                     cutout.box.y0 + cutout.box.height - 1.0 - at.y});
}

// Empty where the star can be used.
std::string fault_of(Star& star, double fwhm, const PixelNoise& noise, double saturation) {
    const PsfStar& given = *star.given;
    const frame::PixelBox& box = given.cutout.box;
    if (!box.empty() && given.cutout.adu.size() != box.pixels()) return "a torn stamp";
    if (!std::isfinite(given.sky_adu)) return "no sky";
    if (!(std::isfinite(star.position.x) && std::isfinite(star.position.y)) ||
        !(reach_within(given.cutout, star.position) >= core_fwhm * fwhm))
        return "cut by the edge";
    bool undefined = false, saturated = false;
    double light = 0.0, variance = 0.0;
    within(given.cutout, star.position, core_fwhm * fwhm, [&](int, int, double adu) {
        undefined = undefined || !std::isfinite(adu);
        saturated = saturated || adu >= saturation;
        light += adu - given.sky_adu;
        variance += noise.variance_adu2(adu - given.sky_adu);
    });
    if (undefined) return "undefined pixels";
    if (saturated) return "saturated";
    star.flux_adu = light;
    star.signal_to_noise = variance > 0.0 ? light / std::sqrt(variance) : 0.0;
    if (!(star.signal_to_noise >= least_signal_to_noise) || !std::isfinite(light)) return "too faint";
    return "";
}

// Pixels that stand out beyond the star's own image, brightest first, each with its surroundings.
void find_neighbours(std::vector<Star>& stars, const Psf& psf, const PixelNoise& noise) {
    struct Light {
        int x, y;
        double share;
    };
    const double own = neighbour_from_fwhm * psf.fwhm_px() * std::sqrt(psf.core().elongation);
    for (Star& star : stars) {
        if (!star.used) continue;
        std::vector<Light> found;
        const double flux = star.flux_adu;
        within(star.given->cutout, star.position, psf.reach_px(), [&](int x, int y, double adu) {
            if (!std::isfinite(adu) || std::hypot(x - star.position.x, y - star.position.y) < own) return;
            const double share = psf.share(star.position, x, y);
            const double r = (adu - star.given->sky_adu) / flux - share;
            const double variance = noise.variance_adu2(flux * share) / (flux * flux);
            if (r > 0.0 && foreign(r, variance, share)) found.push_back({x, y, r});
        });
        std::sort(found.begin(), found.end(),
                  [](const Light& a, const Light& b) { return a.share > b.share; });
        for (const Light& light : found) {
            if (!hidden(star, light.x, light.y, psf.fwhm_px()))
                star.neighbours.push_back({static_cast<double>(light.x), static_cast<double>(light.y)});
        }
    }
}

// One node's samples: for the value alone, and for a plane of it over the frame.
struct Node {
    double weight = 0.0, sum = 0.0;
    std::array<double, 6> normal{};  // of (1, X, Y): 11, 1X, 1Y, XX, XY, YY
    std::array<double, 3> right{};
    double square = 0.0;  // Σ w r²
};

class TableMaker {
  public:
    TableMaker(const MoffatCore& core, const PixelNoise& noise, bool vary, const std::vector<Star>& stars)
        : noise_(noise), vary_(vary) {
        table_.step_px = std::max(least_step_px, core.fwhm_px / steps_per_fwhm);
        table_.half = static_cast<int>(
            std::ceil(table_fwhm * core.fwhm_px * std::sqrt(core.elongation) / table_.step_px));
        side_ = 2 * table_.half + 1;
        table_.constant.assign(nodes(), 0.0);
        if (!vary_) return;
        table_.along_x.assign(nodes(), 0.0);
        table_.along_y.assign(nodes(), 0.0);
        double span = 1.0;
        for (const Star& star : stars) {
            table_.middle.x += star.position.x / static_cast<double>(stars.size());
            table_.middle.y += star.position.y / static_cast<double>(stars.size());
        }
        for (const Star& star : stars) {
            span = std::max({span, std::abs(star.position.x - table_.middle.x),
                             std::abs(star.position.y - table_.middle.y)});
        }
        table_.span_px = span;
    }

    [[nodiscard]] const PsfTable& table() const { return table_; }

    // Adds to the table what the stars show beyond `psf`. Returns by how much χ² could fall for the plane
    // over the constant, and for how many nodes, where it may vary.
    struct Gain {
        double chi2 = 0.0, unknowns = 0.0, samples = 0.0;
    };
    Gain improve(const std::vector<Star>& stars, const Psf& psf) {
        std::vector<Node> gathered(nodes());
        for (const Star& star : stars) {
            if (star.used) gather(star, psf, gathered);
        }
        return take(gathered);
    }

  private:
    [[nodiscard]] std::size_t nodes() const {
        return static_cast<std::size_t>(side_) * static_cast<std::size_t>(side_);
    }

    void gather(const Star& star, const Psf& psf, std::vector<Node>& gathered) const {
        const double reach = table_.half * table_.step_px;
        const double big_x = (star.position.x - table_.middle.x) / table_.span_px;
        const double big_y = (star.position.y - table_.middle.y) / table_.span_px;
        within(star.given->cutout, star.position, reach, [&](int x, int y, double adu) {
            if (!std::isfinite(adu) || hidden(star, x, y, psf.fwhm_px())) return;
            const double share = psf.share(star.position, x, y);
            const double r = (adu - star.given->sky_adu) / star.flux_adu - share;
            const double variance =
                noise_.variance_adu2(star.flux_adu * share) / (star.flux_adu * star.flux_adu);
            if (foreign(r, variance, share)) return;
            const double u = (x - star.position.x) / table_.step_px + table_.half;
            const double v = (y - star.position.y) / table_.step_px + table_.half;
            const int i0 = static_cast<int>(std::floor(u)), j0 = static_cast<int>(std::floor(v));
            for (int j = j0; j <= j0 + 1; ++j) {
                for (int i = i0; i <= i0 + 1; ++i) {
                    if (i < 0 || j < 0 || i >= side_ || j >= side_) continue;
                    const double tent = (1.0 - std::abs(u - i)) * (1.0 - std::abs(v - j));
                    const double w = tent / variance;
                    if (!(w > 0.0)) continue;
                    Node& node = gathered[index(i, j)];
                    node.weight += w;
                    node.sum += w * r;
                    node.square += w * r * r;
                    const std::array<double, 3> terms{1.0, big_x, big_y};
                    std::size_t k = 0;
                    for (std::size_t a = 0; a < 3; ++a) {
                        node.right[a] += w * r * terms[a];
                        for (std::size_t b = a; b < 3; ++b)
                            node.normal[k++] += w * terms[a] * terms[b];
                    }
                }
            }
        });
    }

    // Values that noise alone would give are drawn back: by the signal's power about the node over all power.
    [[nodiscard]] std::vector<double> drawn_back(const std::vector<double>& value,
                                                 const std::vector<double>& variance) const {
        std::vector<double> out(value.size(), 0.0);
        for (int j = 0; j < side_; ++j) {
            for (int i = 0; i < side_; ++i) {
                double power = 0.0;
                int n = 0;
                for (int dj = -2; dj <= 2; ++dj) {
                    for (int di = -2; di <= 2; ++di) {
                        if (i + di < 0 || j + dj < 0 || i + di >= side_ || j + dj >= side_) continue;
                        const std::size_t k = index(i + di, j + dj);
                        if (!std::isfinite(variance[k])) continue;
                        power += value[k] * value[k] - variance[k];
                        ++n;
                    }
                }
                const std::size_t k = index(i, j);
                if (n == 0 || !(power > 0.0) || !std::isfinite(variance[k])) continue;
                power /= n;
                out[k] = value[k] * power / (power + variance[k]);
            }
        }
        return out;
    }

    [[nodiscard]] std::size_t index(int i, int j) const {
        return static_cast<std::size_t>(j) * static_cast<std::size_t>(side_) + static_cast<std::size_t>(i);
    }

    Gain take(const std::vector<Node>& gathered) {
        const double never = std::numeric_limits<double>::infinity();
        std::array<std::vector<double>, 3> value, variance;
        for (std::size_t part = 0; part < 3; ++part) {
            value[part].assign(nodes(), 0.0);
            variance[part].assign(nodes(), never);
        }
        Gain gain;
        for (std::size_t k = 0; k < nodes(); ++k) {
            const Node& node = gathered[k];
            if (!(node.weight > 0.0)) continue;
            value[0][k] = node.sum / node.weight;
            variance[0][k] = 1.0 / node.weight;
            if (!vary_) continue;
            const auto plane = plane_of(node);
            if (!plane) continue;
            for (std::size_t part = 0; part < 3; ++part) {
                value[part][k] = plane->value[part];
                variance[part][k] = plane->variance[part];
            }
            gain.chi2 += plane->chi2_gain;
            gain.unknowns += 2.0;
            gain.samples += 1.0;
        }
        std::vector<double>* const kept[] = {&table_.constant, &table_.along_x, &table_.along_y};
        for (std::size_t part = 0; part < (vary_ ? 3U : 1U); ++part) {
            const auto change = drawn_back(value[part], variance[part]);
            for (std::size_t k = 0; k < nodes(); ++k)
                (*kept[part])[k] += change[k];
        }
        return gain;
    }

    struct Plane {
        std::array<double, 3> value, variance;
        double chi2_gain = 0.0;
    };
    static std::optional<Plane> plane_of(const Node& node) {
        const auto& m = node.normal;
        const double c00 = m[3] * m[5] - m[4] * m[4], c01 = m[2] * m[4] - m[1] * m[5],
                     c02 = m[1] * m[4] - m[2] * m[3];
        const double det = m[0] * c00 + m[1] * c01 + m[2] * c02;
        if (!(det > 1e-9 * m[0] * m[0] * m[0])) return std::nullopt;
        const double c11 = m[0] * m[5] - m[2] * m[2], c12 = m[1] * m[2] - m[0] * m[4],
                     c22 = m[0] * m[3] - m[1] * m[1];
        const auto& b = node.right;
        Plane p{{(c00 * b[0] + c01 * b[1] + c02 * b[2]) / det, (c01 * b[0] + c11 * b[1] + c12 * b[2]) / det,
                 (c02 * b[0] + c12 * b[1] + c22 * b[2]) / det},
                {c00 / det, c11 / det, c22 / det}};
        const double constant = b[0] * b[0] / m[0];
        p.chi2_gain = p.value[0] * b[0] + p.value[1] * b[1] + p.value[2] * b[2] - constant;
        return p;
    }

    PixelNoise noise_;
    bool vary_;
    PsfTable table_;
    int side_ = 1;
};

// Position and flux by the PSF so far. A star that cannot be fitted takes no further part.
void refit(std::vector<Star>& stars, const Psf& psf, const PixelNoise& noise) {
    for (Star& star : stars) {
        if (!star.used) continue;
        PsfFitOptions options;
        options.sky_adu = star.given->sky_adu;
        options.most_shift_px = std::max(1.0, 0.5 * psf.fwhm_px());
        const auto fit = fit_psf(star.given->cutout, psf, {{star.position, true}}, noise, options);
        if (!fit || !(fit->sources.front().flux_adu > 0.0)) {
            star.used = false;
            star.fault = "cannot be fitted";
            continue;
        }
        star.position = fit->sources.front().position;
        star.flux_adu = fit->sources.front().flux_adu;
    }
}

// Better core and positions from the first ones; as they were where the fit finds none.
MoffatCore settled_core(MoffatCore core, std::vector<Star>& stars, const PixelNoise& noise) {
    for (int round = 0; round < joint_rounds; ++round) {
        const auto psf = Psf::make(core);
        if (!psf) break;
        const auto better = joint_core(core, stars, *psf, noise);
        if (!better) break;
        const auto sharper = Psf::make(*better);
        if (!sharper) break;
        core = *better;
        refit(stars, *sharper, noise);
    }
    return core;
}

// What is left of a star's core beyond noise, over its light.
double misfit(const Star& star, const Psf& psf, const PixelNoise& noise) {
    double squares = 0.0, expected = 0.0;
    within(star.given->cutout, star.position, psf.fwhm_px(), [&](int x, int y, double adu) {
        if (!std::isfinite(adu)) return;
        const double light = star.flux_adu * psf.share(star.position, x, y);
        squares += std::pow(adu - star.given->sky_adu - light, 2);
        expected += noise.variance_adu2(light);
    });
    return std::sqrt(std::max(0.0, squares - expected)) / star.flux_adu;
}

// Stars unlike the others: doubles, galaxies, a neighbour in the core.
void set_odd_aside(std::vector<Star>& stars, const Psf& psf, const PixelNoise& noise) {
    std::vector<double> misfits;
    for (const Star& star : stars) {
        if (star.used) misfits.push_back(misfit(star, psf, noise));
    }
    if (misfits.size() < 3) return;
    const double usual = numerics::median(misfits);
    std::size_t i = 0;
    for (Star& star : stars) {
        if (!star.used) continue;
        if (misfits[i++] <= std::max(odd_star * usual, least_misfit)) continue;
        star.used = false;
        star.fault = "its shape differs from the others'";
    }
}

std::size_t in_use(const std::vector<Star>& stars) {
    return static_cast<std::size_t>(
        std::count_if(stars.begin(), stars.end(), [](const Star& s) { return s.used; }));
}

// The plane over the frame must pay for its two unknowns a node (Schwarz 1978's criterion).
bool worth_it(const TableMaker::Gain& gain) {
    return gain.unknowns > 0.0 && gain.chi2 > gain.unknowns * std::log(std::max(gain.samples, 3.0));
}

Result<Psf> with_table(const MoffatCore& core, std::vector<Star>& stars, const PixelNoise& noise, bool vary,
                       TableMaker::Gain& first_gain) {
    std::vector<Star> used;
    for (const Star& star : stars) {
        if (star.used) used.push_back(star);
    }
    TableMaker maker(core, noise, vary, used);
    auto psf = Psf::make(core);
    for (int round = 0; round < rounds && psf; ++round) {
        const auto gain = maker.improve(stars, *psf);
        if (round == 0) first_gain = gain;
        psf = Psf::make(core, maker.table());
        if (psf) refit(stars, *psf, noise);
    }
    return psf;
}

}  // namespace

Result<BuiltPsf> build_psf(const std::vector<PsfStar>& offered, double fwhm_guess_px, const PixelNoise& noise,
                           double saturation_adu) {
    std::vector<std::string> never_used;
    std::vector<Star> stars;
    const bool sane = fwhm_guess_px > 0.3 && fwhm_guess_px < 60.0 && noise.gain_e_per_adu > 0.0 &&
                      noise.sky_scatter_adu > 0.0 && std::isfinite(noise.sky_scatter_adu);
    for (const PsfStar& given : offered) {
        Star star;
        star.given = &given;
        star.position = given.position;
        const std::string fault =
            sane ? fault_of(star, fwhm_guess_px, noise, saturation_adu) : std::string("no width or noise");
        if (fault.empty()) {
            stars.push_back(star);
        } else {
            never_used.push_back(fmt::format("{}: {}", given.label, fault));
        }
    }
    std::sort(stars.begin(), stars.end(),
              [](const Star& a, const Star& b) { return a.signal_to_noise > b.signal_to_noise; });
    const auto left_out = [&] {
        std::vector<std::string> all = never_used;
        for (const Star& star : stars) {
            if (!star.used) all.push_back(fmt::format("{}: {}", star.given->label, star.fault));
        }
        return all;
    };
    const auto no_star = [&] {
        const std::vector<std::string> why = left_out();
        return fail(
            {.what =
                 fmt::format("No clear star is left of {} for the point-spread function.", offered.size()),
             .where = why.empty() ? std::string("no stars were offered") : why.front(),
             .mend = "Add bright, isolated, unsaturated stars to the sequence; they need no magnitude."});
    };
    if (stars.empty()) return no_star();
    MoffatCore core = first_core(stars, fwhm_guess_px, noise);
    auto psf = Psf::make(core);
    if (!psf) return fail(psf.error());
    refit(stars, *psf, noise);
    set_odd_aside(stars, *psf, noise);
    if (in_use(stars) == 0) return no_star();
    find_neighbours(stars, *psf, noise);
    core = settled_core(core, stars, noise);
    psf = Psf::make(core);
    if (!psf) return fail(psf.error());
    if (in_use(stars) == 0) return no_star();
    if (in_use(stars) >= stars_for_table) {
        TableMaker::Gain gain;
        bool vary = in_use(stars) >= stars_for_variation;
        std::vector<Star> trial = stars;
        auto better = with_table(core, trial, noise, vary, gain);
        if (better && vary && !worth_it(gain)) {
            trial = stars;
            better = with_table(core, trial, noise, false, gain);
        }
        if (better) {
            psf = std::move(better);
            stars = std::move(trial);
        }
    }
    BuiltPsf out{std::move(*psf), {}, left_out(), 0.0};
    std::vector<double> misfits;
    for (const Star& star : stars) {
        if (!star.used) continue;
        out.used.push_back(star.given->label);
        misfits.push_back(misfit(star, out.psf, noise));
    }
    if (misfits.empty()) return no_star();
    out.residual = numerics::median(std::move(misfits));
    return out;
}

}  // namespace emberline::photometry
