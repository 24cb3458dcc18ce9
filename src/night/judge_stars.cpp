// SPDX-License-Identifier: MIT
#include "night/judge_stars.hpp"

#include <algorithm>
#include <cmath>

#include "night/significance.hpp"
#include "night/star_growth.hpp"
#include "night/star_verdict.hpp"
#include "night/star_witness.hpp"

namespace emberline::night {
namespace {

constexpr double accusing_chance = 0.001, doubting_chance = 0.05;  // of a campaign of good stars, each fault
// Looks at each star: nights, frames, a trend up or down; two pairs of circles; too bright or too faint.
constexpr double looks_for_variation = 4.0, looks_for_blends = 2.0, looks_at_catalogue = 2.0;
// Smaller faults do not matter to a light curve, and frames by the hundred would make them significant.
constexpr double notable_variation_mag = 0.01, notable_growth_mag = 0.01, notable_offset_mag = 0.02;
// Floors are known from half the degrees of freedom of the stars that they are the middle of (the variance of
// a median), and from the noise model as if this many more had been seen. Tried: 5 to 20 change no verdict of
// the study.
constexpr double prior_dof = 10.0, share_of_middle = 0.5;
// Catalogue errors are taken at their word as if so many stars had confirmed them.
constexpr double catalogue_dof = 20.0;
// Images differ from place to place on a good sensor, so that the light between two circles does by some
// thousandths; by some hundredths from the middle to the corner in places that are not so good.
constexpr double growth_scatter_mag = 0.004, growth_tilt_mag = 0.02, growth_dof = 6.0;
struct Circles {
    double narrow_fwhm, wide_fwhm;
};
// A companion nearer than about one FWHM shows between the first two, one farther off between the others.
constexpr Circles circles[] = {{0.6, 1.5}, {1.2, 2.5}};
constexpr std::size_t least_trend_nights = 4;

double mean_of(const std::vector<WitnessedNight>& nights, double floor_mag2) {
    double sum = 0.0, weight = 0.0;
    for (const WitnessedNight& night : nights) {
        const double w = 1.0 / (night.variance_mag2 + floor_mag2);
        sum += w * night.magnitude_mag;
        weight += w;
    }
    return weight > 0.0 ? sum / weight : 0.0;
}

class Court {
  public:
    Court(const StarLights& group, const std::vector<bool>& may_witness, std::size_t stars_in_all)
        : group_(group),
          may_witness_(may_witness),
          accused_(accused_from(stars_in_all)),
          doubted_(doubted_from(stars_in_all)) {}

    std::vector<AuditedStar> judge() const {
        std::vector<bool> trusted = may_witness_;
        for (std::size_t i = 0; i < trusted.size(); ++i)
            trusted[i] = trusted[i] && !group_.faint[i];
        const std::vector<bool> able = trusted;
        std::vector<AuditedStar> stars = hear(trusted);
        while (count(trusted) > least_other_stars) {
            const auto worst = worst_of(stars, trusted);
            if (worst == stars.size()) break;
            trusted[worst] = false;
            stars = hear(trusted);
        }
        // Those that were accused beside a worse one, and that the good ones find good.
        bool freed = false;
        for (std::size_t i = 0; i < stars.size(); ++i) {
            if (!able[i] || trusted[i] || excess(stars[i]) >= 1.0) continue;
            trusted[i] = true;
            freed = true;
        }
        if (freed) stars = hear(trusted);
        for (std::size_t i = 0; i < stars.size(); ++i)
            pronounce(stars[i], {accused_, doubted_, count(trusted) - (trusted[i] ? 1 : 0), group_.faint[i]});
        return stars;
    }

  private:
    static std::size_t count(const std::vector<bool>& which) {
        return static_cast<std::size_t>(std::count(which.begin(), which.end(), true));
    }

    // How far the worst of its misfits goes beyond what accuses: 1 at the border.
    [[nodiscard]] double excess(const AuditedStar& star) const {
        return std::max({star.varies_sigma / accused_.varies, star.blended_sigma / accused_.blended,
                         star.catalogue_sigma / accused_.catalogue});
    }

    [[nodiscard]] std::size_t worst_of(const std::vector<AuditedStar>& stars,
                                       const std::vector<bool>& trusted) const {
        std::size_t worst = stars.size();
        for (std::size_t i = 0; i < stars.size(); ++i) {
            if (!trusted[i] || excess(stars[i]) < 1.0) continue;
            if (worst == stars.size() || excess(stars[i]) > excess(stars[worst])) worst = i;
        }
        return worst;
    }

    [[nodiscard]] std::vector<AuditedStar> hear(const std::vector<bool>& trusted) const {
        const Witnesses heard = hear_witnesses(group_, trusted);
        double night_dof = 0.0, frame_dof = 0.0;
        for (std::size_t i = 0; i < heard.stars.size(); ++i) {
            if (!trusted[i]) continue;
            night_dof += share_of_middle *
                         static_cast<double>(std::max<std::size_t>(heard.stars[i].nights.size(), 1) - 1);
            frame_dof += share_of_middle * static_cast<double>(heard.stars[i].within_dof);
        }
        std::vector<AuditedStar> stars;
        for (std::size_t i = 0; i < group_.stars.size(); ++i)
            stars.push_back(variation(i, heard, prior_dof + night_dof, prior_dof + frame_dof));
        look_at_growth(trusted, stars);
        look_at_catalogue(trusted, heard, stars);
        return stars;
    }

    [[nodiscard]] AuditedStar variation(std::size_t i, const Witnesses& heard, double night_dof,
                                        double frame_dof) const {
        const WitnessedStar& seen = heard.stars[i];
        const double floor_mag2 = heard.night_floor_mag * heard.night_floor_mag;
        AuditedStar star;
        star.label = group_.stars[i].label;
        star.band = group_.band;
        star.instrument = group_.instrument;
        star.catalogue_mag = group_.stars[i].catalogue_mag;
        star.catalogue_err_mag = group_.stars[i].catalogue_err_mag;
        star.colour_mag = group_.stars[i].colour_mag;
        star.frames = seen.frames.size();
        for (const WitnessedNight& night : seen.nights) {
            star.nights.push_back({group_.nights[night.night],
                                   night.jd_utc,
                                   {night.magnitude_mag, std::sqrt(night.variance_mag2 + floor_mag2)},
                                   night.frames});
        }
        star.frame_scatter_mag = seen.scatter_mag;
        star.expected_frame_scatter_mag = seen.expected_scatter_mag;
        flagged_share(star);
        const auto significant = [](double scatter, double expected, double sigma) {
            const double beyond_mag2 = scatter * scatter - expected * expected;
            return beyond_mag2 > notable_variation_mag * notable_variation_mag ? std::max(sigma, 0.0) : 0.0;
        };
        if (seen.within_dof > 0) {
            const auto dof = static_cast<double>(seen.within_dof);
            const double rms = seen.expected_scatter_mag * std::sqrt(seen.within_chi2 / dof);
            star.varies_sigma = significant(rms, seen.expected_scatter_mag,
                                            f_in_sigma(seen.within_chi2 / dof, dof, frame_dof));
        }
        const double within_sigma = star.varies_sigma;
        const auto between = [&](const std::vector<WitnessedNight>& nights, std::size_t freedom_lost) {
            const NightScatter s = night_scatter(nights, heard.night_floor_mag);
            if (s.dof <= freedom_lost) return 0.0;
            const auto dof = static_cast<double>(s.dof - freedom_lost);
            return significant(s.rms_mag, s.expected_mag, f_in_sigma(s.chi2 / dof, dof, night_dof));
        };
        const NightScatter nights = night_scatter(seen.nights, heard.night_floor_mag);
        star.night_scatter_mag = nights.rms_mag;
        star.expected_night_scatter_mag = nights.expected_mag;
        star.varies_sigma = std::max(star.varies_sigma, between(seen.nights, 0));
        look_at_trend(seen, floor_mag2, night_dof, star);
        star.varies_sigma_without_seeing = star.varies_sigma;
        if (const Line seeing = seeing_slope(seen); seeing.known) {
            star.seeing_slope_mag = seeing.slope;
            std::vector<WitnessedNight> steadied = seen.nights;
            for (WitnessedNight& night : steadied)
                night.magnitude_mag -= seeing.slope.value * night.log_width;
            star.varies_sigma_without_seeing = std::max(within_sigma, between(steadied, 1));
        }
        return star;
    }

    void flagged_share(AuditedStar& star) const {
        std::size_t seen = 0, flagged = 0;
        for (const LightFrame& frame : group_.frames) {
            const auto* light = frame.fluxes->find(star.label);
            if (light == nullptr) continue;
            ++seen;
            flagged += std::any_of(light->caveats.begin(), light->caveats.end(),
                                   [](const Caveats& c) { return c.has(Caveat::blended); })
                           ? 1
                           : 0;
        }
        if (seen > 0) star.blended_share = static_cast<double>(flagged) / static_cast<double>(seen);
    }

    static void look_at_trend(const WitnessedStar& seen, double floor_mag2, double dof, AuditedStar& star) {
        if (seen.nights.size() < least_trend_nights) return;
        std::vector<double> x, y, weight;
        for (const WitnessedNight& night : seen.nights) {
            x.push_back(night.jd_utc - seen.nights.front().jd_utc);
            y.push_back(night.magnitude_mag);
            weight.push_back(1.0 / (night.variance_mag2 + floor_mag2));
        }
        const Line line = line_through(x, y, weight);
        if (!line.known) return;
        star.trend_mag_per_day = line.slope;
        if (std::abs(line.slope.value) * x.back() < 2.0 * notable_variation_mag) return;
        star.varies_sigma =
            std::max(star.varies_sigma, t_in_sigma(std::abs(line.slope.value) / line.slope.err, dof));
    }

    // From frames, widened where they scatter more than their errors.
    [[nodiscard]] Line seeing_slope(const WitnessedStar& seen) const {
        if (seen.frames.size() < least_frames) return {};
        std::vector<double> x, y, weight;
        for (const WitnessedFrame& frame : seen.frames) {
            x.push_back(group_.frames[frame.frame].log_width);
            y.push_back(frame.magnitude_mag);
            weight.push_back(frame.share / frame.variance_mag2);
        }
        Line line = line_through(x, y, weight);
        if (!line.known) return line;
        double chi2 = 0.0;
        for (std::size_t i = 0; i < x.size(); ++i) {
            const double miss = y[i] - line.mean_y - line.slope.value * (x[i] - line.mean_x);
            chi2 += weight[i] * miss * miss;
        }
        line.slope.err *= std::sqrt(std::max(1.0, chi2 / static_cast<double>(x.size() - 2)));
        return line;
    }

    void look_at_growth(const std::vector<bool>& trusted, std::vector<AuditedStar>& stars) const {
        for (const Circles& pair : circles) {
            const auto growth = growth_of_stars(group_, trusted, pair.narrow_fwhm, pair.wide_fwhm);
            PropertyOfStars property;
            property.trusted = trusted;
            property.scatter_dof = growth_dof;
            double reach_px = 1.0;
            for (const GrowthOfStar& g : growth)
                reach_px = std::max({reach_px, std::abs(g.x_px), std::abs(g.y_px)});
            property.follows = {{{}, {0.0, growth_tilt_mag}}, {{}, {0.0, growth_tilt_mag}}};
            for (const GrowthOfStar& g : growth) {
                property.values.push_back(g.excess_mag);
                property.errs.push_back(std::hypot(g.err_mag, growth_scatter_mag));
                property.known.push_back(g.known);
                property.follows[0].x.push_back(g.x_px / reach_px);
                property.follows[1].x.push_back(g.y_px / reach_px);
            }
            const auto standing = stand_against_others(property);
            for (std::size_t i = 0; i < stars.size(); ++i) {
                if (!standing[i].judged) continue;
                stars[i].growth.push_back({pair.narrow_fwhm,
                                           pair.wide_fwhm,
                                           {standing[i].miss, standing[i].err},
                                           standing[i].sigma});
                if (standing[i].miss < notable_growth_mag) continue;
                stars[i].blended_sigma = std::max(stars[i].blended_sigma, standing[i].sigma);
            }
        }
    }

    void look_at_catalogue(const std::vector<bool>& trusted, const Witnesses& heard,
                           std::vector<AuditedStar>& stars) const {
        const double floor_mag2 = heard.night_floor_mag * heard.night_floor_mag;
        double colour_sum = 0.0, colours = 0.0;
        for (const auto& star : group_.stars) {
            if (!star.colour_mag) continue;
            colour_sum += *star.colour_mag;
            colours += 1.0;
        }
        PropertyOfStars property;
        property.trusted = trusted;
        property.scatter_dof = catalogue_dof;
        // M + δ = m + z + T (C − C̄): the offset before colours falls with T.
        property.follows = {{{}, {-group_.colour_term.value, group_.colour_term.err}}};
        std::vector<double> own_err(stars.size());
        for (std::size_t i = 0; i < stars.size(); ++i) {
            const standard::SolveStar& star = group_.stars[i];
            double weight = 0.0;
            for (const WitnessedNight& night : heard.stars[i].nights)
                weight += 1.0 / (night.variance_mag2 + floor_mag2);
            const double measured_mag2 = weight > 0.0 ? 1.0 / weight : 0.0;
            const double varied =
                stars[i].night_scatter_mag /
                std::sqrt(std::max<double>(1.0, static_cast<double>(stars[i].nights.size())));
            own_err[i] = std::max(std::sqrt(measured_mag2), varied);
            // The catalogue's errors of magnitude and colour come in together.
            const double t = group_.colour_term.value;
            const double catalogue_mag2 = star.catalogue_err_mag * star.catalogue_err_mag +
                                          t * t * star.colour_err_mag * star.colour_err_mag -
                                          2.0 * t * star.colour_covariance_mag2;
            property.values.push_back(heard.stars[i].level_mag);
            property.errs.push_back(std::sqrt(std::max(catalogue_mag2, 1e-6) + own_err[i] * own_err[i]));
            property.known.push_back(weight > 0.0);
            property.follows[0].x.push_back(
                star.colour_mag && colours > 0.0 ? *star.colour_mag - colour_sum / colours : 0.0);
        }
        const auto standing = stand_against_others(property);
        for (std::size_t i = 0; i < stars.size(); ++i) {
            if (!standing[i].judged) continue;
            stars[i].offset_mag = {standing[i].miss, standing[i].err};
            stars[i].offset_before_colour_mag = {property.values[i], property.errs[i]};
            stars[i].measured_err_mag = std::hypot(own_err[i], standing[i].expected_err);
            if (std::abs(standing[i].miss) >= notable_offset_mag)
                stars[i].catalogue_sigma = std::abs(standing[i].sigma);
            // Nights are told from the star's own catalogue magnitude, on the zero point of the others.
            const double shift = standing[i].miss - mean_of(heard.stars[i].nights, floor_mag2);
            for (StarNight& night : stars[i].nights)
                night.residual_mag.value += shift;
        }
    }

    const StarLights& group_;
    const std::vector<bool>& may_witness_;
    AccusedFrom accused_, doubted_;
};

AccusedFrom from_chance(double chance, std::size_t stars) {
    const auto n = static_cast<double>(stars);
    return {sigma_of_chance(chance, looks_for_variation * n), sigma_of_chance(chance, looks_for_blends * n),
            sigma_of_chance(chance, looks_at_catalogue * n)};
}

}  // namespace

AccusedFrom accused_from(std::size_t stars) {
    return from_chance(accusing_chance, stars);
}

AccusedFrom doubted_from(std::size_t stars) {
    return from_chance(doubting_chance, stars);
}

std::vector<AuditedStar> judge_stars(const StarLights& group, const std::vector<bool>& may_witness,
                                     std::size_t stars_in_all) {
    return Court(group, may_witness, stars_in_all).judge();
}

}  // namespace emberline::night
