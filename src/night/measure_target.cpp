// SPDX-License-Identifier: MIT
#include "night/measure_target.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "numerics/robust.hpp"
#include "quantities/magnitude.hpp"

namespace emberline::night {
namespace {

using photometry::StarFlux;

constexpr double check_off_sigma = 3.0;
constexpr double caveat_share = 0.25;  // of a night's frames that carry a caveat for the night to carry it
constexpr double nothing_mag = 1e-7;   // common components below it are rounding
constexpr std::size_t few_stars = 3;

std::map<std::string, std::vector<std::size_t>> used_by_night(const BandSolution& solution) {
    std::map<std::string, std::vector<std::size_t>> nights;
    for (std::size_t i = 0; i < solution.frames.size(); ++i) {
        if (solution.frames[i].refusal.empty()) nights[solution.frames[i].fluxes->night].push_back(i);
    }
    return nights;
}

double quadrature_sum(const std::vector<CommonComponent>& components) {
    double sum = 0.0;
    for (const CommonComponent& c : components)
        sum += c.err_mag * c.err_mag;
    return std::sqrt(sum);
}

struct HostError {
    std::string name;    // empty: none
    double err_e = 0.0;  // one sigma of the flux, shared with all frames of the band
};

// Flux, magnitude or limit; the zero point and the other common errors are set before. What the host's model
// may be wrong by is part of what hides a transient; where it is seen, it is a common error.
void set_light(Measurement& m, Flux flux_e, double dark_err_e, double limit_sigma, const HostError& host) {
    m.flux_e = flux_e;
    const double all_err_e = std::hypot(flux_e.err, host.err_e);
    m.is_limit = !(flux_e.value >= limit_sigma * all_err_e);
    if (m.is_limit) {
        m.flux_e.err = all_err_e;
    } else if (!host.name.empty()) {
        const double err_mag = -mag_per_relative_flux * host.err_e / flux_e.value;
        if (std::abs(err_mag) >= nothing_mag) m.common.push_back({host.name, err_mag});
    }
    flux_e.err = m.flux_e.err;
    dark_err_e = std::hypot(dark_err_e, host.err_e);
    const double faintest_e =
        m.is_limit ? std::max(flux_e.value, 0.0) + limit_sigma * flux_e.err : limit_sigma * dark_err_e;
    m.limit_mag = m.zero_point_mag - 2.5 * std::log10(faintest_e);
    if (m.is_limit) return;
    m.magnitude_mag = m.zero_point_mag - 2.5 * std::log10(flux_e.value);
    m.random_err_mag = mag_per_relative_flux * flux_e.err / flux_e.value;
    m.common_err_mag = quadrature_sum(m.common);
}

void set_comparison(Measurement& m, const BandSolution& solution, const std::vector<std::string>& labels,
                    double natural_zero_point_mag) {
    m.comparison_labels = labels;
    m.n_comparison = static_cast<int>(labels.size());
    double sum = 0.0;
    std::size_t n = 0;
    for (const standard::SolveStar& star : solution.stars) {
        if (std::find(labels.begin(), labels.end(), star.label) == labels.end()) continue;
        sum += star.catalogue_mag;
        ++n;
    }
    if (n == 0) return;
    m.comparison_catalogue_mag = sum / static_cast<double>(n);
    m.comparison_instrumental_mag = *m.comparison_catalogue_mag - natural_zero_point_mag;
}

struct CheckInput {
    const standard::ComparisonStar* star = nullptr;
    std::optional<ValueWithError> catalogue;
    standard::ColourShift colour;
};

CheckInput check_input(const BandSolution& solution, const standard::ComparisonStar* check) {
    CheckInput input;
    input.star = check;
    if (check == nullptr) return input;
    input.catalogue = check->magnitude(sequence_band(solution.band));
    if (const auto index = usual_colour(solution.band)) {
        const auto colour = check->colour(*index);
        input.colour = standard::colour_shift(*solution.zero_points,
                                              colour ? std::optional(colour->value) : std::nullopt);
    }
    return input;
}

CheckStar check_star(const BandSolution& solution, const CheckInput& input, double zero_point_mag,
                     Flux flux_e, const std::vector<double>& gradient, bool& off) {
    CheckStar check;
    off = false;
    check.label = input.star->label;
    if (input.catalogue) check.catalogue_mag = input.catalogue->value;
    if (!(flux_e.value > 0.0)) return check;
    check.instrumental_mag = -2.5 * std::log10(flux_e.value);
    check.magnitude_mag = zero_point_mag + *check.instrumental_mag + input.colour.shift_mag;
    const double common = quadrature_sum(named_components(solution, gradient, input.colour));
    check.err_mag = std::hypot(mag_per_relative_flux * flux_e.err / flux_e.value, common);
    if (!input.catalogue) return check;
    check.residual_mag = *check.magnitude_mag - input.catalogue->value;
    off = std::abs(*check.residual_mag) > check_off_sigma * std::hypot(*check.err_mag, input.catalogue->err);
    return check;
}

Caveats usual_caveats(const BandSolution& solution, const std::optional<NightColour>& on_night) {
    const standard::ZeroPoints& zero_points = *solution.zero_points;
    Caveats caveats = solution.caveats;
    if (sequence_band(solution.band) != solution.band) caveats.add(Caveat::sequence_mixed_band);
    const bool wanted = zero_points.colour_term_fitted || solution.colour_term_prior.err > 0.0;
    if (wanted && (!zero_points.colour_term_fitted || !on_night)) caveats.add(Caveat::colour_unknown);
    if (zero_points.colour_term_fitted && on_night) {
        caveats.add(Caveat::spectrum_not_stellar);
        const double colour = on_night->value.value;
        if (colour < zero_points.colour_low_mag || colour > zero_points.colour_high_mag) {
            caveats.add(Caveat::colour_extrapolated);
        }
    }
    return caveats;
}

// "aperture", "psf", "template-psf", "scene-aperture" …: how the flux was measured, and first by what its
// host was taken away.
std::string method_of(const photometry::FrameFluxes& fluxes, const StarFlux& star, std::size_t aperture) {
    const std::string how = fluxes.apertures[aperture].is_psf() ? "psf" : "aperture";
    return star.host ? fmt::format("{}-{}", word(star.host->method), how) : how;
}

// What a frame says of itself, measured or not.
void describe(FrameMeasurement& m, const photometry::FrameFluxes& fluxes) {
    m.frame = fluxes.frame;
    m.plane = fluxes.plane;
    m.fingerprint = fluxes.fingerprint;
    m.night = fluxes.night;
    m.band = fluxes.band;
    m.instrument = fluxes.instrument;
    m.jd_utc = fluxes.mid_exposure.jd();
    m.bjd_tdb = fluxes.bjd_tdb;
    m.exposure_s = fluxes.exposure_s;
    m.airmass = fluxes.airmass;
    m.fwhm_px = fluxes.fwhm_px;
    m.method = "aperture";
    m.caveats.add(fluxes.caveats);
}

class NightMaker {
  public:
    NightMaker(const BandSolution& solution, const standard::ComparisonStar* check,
               const TransientColour& colour, double limit_sigma)
        : solution_(solution),
          zero_points_(*solution.zero_points),
          colour_(colour),
          check_(check_input(solution, check)),
          limit_sigma_(limit_sigma) {}

    NightMeasurement make(const std::string& date, const std::vector<std::size_t>& members,
                          std::vector<FrameMeasurement>& frames) {
        on_night_ = colour_.on(date);
        const auto told = on_night_ ? std::optional(on_night_->value.value) : std::nullopt;
        shift_ = standard::colour_shift(zero_points_, told);
        untold_colour_term_.reset();
        if (!shift_.applied) untold_colour_term_ = untold_colour_term(solution_, told);
        const auto transient = star_over_night(solution_, members, photometry::transient_label);
        const auto check = check_.star != nullptr ? star_over_night(solution_, members, check_.star->label)
                                                  : std::optional<StarOverNight>();
        NightMeasurement night;
        night.night = date;
        night.caveats = usual_caveats(solution_, on_night_);
        set_common(night);
        for (std::size_t i = 0; i < transient->members.size(); ++i) {
            frames[transient->members[i]] =
                frame(night, transient->members[i], transient->combined.frame_err_e[i],
                      transient->combined.frame_dark_err_e[i], check);
        }
        fill(night, *transient, check, frames);
        return night;
    }

    // Of the night that was made last.
    [[nodiscard]] NoiseOfBands noise(const NightMeasurement& night) const {
        NoiseOfBands out;
        if (!night.random_err_mag) return out;
        if (shift_.applied) {
            for (const auto& [band, noise_mag] : on_night_->noise_mag)
                out[band] = zero_points_.colour_term.value * noise_mag;
        }
        out[solution_.band.name()] += *night.random_err_mag;
        return out;
    }

  private:
    void set_common(Measurement& m) const {
        m.band = solution_.band;
        m.instrument = solution_.instrument;
        m.method = "aperture";
        m.transformed = shift_.applied;
        m.colour_index = colour_.index;
        if (on_night_ && shift_.applied) m.colour_mag = on_night_->value.value;
        if (zero_points_.colour_term_fitted) m.colour_term = zero_points_.colour_term.value;
    }

    [[nodiscard]] std::vector<CommonComponent> common(const std::vector<double>& gradient) const {
        auto named = named_components(solution_, gradient, shift_);
        if (untold_colour_term_) named.push_back(*untold_colour_term_);
        if (shift_.applied) add_components(named, on_night_->common, zero_points_.colour_term.value);
        return named;
    }

    // Of a mean of frames with these shares, on that zero point.
    [[nodiscard]] HostError host_error(const std::vector<std::size_t>& members, double zero_point_mag,
                                       const std::vector<double>& share) const {
        HostError out;
        for (std::size_t i = 0; i < members.size(); ++i) {
            const JudgedFrame& judged = solution_.frames[members[i]];
            const StarFlux& star = *judged.fluxes->find(photometry::transient_label);
            if (!star.host) continue;
            const double scale =
                flux_ratio(zero_points_.frames[*judged.solved].zero_point_mag - zero_point_mag);
            out.err_e += share[i] * scale * star.host->common_err_e[*judged.aperture];
            out.name = fmt::format("{} {}{}{}", solution_.band.name(), solution_.instrument,
                                   host_component_mark, word(star.host->method));
        }
        return out;
    }

    [[nodiscard]] FrameMeasurement frame(const NightMeasurement& night, std::size_t member, double err_e,
                                         double dark_err_e, const std::optional<StarOverNight>& check) const {
        const JudgedFrame& judged = solution_.frames[member];
        const photometry::FrameFluxes& fluxes = *judged.fluxes;
        const standard::FrameZeroPoint& zero = zero_points_.frames[*judged.solved];
        const std::size_t k = *judged.aperture;
        const StarFlux& star = *fluxes.find(photometry::transient_label);
        FrameMeasurement m;
        static_cast<Measurement&>(m) = night;
        describe(m, fluxes);
        m.zero_point_mag = zero.zero_point_mag + shift_.shift_mag;
        m.zero_point_err_mag = zero.random_err_mag;
        m.common = common(zero.gradient);
        // The colour's noise is that of all of the night's frames.
        if (shift_.applied && on_night_->value.err > 0.0) {
            m.common.push_back(
                {fmt::format("colour {} {} {}", colour_.index, solution_.instrument, night.night),
                 zero_points_.colour_term.value * on_night_->value.err});
        }
        m.method = method_of(fluxes, star, k);
        set_light(m, {star.flux_e[k], err_e}, dark_err_e, limit_sigma_,
                  host_error({member}, zero.zero_point_mag, {1.0}));
        set_comparison(m, solution_, judged.comparison_labels, zero.zero_point_mag);
        m.aperture_px = fluxes.apertures[k].radius_px;
        m.aperture_arcsec = m.aperture_px * fluxes.scale_arcsec_per_px;
        m.relative_transparency = judged.relative_transparency;
        m.caveats.add(judged.caveats);
        if (judged.on_nucleus) m.caveats.add(Caveat::on_nucleus);
        m.caveats.add(star.caveats[k]);
        add_check(m, member, zero, check);
        return m;
    }

    void add_check(FrameMeasurement& m, std::size_t member, const standard::FrameZeroPoint& zero,
                   const std::optional<StarOverNight>& check) const {
        m.check = {};
        if (check_.star == nullptr || !check) {
            m.caveats.add(Caveat::no_check_star);
            return;
        }
        const auto at = std::find(check->members.begin(), check->members.end(), member);
        if (at == check->members.end()) {
            m.caveats.add(Caveat::no_check_star);
            return;
        }
        const JudgedFrame& judged = solution_.frames[member];
        const double flux = judged.fluxes->find(check_.star->label)->flux_e[*judged.aperture];
        const double err = check->combined.frame_err_e[static_cast<std::size_t>(at - check->members.begin())];
        bool off = false;
        m.check = check_star(solution_, check_, zero.zero_point_mag, {flux, err}, zero.gradient, off);
        if (!m.check.residual_mag) m.caveats.add(Caveat::no_check_star);
        if (off) m.caveats.add(Caveat::check_star_off);
    }

    void fill(NightMeasurement& night, const StarOverNight& transient,
              const std::optional<StarOverNight>& check, const std::vector<FrameMeasurement>& frames) const {
        const CombinedFlux& combined = transient.combined;
        night.zero_point_mag = combined.zero_point_mag + shift_.shift_mag;
        night.common = common(transient.gradient);
        set_light(night, combined.flux_e, combined.dark_err_e, limit_sigma_,
                  host_error(transient.members, combined.zero_point_mag, combined.share));
        night.chi2 = combined.chi2;
        night.n_frames = static_cast<int>(transient.members.size());
        average(night, transient, frames);
        if (night.n_comparison < static_cast<int>(few_stars)) night.caveats.add(Caveat::few_comparison_stars);
        if (night.n_frames == 1) night.caveats.add(Caveat::single_frame);
        if (combined.scattered) night.caveats.add(Caveat::scattered_frames);
        night.caveats.remove(Caveat::no_check_star);
        night.caveats.remove(Caveat::check_star_off);
        if (!check) {
            night.caveats.add(Caveat::no_check_star);
            return;
        }
        bool off = false;
        // On the transient's zero point, so that the two instrumental magnitudes can be compared.
        const double scale = flux_ratio(check->combined.zero_point_mag - combined.zero_point_mag);
        const Flux flux{check->combined.flux_e.value * scale, check->combined.flux_e.err * scale};
        night.check = check_star(solution_, check_, combined.zero_point_mag, flux, check->gradient, off);
        if (!night.check.residual_mag) night.caveats.add(Caveat::no_check_star);
        if (off) night.caveats.add(Caveat::check_star_off);
    }

    // What a night takes from its frames, each with its share of the mean.
    void average(NightMeasurement& night, const StarOverNight& transient,
                 const std::vector<FrameMeasurement>& frames) const {
        double airmass = 0.0, zero_point_variance = 0.0;
        bool every_airmass = true;
        const double first_jd = frames[transient.members.front()].jd_utc;
        const double first_bjd = frames[transient.members.front()].bjd_tdb;
        double later_jd = 0.0, later_bjd = 0.0;
        night.method = frames[transient.members.front()].method;  // one for a night
        std::vector<double> apertures;
        std::map<std::string, std::size_t> labels;
        std::map<Caveat, std::size_t> caveats;
        for (std::size_t i = 0; i < transient.members.size(); ++i) {
            const FrameMeasurement& m = frames[transient.members[i]];
            const double share = transient.combined.share[i];
            later_jd += share * (m.jd_utc - first_jd);
            later_bjd += share * (m.bjd_tdb - first_bjd);
            if (m.airmass) airmass += share * *m.airmass;
            every_airmass = every_airmass && m.airmass.has_value();
            zero_point_variance += std::pow(share * m.zero_point_err_mag, 2);
            night.exposure_s += m.exposure_s;
            apertures.push_back(m.aperture_arcsec);
            for (const std::string& label : m.comparison_labels)
                ++labels[label];
            for (const Caveat c : m.caveats.list())
                ++caveats[c];
        }
        const auto n = static_cast<double>(transient.members.size());
        night.jd_utc = first_jd + later_jd;
        night.bjd_tdb = first_bjd + later_bjd;
        if (every_airmass) night.airmass = airmass;
        night.zero_point_err_mag = std::sqrt(zero_point_variance);
        night.aperture_arcsec = numerics::median(std::move(apertures));
        for (const auto& [c, times] : caveats) {
            if (static_cast<double>(times) >= caveat_share * n) night.caveats.add(c);
        }
        std::vector<std::string> used;
        for (const standard::SolveStar& star : solution_.stars) {
            const auto found = labels.find(star.label);
            if (found != labels.end() && 2.0 * static_cast<double>(found->second) >= n)
                used.push_back(star.label);
        }
        set_comparison(night, solution_, used, transient.combined.zero_point_mag);
    }

    const BandSolution& solution_;
    const standard::ZeroPoints& zero_points_;
    const TransientColour& colour_;
    CheckInput check_;
    double limit_sigma_;
    standard::ColourShift shift_;
    std::optional<NightColour> on_night_;
    std::optional<CommonComponent> untold_colour_term_;
};

}  // namespace

BandMeasurements measure_transient(const BandSolution& solution, const standard::ComparisonStar* check,
                                   const TransientColour& colour, double limit_sigma) {
    BandMeasurements out;
    std::map<std::string, int> rejected;
    for (const JudgedFrame& frame : solution.frames) {
        FrameMeasurement m;
        describe(m, *frame.fluxes);
        m.used = frame.refusal.empty();
        m.reason = frame.refusal;
        m.relative_transparency = frame.relative_transparency;
        if (!m.used) ++rejected[m.night];
        out.frames.push_back(std::move(m));
    }
    if (!solution.zero_points) return out;
    NightMaker maker(solution, check, colour, limit_sigma);
    for (const auto& [date, members] : used_by_night(solution)) {
        NightMeasurement night = maker.make(date, members, out.frames);
        night.n_rejected = rejected[date];
        out.noise.push_back(maker.noise(night));
        out.nights.push_back(std::move(night));
    }
    return out;
}

}  // namespace emberline::night
