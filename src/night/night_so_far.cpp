// SPDX-License-Identifier: MIT
// Notation: F flux and σ its error, E the flux that the night expects in a frame, d = σ at F = 0, h what the
// host's model may be wrong by; all in electrons, on the frame's own zero point unless said otherwise.
#include "night/night_so_far.hpp"

#include <algorithm>
#include <cmath>
#include <map>
#include <tuple>

#include "night/combine_frames.hpp"
#include "night/flip_step.hpp"
#include "night/star_noise.hpp"
#include "numerics/robust.hpp"
#include "quantities/magnitude.hpp"

namespace emberline::night {
namespace {

double squared(double x) {
    return x * x;
}

const CommonComponent* host_component(const Measurement& m) {
    for (const CommonComponent& c : m.common) {
        if (c.name.find(host_component_mark) != std::string::npos) return &c;
    }
    return nullptr;
}

// h of a detection; nothing for a limit, whose error holds it already.
std::optional<double> host_err_e(const Measurement& m) {
    if (m.is_limit) return std::nullopt;
    const CommonComponent* host = host_component(m);
    return host == nullptr ? 0.0 : std::abs(host->err_mag) * m.flux_e.value / mag_per_relative_flux;
}

struct Member {
    const FrameMeasurement* measured = nullptr;
    double host_e = 0.0;
    double photon_factor = 1.0, place_err = 0.0;
    frame::PixelPosition position;
    std::size_t place = 0;
    std::vector<double> common_mag;  // one a shared component of the night
};

class Course {
  public:
    Course(const NightMeasurement& night, const std::vector<FrameInSolution>& frames, double limit_sigma)
        : night_(night), limit_sigma_(limit_sigma) {
        for (const CommonComponent& c : night.common) {
            if (c.name.find(host_component_mark) == std::string::npos) shared_.push_back(c);
        }
        of_noise_.assign(shared_.size(), true);
        for (const FrameInSolution& one : frames)
            members_.push_back(member(one));
        number_places();
        find_host_errors();
        for (const Member& m : members_)
            inputs_.push_back(input(m));
        // What the bands of a night share by their colours is in the night's errors and not in its frames'.
        const Sum all = sum(members_.size());
        noise_ = all.relative_err();
        if (night.random_err_mag && noise_ > 0.0)
            by_colour_ = *night.random_err_mag / (mag_per_relative_flux * noise_);
    }

    [[nodiscard]] std::vector<PointSoFar> points() const {
        std::vector<PointSoFar> out;
        for (std::size_t n = 1; n <= members_.size(); ++n)
            out.push_back(point(n));
        return out;
    }

  private:
    struct Sum {
        CombinedFlux mean;
        double host_e = 0.0;
        [[nodiscard]] double relative_err() const { return mean.flux_e.err / mean.flux_e.value; }
    };

    Member member(const FrameInSolution& one) {
        Member out{.measured = one.measured, .position = {}, .common_mag = {}};
        const auto* star = one.fluxes->find(photometry::transient_label);
        const auto k = aperture_in_use(*one.fluxes, *one.measured);
        if (star != nullptr && k) {
            out.photon_factor = one.fluxes->apertures[*k].psf_photon_factor.value_or(1.0);
            out.place_err = place_err(*star, *k);
            out.position = star->position;
        }
        for (std::size_t j = 0; j < shared_.size(); ++j) {
            double err_mag = 0.0;
            for (const CommonComponent& c : one.measured->common) {
                if (c.name != shared_[j].name) continue;
                err_mag = c.err_mag;
                of_noise_[j] = false;
            }
            out.common_mag.push_back(err_mag);
        }
        return out;
    }

    void number_places() {
        std::vector<frame::PixelPosition> positions;
        for (const Member& m : members_)
            positions.push_back(m.position);
        const std::vector<std::size_t> places = numbered_places(positions);
        for (std::size_t i = 0; i < members_.size(); ++i)
            members_[i].place = places[i];
    }

    // To the night's zero point.
    [[nodiscard]] double scale(const Member& m) const {
        return flux_ratio(m.measured->zero_point_mag - night_.zero_point_mag);
    }

    // A limit does not tell its h: the night does, or its other frames; else what is common to frames that
    // average so little.
    void find_host_errors() {
        std::optional<double> usual_e = host_err_e(night_);
        std::vector<double> told;
        for (Member& m : members_) {
            const auto own = host_err_e(*m.measured);
            m.host_e = own.value_or(0.0);
            if (own) told.push_back(*own * scale(m));
        }
        if (!usual_e && !told.empty()) usual_e = numerics::median(told);
        if (!usual_e) usual_e = night_.method.find('-') == std::string::npos ? 0.0 : host_of_limits_e();
        for (Member& m : members_) {
            if (m.measured->is_limit) m.host_e = std::min(*usual_e / scale(m), m.measured->flux_e.err);
        }
    }

    // σ_n² = σ_1²/n + h² of the night, σ_1² + h² of each frame.
    [[nodiscard]] double host_of_limits_e() const {
        const auto n = static_cast<double>(members_.size());
        if (members_.size() < 2) return 0.0;
        double weight = 0.0;
        for (const Member& m : members_)
            weight += 1.0 / squared(m.measured->flux_e.err * scale(m));
        return std::sqrt(std::max(0.0, (squared(night_.flux_e.err) - 1.0 / weight) * n / (n - 1.0)));
    }

    // The error at E and at no light give the noise at any flux.
    [[nodiscard]] StarInFrame input(const Member& m) const {
        const FrameMeasurement& f = *m.measured;
        const double expected_e = std::max(night_.flux_e.value / scale(m), 0.0);
        const double photons = m.photon_factor * expected_e;
        double variance = squared(f.flux_e.err);
        if (f.is_limit) variance = std::max(variance - squared(m.host_e), 0.0);
        double dark = variance - photons;
        if (!f.is_limit && f.limit_mag)
            dark = squared(flux_ratio(*f.limit_mag - f.zero_point_mag) / limit_sigma_) - squared(m.host_e);
        StarInFrame out;
        out.flux_e = f.flux_e.value;
        out.zero_point_mag = f.zero_point_mag;
        out.noise.photon_factor = m.photon_factor;
        out.noise.background_e2 = std::max(dark, 0.0);
        if (expected_e > 0.0) {
            out.noise.fractional =
                std::sqrt(std::max(variance - out.noise.background_e2 - photons, 0.0)) / expected_e;
        }
        return out;
    }

    // Of the first n.
    [[nodiscard]] Sum sum(std::size_t n) const {
        Sum out{combine_frames(std::span(inputs_).first(n))};
        std::vector<PlacedError> placed;
        for (std::size_t i = 0; i < n; ++i) {
            const double share = out.mean.share[i];
            placed.push_back({members_[i].place, share * members_[i].place_err});
            out.host_e +=
                share * members_[i].host_e * flux_ratio(inputs_[i].zero_point_mag - out.mean.zero_point_mag);
        }
        out.mean.flux_e.err = std::hypot(out.mean.flux_e.err, std::max(out.mean.flux_e.value, 0.0) *
                                                                  std::sqrt(shared_place_variance(placed)));
        return out;
    }

    [[nodiscard]] PointSoFar point(std::size_t n) const {
        const Sum so_far = sum(n);
        const Flux& flux = so_far.mean.flux_e;
        PointSoFar out;
        out.jd_utc = members_[n - 1].measured->jd_utc;
        out.frames = static_cast<int>(n);
        const double all_err_e = std::hypot(flux.err, so_far.host_e);
        const bool is_limit = !(flux.value >= limit_sigma_ * all_err_e);
        const double faintest_e = is_limit ? std::max(flux.value, 0.0) + limit_sigma_ * all_err_e
                                           : limit_sigma_ * std::hypot(so_far.mean.dark_err_e, so_far.host_e);
        out.limit_mag = so_far.mean.zero_point_mag - 2.5 * std::log10(faintest_e);
        if (is_limit) return out;
        out.magnitude_mag = so_far.mean.zero_point_mag - 2.5 * std::log10(flux.value);
        out.random_err_mag = mag_per_relative_flux * so_far.relative_err() * by_colour_;
        double common = squared(mag_per_relative_flux * so_far.host_e / flux.value);
        for (std::size_t j = 0; j < shared_.size(); ++j) {
            double err_mag = 0.0;
            for (std::size_t i = 0; i < n; ++i)
                err_mag += so_far.mean.share[i] * members_[i].common_mag[j];
            // The noise of the bands' colour averages as the frames do.
            if (of_noise_[j]) err_mag = shared_[j].err_mag * so_far.relative_err() / noise_;
            common += squared(err_mag);
        }
        out.common_err_mag = std::sqrt(common);
        return out;
    }

    const NightMeasurement& night_;
    double limit_sigma_;
    std::vector<CommonComponent> shared_;  // without the host
    std::vector<bool> of_noise_;           // no frame has it: it comes of the night's noise
    std::vector<Member> members_;
    std::vector<StarInFrame> inputs_;
    double noise_ = 0.0;      // relative, of all frames
    double by_colour_ = 1.0;  // the night's random error over that
};

}  // namespace

std::vector<NightSoFar> night_so_far(const std::vector<photometry::FrameFluxes>& frames,
                                     const Solution& solution, double limit_sigma) {
    std::map<std::tuple<std::string, Band, std::string>, std::vector<FrameInSolution>> groups;
    for (const FrameInSolution& one : frames_in_solution(frames, solution)) {
        const FrameMeasurement& m = *one.measured;
        if (m.used && m.flux_e.err > 0.0) groups[{m.night, m.band, m.instrument}].push_back(one);
    }
    std::vector<NightSoFar> out;
    for (const NightMeasurement& night : solution.nights) {
        NightSoFar& course = out.emplace_back(NightSoFar{night.night, night.band, night.instrument, {}});
        const auto found = groups.find({night.night, night.band, night.instrument});
        if (found != groups.end()) course.points = Course(night, found->second, limit_sigma).points();
    }
    return out;
}

}  // namespace emberline::night
