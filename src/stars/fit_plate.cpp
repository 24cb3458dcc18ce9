// SPDX-License-Identifier: MIT
// Notation: (ξ, η) a star on the tangent plane, arcsec east and north; (u, v) its place from the frame's
// middle in half diagonals. A model is ξ = Σ p_k f_k(u, v), η = Σ q_k f_k(u, v).
#include "stars/fit_plate.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <array>
#include <cmath>
#include <complex>
#include <optional>
#include <string>

#include "frame/write_frame.hpp"
#include "numerics/least_squares.hpp"
#include "numerics/robust.hpp"
#include "stars/match_odds.hpp"
#include "stars/plate_polynomial.hpp"

namespace emberline::stars {
namespace {

constexpr double outlier_sigma = 4.0;       // chance sets aside one good star in 3000 (Rayleigh)
constexpr double least_err_arcsec = 1e-6;   // so that a weight stays finite
constexpr double most_chance = 1e-3;        // that an order raised for nothing would fit as much better
constexpr std::size_t stars_a_term = 3;     // stars for each term of an axis' polynomial
constexpr double most_corner_sigmas = 1.5;  // of one star: the solution's error at the frame's worst corner
constexpr std::size_t most_starts = 100;
constexpr int rounds = 12;

struct Star {
    std::size_t pair = 0;
    double u = 0.0, v = 0.0;
    std::array<double, 2> plane{};  // arcsec
    double err = 0.1;               // arcsec
};

// order 0: square pixels without shear, `turned_over` telling the sign (the usual sky: east is left of
// north).
struct Level {
    int order = 0;
    bool turned_over = false;
    [[nodiscard]] std::size_t parameters() const { return order == 0 ? 4 : 2 * terms_of(order); }
};

struct Model {
    Level level;
    std::vector<double> east, north;  // by terms
    numerics::Matrix covariance;      // order 0: of (a, b, e, f); otherwise of one axis' terms
    double chi2 = 0.0;
    double scatter = 0.0;  // arcsec, beyond the errors
    [[nodiscard]] std::array<double, 2> at(double u, double v) const {
        thread_local std::vector<double> terms;
        fill_terms(std::max(1, level.order), u, v, terms);
        std::array<double, 2> out{};
        for (std::size_t k = 0; k < terms.size(); ++k) {
            out[0] += east[k] * terms[k];
            out[1] += north[k] * terms[k];
        }
        return out;
    }
};

Problem too_few(std::size_t agree, std::size_t given) {
    return {.what = fmt::format("A plate solution needs three stars that agree; of {} pairs {} do.", given,
                                agree),
            .where = "plate solution",
            .mend = "Use a longer exposure, or a catalogue that holds more of the frame's stars."};
}
Problem on_a_line() {
    return {.what = "The stars lie on one line, which leaves the mirror and the scale across it open.",
            .where = "plate solution",
            .mend = "Use a longer exposure, or a catalogue with stars off that line."};
}

class PlateFitter {
  public:
    PlateFitter(std::vector<PlatePair> pairs, int width_px, int height_px, int most_order)
        : pairs_(std::move(pairs)), most_order_(std::clamp(most_order, 1, most_plate_order)) {
        plate_.width_px = width_px;
        plate_.height_px = height_px;
        reach_ = plate_.reach_px();
    }

    Result<PlateFit> run() {
        gather();
        if (stars_.size() < 3) return fail(too_few(stars_.size(), pairs_.size()));
        if (is_line(stars_)) return fail(on_a_line());
        project(middle_of_sky());
        if (stars_.size() < 3) return fail(too_few(stars_.size(), pairs_.size()));
        if (!start()) return fail(too_few(agreeing(), pairs_.size()));
        recentre();
        auto model = settle({0, turned_over_}, used_);
        if (!model || count(used_) < 3) return fail(too_few(count(used_), pairs_.size()));
        raise(*model);
        // The plane is to touch the sky where the frame's middle lies: each round leaves the square of the
        // rest.
        for (int k = 0; k < 4; ++k) {
            set_plate(*model);
            plate_.centre = plate_.sky(plate_.middle());
            project(plate_.centre);
            model = fit(model->level, used_, model->scatter);
            if (!model) return fail(on_a_line());
        }
        set_plate(*model);
        std::vector<Star> used;
        for (std::size_t i = 0; i < stars_.size(); ++i) {
            if (used_[i]) used.push_back(stars_[i]);
        }
        if (used.size() < 3) return fail(too_few(used.size(), pairs_.size()));
        if (is_line(used)) return fail(on_a_line());
        return finish(*model);
    }

  private:
    void gather() {
        for (std::size_t i = 0; i < pairs_.size(); ++i) {
            PlatePair& pair = pairs_[i];
            pair.used = false;
            const bool good = std::isfinite(pair.pixel.x) && std::isfinite(pair.pixel.y) &&
                              std::isfinite(pair.sky.ra.radians()) && std::isfinite(pair.sky.dec.radians()) &&
                              std::isfinite(pair.err_arcsec);
            if (!good) continue;
            Star star;
            star.pair = i;
            star.u = (pair.pixel.x - plate_.middle().x) / reach_;
            star.v = (pair.pixel.y - plate_.middle().y) / reach_;
            star.err = std::max(pair.err_arcsec, least_err_arcsec);
            stars_.push_back(star);
        }
    }

    static bool is_line(const std::vector<Star>& stars) {
        std::vector<std::array<double, 2>> places;
        for (const Star& s : stars)
            places.push_back({s.u, s.v});
        return on_one_line(places);
    }

    // One far-off partner moves a median of directions little.
    [[nodiscard]] SkyPosition middle_of_sky() const {
        std::array<std::vector<double>, 3> xyz;
        for (const Star& star : stars_) {
            const SkyPosition& s = pairs_[star.pair].sky;
            xyz[0].push_back(std::cos(s.dec.radians()) * std::cos(s.ra.radians()));
            xyz[1].push_back(std::cos(s.dec.radians()) * std::sin(s.ra.radians()));
            xyz[2].push_back(std::sin(s.dec.radians()));
        }
        const double x = numerics::median(xyz[0]), y = numerics::median(xyz[1]), z = numerics::median(xyz[2]);
        return {Angle::radians(std::atan2(y, x)), Angle::radians(std::atan2(z, std::hypot(x, y)))};
    }

    // Onto the plane that touches at `centre`; those too far for it are no partners.
    void project(const SkyPosition& centre) {
        plate_.centre = centre;
        std::vector<Star> kept;
        std::vector<bool> used;
        for (std::size_t i = 0; i < stars_.size(); ++i) {
            Star star = stars_[i];
            const SkyPosition& sky = pairs_[star.pair].sky;
            if (!(separation(centre, sky).degrees() < farthest_on_plane_deg)) continue;
            const SkyOffset away = offset(centre, sky);
            star.plane = {away.east.arcseconds(), away.north.arcseconds()};
            kept.push_back(star);
            if (!used_.empty()) used.push_back(used_[i]);
        }
        stars_ = std::move(kept);
        if (!used_.empty()) used_ = std::move(used);
    }

    // A map through two stars, square pixels: the one that leaves the smallest distance that half of the
    // stars, and two more, keep within (least median of squares, Rousseeuw 1984, JASA 79, 871).
    bool start() {
        const std::size_t n = stars_.size();
        const std::size_t half = std::min(n - 1, (n + 2) / 2);  // index of that distance
        const std::size_t all = n * (n - 1) / 2, step = std::max<std::size_t>(1, all / most_starts);
        double best = HUGE_VAL;
        std::size_t number = 0;
        std::vector<double> left(n);
        for (std::size_t i = 0; i < n; ++i) {
            for (std::size_t j = i + 1; j < n; ++j) {
                if (number++ % step != 0) continue;
                for (const bool turned_over : {false, true}) {
                    Model model;
                    if (!through(stars_[i], stars_[j], turned_over, model)) continue;
                    for (std::size_t k = 0; k < n; ++k)
                        left[k] = distance(model, stars_[k]);
                    std::nth_element(left.begin(), left.begin() + static_cast<std::ptrdiff_t>(half),
                                     left.end());
                    if (left[half] < best) {
                        best = left[half];
                        turned_over_ = turned_over;
                        start_ = model;
                    }
                }
            }
        }
        if (!std::isfinite(best)) return false;
        // Generous: the median of two stars' map is wider than that of a fit.
        used_.assign(n, false);
        for (std::size_t k = 0; k < n; ++k)
            used_[k] = distance(start_, stars_[k]) <= 3.0 * best + outlier_sigma * stars_[k].err;
        return count(used_) >= 3;
    }
    bool through(const Star& a, const Star& b, bool turned_over, Model& model) const {
        using Complex = std::complex<double>;
        const double sign = turned_over ? -1.0 : 1.0;
        const Complex z1{a.u, sign * a.v}, z2{b.u, sign * b.v};
        const Complex w1{a.plane[0], a.plane[1]}, w2{b.plane[0], b.plane[1]};
        if (std::abs(z2 - z1) < 1e-3 || std::abs(w2 - w1) < least_err_arcsec) return false;
        const Complex alpha = (w2 - w1) / (z2 - z1), beta = w1 - alpha * z1;
        model.level = {0, turned_over};
        model.east = {beta.real(), alpha.real(), -sign * alpha.imag()};
        model.north = {beta.imag(), alpha.imag(), sign * alpha.real()};
        return true;
    }
    [[nodiscard]] std::size_t agreeing() const { return used_.empty() ? 0 : count(used_); }

    void recentre() {
        set_plate(start_);
        const SkyPosition middle = plate_.sky(plate_.middle());
        if (separation(middle, plate_.centre).degrees() < farthest_on_plane_deg) project(middle);
    }

    [[nodiscard]] static double distance(const Model& model, const Star& star) {
        const auto at = model.at(star.u, star.v);
        return std::hypot(star.plane[0] - at[0], star.plane[1] - at[1]);
    }
    [[nodiscard]] static std::size_t count(const std::vector<bool>& used) {
        return static_cast<std::size_t>(std::count(used.begin(), used.end(), true));
    }

    [[nodiscard]] std::optional<Model> fit(const Level& level, const std::vector<bool>& used,
                                           double scatter) const {
        const std::size_t n = count(used);
        if (2 * n < level.parameters()) return std::nullopt;
        Model model;
        model.level = level;
        model.scatter = scatter;
        return (level.order == 0 ? fit_square(used, n, model) : fit_terms(used, n, model))
                   ? std::optional<Model>(model)
                   : std::nullopt;
    }
    // ξ = a u − s b v + e, η = b u + s a v + f, s = ±1.
    [[nodiscard]] bool fit_square(const std::vector<bool>& used, std::size_t n, Model& model) const {
        const double sign = model.level.turned_over ? -1.0 : 1.0;
        numerics::Matrix design(2 * n, 4);
        std::vector<double> y, weights;
        for (std::size_t i = 0, row = 0; i < stars_.size(); ++i) {
            if (!used[i]) continue;
            const Star& s = stars_[i];
            design(row, 0) = s.u;
            design(row, 1) = -sign * s.v;
            design(row, 2) = 1.0;
            design(row + 1, 0) = sign * s.v;
            design(row + 1, 1) = s.u;
            design(row + 1, 3) = 1.0;
            row += 2;
            y.insert(y.end(), s.plane.begin(), s.plane.end());
            weights.insert(weights.end(), 2, 1.0 / (s.err * s.err + model.scatter * model.scatter));
        }
        const auto found = numerics::linear_fit(design, y, weights);
        if (!found) return false;
        const std::vector<double>& p = found->parameters;
        model.east = {p[2], p[0], -sign * p[1]};
        model.north = {p[3], p[1], sign * p[0]};
        model.covariance = found->covariance;
        model.chi2 = found->chi2;
        return true;
    }
    [[nodiscard]] bool fit_terms(const std::vector<bool>& used, std::size_t n, Model& model) const {
        numerics::Matrix design(n, terms_of(model.level.order));
        std::vector<double> east, north, weights, terms;
        for (std::size_t i = 0; i < stars_.size(); ++i) {
            if (!used[i]) continue;
            const Star& s = stars_[i];
            fill_terms(model.level.order, s.u, s.v, terms);
            for (std::size_t k = 0; k < terms.size(); ++k)
                design(east.size(), k) = terms[k];
            east.push_back(s.plane[0]);
            north.push_back(s.plane[1]);
            weights.push_back(1.0 / (s.err * s.err + model.scatter * model.scatter));
        }
        const auto x = numerics::linear_fit(design, east, weights);
        const auto y = numerics::linear_fit(design, north, weights);
        if (!x || !y) return false;
        model.east = x->parameters;
        model.north = y->parameters;
        model.covariance = x->covariance;
        model.chi2 = x->chi2 + y->chi2;
        return true;
    }

    // What the used ones scatter beyond their errors; their median, so that one wrong partner cannot widen
    // it.
    [[nodiscard]] double scatter_of(const Model& model, const std::vector<bool>& used) const {
        std::vector<double> left, errs;
        for (std::size_t i = 0; i < stars_.size(); ++i) {
            if (!used[i]) continue;
            const auto at = model.at(stars_[i].u, stars_[i].v);
            left.push_back(stars_[i].plane[0] - at[0]);
            left.push_back(stars_[i].plane[1] - at[1]);
            errs.push_back(stars_[i].err);
        }
        const auto values = static_cast<double>(left.size());
        const double free = values - static_cast<double>(model.level.parameters());
        if (free < 1.0) return 0.0;
        const double sigma = numerics::mad_to_sigma * numerics::median_absolute_deviation(left, 0.0) *
                             std::sqrt(values / free);
        const double err = numerics::median(errs);
        return sigma > err ? std::sqrt(sigma * sigma - err * err) : 0.0;
    }

    // Fits, sets aside and takes back until nothing changes.
    [[nodiscard]] std::optional<Model> settle(const Level& level, std::vector<bool>& used) const {
        std::optional<Model> model;
        double scatter = 0.0;
        for (int k = 0; k < rounds; ++k) {
            model = fit(level, used, scatter);
            if (!model) return std::nullopt;
            scatter = scatter_of(*model, used);
            model = fit(level, used, scatter);
            if (!model) return std::nullopt;
            std::vector<bool> next(stars_.size());
            for (std::size_t i = 0; i < stars_.size(); ++i)
                next[i] = distance(*model, stars_[i]) <= outlier_sigma * std::hypot(stars_[i].err, scatter);
            if (next == used || 2 * count(next) < level.parameters()) break;
            used = std::move(next);
        }
        return model;
    }

    // Takes the next order where it explains more than chance, on the same stars with the same errors.
    void raise(Model& model) {
        for (int order = 1; order <= most_order_; ++order) {
            std::vector<bool> used = used_;
            // What the lower order could not follow may be a partner after all.
            for (std::size_t i = 0; i < stars_.size(); ++i) {
                used[i] = used[i] || distance(model, stars_[i]) <=
                                         2.0 * outlier_sigma * std::hypot(stars_[i].err, model.scatter);
            }
            const auto higher = settle({order, turned_over_}, used);
            if (!higher || count(used) < std::max<std::size_t>(4, count(used_))) continue;
            const std::size_t n = count(used);
            if (order > 1 && n < stars_a_term * terms_of(order)) break;
            const auto lower = fit(model.level, used, higher->scatter);
            if (!lower) continue;
            const auto dof = static_cast<double>(2 * n - higher->level.parameters());
            const std::size_t freed = (higher->level.parameters() - model.level.parameters()) / 2;
            if (chance_of_improvement(higher->chi2 / lower->chi2, dof, freed) > most_chance) continue;
            if (order > 1 && (corner_sigmas(*higher, used) > most_corner_sigmas || !can_be_written(*higher)))
                continue;
            model = *higher;
            used_ = std::move(used);
        }
    }
    // One sigma of the solution at the frame's worst place over that of one star.
    [[nodiscard]] double corner_sigmas(const Model& model, const std::vector<bool>& used) const {
        std::vector<double> errs;
        for (std::size_t i = 0; i < stars_.size(); ++i) {
            if (used[i]) errs.push_back(std::hypot(stars_[i].err, model.scatter));
        }
        return worst_err(model) / numerics::median(errs);
    }
    [[nodiscard]] double worst_err(const Model& model) const {
        double most = 0.0;
        std::vector<double> terms;
        for (const double x : {-1.0, -0.5, 0.0, 0.5, 1.0}) {
            for (const double y : {-1.0, -0.5, 0.0, 0.5, 1.0}) {
                const double u = x * plate_.width_px / 2.0 / reach_, v = y * plate_.height_px / 2.0 / reach_;
                if (model.level.order == 0) {
                    terms = {u, -(model.level.turned_over ? -1.0 : 1.0) * v, 1.0, 0.0};
                } else {
                    fill_terms(model.level.order, u, v, terms);
                }
                most = std::max(most, numerics::quadratic_form(model.covariance, terms, terms));
            }
        }
        return std::sqrt(most);
    }
    [[nodiscard]] bool can_be_written(const Model& model) {
        set_plate(model);
        return plate_cards_of(plate_).has_value();
    }
    void set_plate(const Model& model) {
        plate_.order = std::max(1, model.level.order);
        plate_.east = model.east;
        plate_.north = model.north;
    }

    Result<PlateFit> finish(const Model& model) {
        auto cards = plate_cards_of(plate_);
        if (!cards) return fail(on_a_line());
        std::string text;
        for (const frame::Card& card : *cards)
            text += frame::card_text(card);
        auto wcs = frame::Wcs::parse(text);
        if (!wcs) return fail(wcs.error());
        PlateFit out{.cards = std::move(*cards), .wcs = std::move(*wcs), .order = plate_.order, .pairs = {}};
        double squares = 0.0;
        for (std::size_t i = 0; i < stars_.size(); ++i) {
            const auto at = model.at(stars_[i].u, stars_[i].v);
            PlatePair& pair = pairs_[stars_[i].pair];
            pair.east_arcsec = at[0] - stars_[i].plane[0];
            pair.north_arcsec = at[1] - stars_[i].plane[1];
            pair.used = used_[i];
            if (!pair.used) continue;
            ++out.used;
            squares += pair.east_arcsec * pair.east_arcsec + pair.north_arcsec * pair.north_arcsec;
        }
        out.rms_arcsec = std::sqrt(squares / static_cast<double>(out.used));
        out.rms_px = out.rms_arcsec / out.wcs.scale_arcsec_per_px();
        out.worst_err_px = worst_err(model) / out.wcs.scale_arcsec_per_px();
        out.pairs = std::move(pairs_);
        out.polynomial = plate_;
        return out;
    }

    std::vector<PlatePair> pairs_;
    int most_order_;
    PlatePolynomial plate_;
    double reach_ = 1.0;
    std::vector<Star> stars_;
    std::vector<bool> used_;  // by stars_
    bool turned_over_ = false;
    Model start_;
};

}  // namespace

Result<PlateFit> fit_plate(std::vector<PlatePair> pairs, int width_px, int height_px, int most_order) {
    if (width_px < 2 || height_px < 2) {
        return fail(
            {.what = fmt::format("A frame of {} × {} pixels has no plate solution.", width_px, height_px),
             .where = "plate solution",
             .mend = "Give the frame's width and height in pixels."});
    }
    return PlateFitter(std::move(pairs), width_px, height_px, most_order).run();
}

}  // namespace emberline::stars
