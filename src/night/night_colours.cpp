// SPDX-License-Identifier: MIT
// Notation: m_X natural magnitude of band X, M_X standard; T_X colour term in the index (b, r) of X, C̄_X the
// colour that it counts from. M_X = m_X + T_X (M_b − M_r − C̄_X) for all bands of a night together is A M = m
// − T C̄, so that M = W (m − T C̄) with W = A⁻¹, and every error of an m_Y comes into M_X by W_XY.
#include "night/night_colours.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <set>

#include "numerics/matrix.hpp"
#include "quantities/magnitude.hpp"

namespace emberline::night {
namespace {

constexpr double nothing_mag = 1e-7;  // common components below it are rounding
// One sigma of an unknown B − V or the like; common practice, no source.
constexpr double unknown_colour_mag = 0.3;
constexpr double least_pivot = 0.05;  // colour terms that all but cancel the colour tell none

// Gauss and Jordan; nothing where the matrix is all but singular.
std::optional<numerics::Matrix> inverse(numerics::Matrix a) {
    const std::size_t n = a.rows();
    numerics::Matrix out(n, n);
    for (std::size_t i = 0; i < n; ++i)
        out(i, i) = 1.0;
    for (std::size_t c = 0; c < n; ++c) {
        std::size_t best = c;
        for (std::size_t r = c + 1; r < n; ++r) {
            if (std::abs(a(r, c)) > std::abs(a(best, c))) best = r;
        }
        if (!(std::abs(a(best, c)) > least_pivot)) return std::nullopt;
        for (std::size_t k = 0; k < n; ++k) {
            std::swap(a(c, k), a(best, k));
            std::swap(out(c, k), out(best, k));
        }
        const double pivot = a(c, c);
        for (std::size_t k = 0; k < n; ++k) {
            a(c, k) /= pivot;
            out(c, k) /= pivot;
        }
        for (std::size_t r = 0; r < n; ++r) {
            const double factor = a(r, c);
            if (r == c || factor == 0.0) continue;
            for (std::size_t k = 0; k < n; ++k) {
                a(r, k) -= factor * a(c, k);
                out(r, k) -= factor * out(c, k);
            }
        }
    }
    return out;
}

std::set<std::string> nights_of(const BandSolution& solution) {
    std::set<std::string> nights;
    for (const JudgedFrame& frame : solution.frames) {
        if (frame.refusal.empty()) nights.insert(frame.fluxes->night);
    }
    return nights;
}

std::vector<std::size_t> used_on(const BandSolution& solution, const std::string& night) {
    std::vector<std::size_t> members;
    for (std::size_t i = 0; i < solution.frames.size(); ++i) {
        if (solution.frames[i].refusal.empty() && solution.frames[i].fluxes->night == night)
            members.push_back(i);
    }
    return members;
}

}  // namespace

std::optional<NightColour> TransientColour::on(const std::string& night) const {
    if (always) return NightColour{{*always, 0.0}, {}, {}};
    const auto found = of_night.find(night);
    return found == of_night.end() ? std::nullopt : std::optional(found->second);
}

void add_components(std::vector<CommonComponent>& to, const std::vector<CommonComponent>& from,
                    double factor) {
    for (const CommonComponent& c : from) {
        const auto same = std::find_if(to.begin(), to.end(),
                                       [&](const CommonComponent& other) { return other.name == c.name; });
        if (same != to.end()) {
            same->err_mag += factor * c.err_mag;
        } else if (std::abs(factor * c.err_mag) >= nothing_mag) {
            to.push_back({c.name, factor * c.err_mag});
        }
    }
}

std::vector<CommonComponent> named_components(const BandSolution& solution, std::vector<double> gradient,
                                              const standard::ColourShift& colour) {
    if (colour.applied) gradient.back() += colour.distance_mag;  // the colour term is the last global
    std::vector<CommonComponent> named;
    const auto add = [&](const std::string& name, double err_mag) {
        if (std::abs(err_mag) >= nothing_mag) named.push_back({name, err_mag});
    };
    const std::vector<std::string>& names = solution.zero_points->global_names;
    const std::string own = fmt::format("{} {}", solution.band.name(), solution.instrument);
    for (std::size_t k = 0; k < names.size(); ++k) {
        double err_mag = 0.0;
        for (std::size_t i = 0; i < names.size(); ++i)
            err_mag += gradient[i] * solution.common.from_priors(i, k);
        // A star's catalogue error is the same for every instrument and for every band put on that sequence.
        const bool star = k < solution.stars.size();
        add(star ? fmt::format("{}: {}", sequence_band(solution.band).name(), names[k])
                 : fmt::format("{}: {}", own, names[k]),
            err_mag);
    }
    const std::vector<double> noise = standard::common_components(solution.common.from_frames, gradient);
    for (std::size_t k = 0; k < noise.size(); ++k)
        add(fmt::format("{}: noise of {}", own, names[k]), noise[k]);
    return named;
}

CommonComponent untold_colour_term(const BandSolution& solution, std::optional<double> colour_mag) {
    const standard::ZeroPoints& zero_points = *solution.zero_points;
    const double term = zero_points.colour_term_fitted
                            ? std::hypot(zero_points.colour_term.value, zero_points.colour_term.err)
                            : solution.colour_term_prior.err;
    const double distance = colour_mag && zero_points.colour_high_mag > zero_points.colour_low_mag
                                ? *colour_mag - zero_points.mean_colour_mag
                                : unknown_colour_mag;
    return {fmt::format("{} {}: colour not corrected", solution.band.name(), solution.instrument),
            term * distance};
}

NightColours::NightColours(const std::vector<BandSolution>& solutions, const Campaign& campaign)
    : campaign_(campaign) {
    for (const BandSolution& solution : solutions) {
        if (!solution.zero_points) continue;
        Member member{&solution, {}};
        for (const std::string& night : nights_of(solution)) {
            const auto star =
                star_over_night(solution, used_on(solution, night), photometry::transient_label);
            if (!star) continue;
            const Flux& flux = star->combined.flux_e;
            if (flux.value < campaign.measure.limit_sigma * flux.err) continue;
            member.nights[night] = {star->combined.zero_point_mag - 2.5 * std::log10(flux.value),
                                    mag_per_relative_flux * flux.err / flux.value, star->gradient};
        }
        members_.push_back(std::move(member));
    }
    // A band itself tells more of itself than one that is put on its sequence: V before TG.
    std::stable_partition(members_.begin(), members_.end(), [](const Member& m) {
        return sequence_band(m.solution->band) == m.solution->band;
    });
}

std::map<Band, NightColours::OnNight> NightColours::observed(const std::string& instrument,
                                                             const std::string& night) const {
    std::map<Band, OnNight> bands;
    for (const Member& member : members_) {
        if (member.solution->instrument != instrument) continue;
        const auto found = member.nights.find(night);
        if (found != member.nights.end())
            bands.try_emplace(sequence_band(member.solution->band), OnNight{member.solution, &found->second});
    }
    return bands;
}

std::optional<NightColour> NightColours::colour(const std::map<Band, OnNight>& bands,
                                                const ColourIndex& index) const {
    const auto place = [&](const Band& band) -> std::optional<std::size_t> {
        const auto found = bands.find(band);
        if (found == bands.end()) return std::nullopt;
        return static_cast<std::size_t>(std::distance(bands.begin(), found));
    };
    const auto blue = place(index.blue), red = place(index.red);
    if (!blue || !red) return std::nullopt;
    const std::size_t n = bands.size();
    numerics::Matrix a(n, n);
    std::vector<double> right, term, counted_from;
    std::vector<std::optional<double>> given;
    std::vector<std::optional<std::pair<std::size_t, std::size_t>>> indices;
    for (const auto& [band, on] : bands) {
        const std::size_t i = right.size();
        const standard::ZeroPoints& zero_points = *on.solution->zero_points;
        const auto own = usual_colour(on.solution->band);
        a(i, i) += 1.0;
        term.push_back(zero_points.colour_term_fitted ? zero_points.colour_term.value : 0.0);
        counted_from.push_back(zero_points.mean_colour_mag);
        given.emplace_back();
        indices.emplace_back();
        right.push_back(on.natural->magnitude_mag);
        if (!own || !zero_points.colour_term_fitted) continue;
        if (const auto set = campaign_.colours.find(own->name()); set != campaign_.colours.end()) {
            given.back() = set->second;
            right.back() += term.back() * (set->second - counted_from.back());
        } else if (const auto b = place(own->blue), r = place(own->red); b && r) {
            indices.back() = std::pair(*b, *r);
            a(i, *b) -= term.back();
            a(i, *r) += term.back();
            right.back() -= term.back() * counted_from.back();
        }
    }
    const auto w = inverse(std::move(a));
    if (!w) return std::nullopt;
    const std::vector<double> standard_mag = numerics::multiply(*w, right);
    NightColour out;
    out.value.value = standard_mag[*blue] - standard_mag[*red];
    double variance = 0.0;
    std::size_t i = 0;
    for (const auto& [band, on] : bands) {
        const double factor = (*w)(*blue, i) - (*w)(*red, i);
        const double noise = factor * on.natural->err_mag;
        out.noise_mag[on.solution->band.name()] = noise;
        variance += noise * noise;
        std::optional<double> known = given[i];
        if (indices[i]) known = standard_mag[indices[i]->first] - standard_mag[indices[i]->second];
        const auto shift = standard::colour_shift(*on.solution->zero_points, known);
        add_components(out.common, named_components(*on.solution, on.natural->gradient, shift), factor);
        if (!shift.applied)
            add_components(out.common, {untold_colour_term(*on.solution, std::nullopt)}, factor);
        ++i;
    }
    out.value.err = std::sqrt(variance);
    return out;
}

TransientColour NightColours::of(const BandSolution& solution) const {
    TransientColour out;
    const auto index = usual_colour(solution.band);
    if (!index) return out;
    out.index = index->name();
    if (const auto given = campaign_.colours.find(out.index); given != campaign_.colours.end()) {
        out.always = given->second;
        return out;
    }
    for (const std::string& night : nights_of(solution)) {
        if (auto told = colour(observed(solution.instrument, night), *index))
            out.of_night.emplace(night, std::move(*told));
    }
    return out;
}

}  // namespace emberline::night
