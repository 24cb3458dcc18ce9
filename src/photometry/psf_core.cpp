// SPDX-License-Identifier: MIT
// Notation: d pixels less sky, F a star's flux, P shares of the core, w weights: F = Σ w P d / Σ w P².
#include "photometry/psf_core.hpp"

#include <array>
#include <span>

#include "numerics/least_squares.hpp"
#include "stars/profile.hpp"

namespace emberline::photometry {
namespace {

using Star = StarOfPsf;

constexpr std::size_t most_profiles = 12;  // more do not sharpen the core worth the time
constexpr double usual_beta = 3.5, least_beta = 1.5, most_beta = 30.0;
constexpr double sample_sigma = 5.0;    // a sample further from its node is a neighbour's or a cosmic ray's
constexpr double sample_slack = 0.002;  // of the star's light, beyond noise,
constexpr double core_slack = 1.0;      // and of what the core puts there
constexpr double neighbour_hides_fwhm = 1.5;
// The joint fit of the core: β is held where few pixels or little light tell it.
constexpr double usual_beta_err = 1.5;  // common practice, no source
constexpr double joint_fwhm = 3.0;      // reach of the joint fit
constexpr double core_mismatch = 0.01;  // of a pixel's light: no star is a perfect Moffat profile

// ln FWHM, ln(β − 1), and the elongation's logarithm as a vector of twice the direction: no bounds to hit
// from within.
using CoreUnknowns = std::array<double, 4>;
CoreUnknowns unknowns_of(const MoffatCore& core) {
    const double e = std::log(core.elongation);
    return {std::log(core.fwhm_px), std::log(core.moffat_beta - 1.0), e * std::cos(2.0 * core.direction_rad),
            e * std::sin(2.0 * core.direction_rad)};
}
MoffatCore core_from(std::span<const double> u) {
    return {std::exp(u[0]), 1.0 + std::exp(u[1]), std::exp(std::hypot(u[2], u[3])),
            0.5 * std::atan2(u[3], u[2])};
}

class JointFit {
  public:
    JointFit(const std::vector<Star>& stars, const Psf& psf, const PixelNoise& noise) {
        for (const Star& star : stars) {
            if (!star.used || per_star_.size() == most_profiles) continue;
            per_star_.push_back({star.position, {}});
            const double flux = star.flux_adu;
            within(star.given->cutout, star.position, joint_fwhm * psf.fwhm_px(),
                   [&](int x, int y, double adu) {
                       if (!std::isfinite(adu) || hidden(star, x, y, psf.fwhm_px())) return;
                       const double light = adu - star.given->sky_adu, share = psf.share(star.position, x, y);
                       const double variance = noise.variance_adu2(flux * share);
                       if (foreign(light / flux - share, variance / (flux * flux), share)) return;
                       per_star_.back().samples.push_back(
                           {x, y, light, 1.0 / (variance + std::pow(core_mismatch * flux * share, 2))});
                       ++count_;
                   });
        }
    }

    [[nodiscard]] std::optional<MoffatCore> core(const MoffatCore& start) const {
        const CoreUnknowns first = unknowns_of(start);
        numerics::NonlinearOptions options;
        options.most_iterations = 20;
        options.relative_step = 1e-4;  // of a width: far below its error
        options.relative_decrease = 1e-5;
        const auto fit = numerics::nonlinear_fit(
            [&](std::span<const double> u, std::span<double> r) { return residuals(u, r); },
            {first.begin(), first.end()}, count_ + 1, options);
        if (!fit) return std::nullopt;
        return core_from(fit->parameters);
    }

  private:
    struct Sample {
        int x, y;
        double light, weight;
    };
    struct PerStar {
        frame::PixelPosition position;
        std::vector<Sample> samples;
    };

    bool residuals(std::span<const double> u, std::span<double> r) const {
        const MoffatCore core = core_from(u);
        if (!(core.moffat_beta >= least_beta && core.moffat_beta <= most_beta)) return false;
        const auto psf = Psf::make(core);
        if (!psf) return false;
        std::size_t next = 0;
        r[next++] = (core.moffat_beta - usual_beta) / usual_beta_err;
        std::vector<double> shares;
        for (const PerStar& star : per_star_) {
            shares.clear();
            double with_data = 0.0, with_itself = 0.0;
            for (const Sample& s : star.samples) {
                shares.push_back(psf->share(star.position, s.x, s.y));
                with_data += s.weight * shares.back() * s.light;
                with_itself += s.weight * shares.back() * shares.back();
            }
            const double flux = with_itself > 0.0 ? with_data / with_itself : 0.0;
            for (std::size_t k = 0; k < shares.size(); ++k) {
                const Sample& s = star.samples[k];
                r[next++] = std::sqrt(s.weight) * (s.light - flux * shares[k]);
            }
        }
        return true;
    }

    std::vector<PerStar> per_star_;
    std::size_t count_ = 0;
};

}  // namespace

bool foreign(double residual, double variance, double share) {
    return std::abs(residual) >
           sample_sigma * std::sqrt(variance) + sample_slack + core_slack * std::max(share, 0.0);
}

bool hidden(const Star& star, int x, int y, double fwhm) {
    return std::any_of(star.neighbours.begin(), star.neighbours.end(), [&](const frame::PixelPosition& n) {
        return std::hypot(x - n.x, y - n.y) < neighbour_hides_fwhm * fwhm;
    });
}

MoffatCore first_core(const std::vector<StarOfPsf>& stars, double fwhm, const PixelNoise& noise) {
    std::vector<stars::StarProfile> profiles;
    for (const Star& star : stars) {
        if (profiles.size() == most_profiles) break;
        const auto fitted = stars::fit_profile(star.given->cutout, star.position, fwhm, noise.gain_e_per_adu,
                                               noise.sky_scatter_adu * noise.gain_e_per_adu);
        if (fitted) profiles.push_back(*fitted);
    }
    if (profiles.empty()) return {fwhm, usual_beta, 1.0, 0.0};
    const stars::FrameProfile shape = stars::combine(profiles);
    return {shape.fwhm_px, std::clamp(shape.moffat_beta, least_beta, most_beta),
            std::clamp(shape.elongation, 1.0, 5.0), shape.direction.radians()};
}

std::optional<MoffatCore> joint_core(const MoffatCore& start, const std::vector<StarOfPsf>& stars,
                                     const Psf& psf, const PixelNoise& noise) {
    return JointFit(stars, psf, noise).core(start);
}

}  // namespace emberline::photometry
