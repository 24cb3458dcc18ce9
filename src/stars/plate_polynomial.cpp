// SPDX-License-Identifier: MIT
// Notation: u, v pixels from the frame's middle; U = u + Σ A_ij u^i v^j, V likewise with B; plane = CD (U,
// V); back: u = U + Σ AP_ij U^i V^j. Inside, u and v are in half diagonals of the frame, so that powers stay
// near 1.
#include "stars/plate_polynomial.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "numerics/least_squares.hpp"

namespace emberline::stars {
namespace {

constexpr int most_inverse_order = 8;
constexpr int fit_grid = 16, check_grid = 23;  // neither a multiple of the other
constexpr double least_width = 0.01;           // of the stars' length: thinner is a line
constexpr double beyond = 1.02;                // the inverse is fitted a little beyond the frame's edge

struct Sip {
    std::vector<double> a, b, ap, bp;  // px by powers of half diagonals; constant and linear terms of a, b: 0
    int inverse_order = 0;
};

double sum_of(const std::vector<double>& coefficients, const std::vector<double>& terms) {
    double sum = 0.0;
    for (std::size_t k = 0; k < coefficients.size(); ++k)
        sum += coefficients[k] * terms[k];
    return sum;
}

// Places over the frame, in half diagonals.
std::vector<std::array<double, 2>> grid_over(const PlatePolynomial& p, int across, double stretch) {
    std::vector<std::array<double, 2>> out;
    const double half_x = stretch * p.width_px / 2.0 / p.reach_px();
    const double half_y = stretch * p.height_px / 2.0 / p.reach_px();
    for (int i = 0; i < across; ++i) {
        for (int j = 0; j < across; ++j)
            out.push_back({half_x * (2.0 * i / (across - 1) - 1.0), half_y * (2.0 * j / (across - 1) - 1.0)});
    }
    return out;
}

class Inverse {
  public:
    Inverse(const PlatePolynomial& plate, Sip& sip) : plate_(plate), sip_(sip), reach_(plate.reach_px()) {}

    // Raises the order until the way back is good enough.
    bool find() {
        for (int order = plate_.order; order <= most_inverse_order; ++order) {
            if (fit(order) && worst() < inverse_px / 2.0) return true;
        }
        return false;
    }

  private:
    // u, v in half diagonals → what the inverse is to say, px, at U, V in half diagonals.
    struct There {
        double u, v, du, dv;
    };
    There forward(const std::array<double, 2>& place) {
        fill_terms(plate_.order, place[0], place[1], terms_);
        const double du = sum_of(sip_.a, terms_), dv = sum_of(sip_.b, terms_);
        return {place[0] + du / reach_, place[1] + dv / reach_, -du, -dv};
    }
    bool fit(int order) {
        const auto places = grid_over(plate_, fit_grid, beyond);
        numerics::Matrix design(places.size(), terms_of(order));
        std::vector<double> du, dv;
        for (std::size_t i = 0; i < places.size(); ++i) {
            const There there = forward(places[i]);
            fill_terms(order, there.u, there.v, terms_);
            for (std::size_t k = 0; k < terms_.size(); ++k)
                design(i, k) = terms_[k];
            du.push_back(there.du);
            dv.push_back(there.dv);
        }
        const auto x = numerics::linear_fit(design, du), y = numerics::linear_fit(design, dv);
        if (!x || !y) return false;
        sip_.ap = x->parameters;
        sip_.bp = y->parameters;
        sip_.inverse_order = order;
        return true;
    }
    double worst() {
        double most = 0.0;
        for (const auto& place : grid_over(plate_, check_grid, 1.0)) {
            const There there = forward(place);
            fill_terms(sip_.inverse_order, there.u, there.v, terms_);
            most = std::max(
                most, std::hypot(sum_of(sip_.ap, terms_) - there.du, sum_of(sip_.bp, terms_) - there.dv));
        }
        return most;
    }

    const PlatePolynomial& plate_;
    Sip& sip_;
    double reach_;
    std::vector<double> terms_;
};

frame::Card text_card(std::string keyword, std::string value, std::string comment) {
    return {std::move(keyword), std::move(value), std::move(comment), true};
}
frame::Card number_card(std::string keyword, double value, std::string comment = {}) {
    return {std::move(keyword), fmt::format("{:.14E}", value), std::move(comment), false};
}

void add_polynomial(const std::string& name, const std::vector<double>& coefficients, int order, int least,
                    double reach_px, std::vector<frame::Card>& out) {
    out.push_back({name + "_ORDER", std::to_string(order), {}, false});
    std::size_t k = 0;
    for (int degree = 0; degree <= order; ++degree) {
        for (int j = 0; j <= degree; ++j, ++k) {
            if (degree < least) continue;
            out.push_back(number_card(fmt::format("{}_{}_{}", name, degree - j, j),
                                      coefficients[k] / std::pow(reach_px, degree)));
        }
    }
}

}  // namespace

void fill_terms(int order, double u, double v, std::vector<double>& out) {
    out.resize(terms_of(order));
    std::size_t k = 0;
    out[k++] = 1.0;
    for (int degree = 1; degree <= order; ++degree) {
        const std::size_t before = k - static_cast<std::size_t>(degree);
        for (int j = 0; j < degree; ++j)
            out[k++] = out[before + static_cast<std::size_t>(j)] * u;
        out[k] = out[before + static_cast<std::size_t>(degree) - 1] * v;
        ++k;
    }
}

double PlatePolynomial::reach_px() const {
    return std::hypot(width_px, height_px) / 2.0;
}

std::array<double, 2> PlatePolynomial::plane(const frame::PixelPosition& p) const {
    thread_local std::vector<double> terms;
    const double reach = reach_px();
    fill_terms(order, (p.x - middle().x) / reach, (p.y - middle().y) / reach, terms);
    return {sum_of(east, terms), sum_of(north, terms)};
}

SkyPosition PlatePolynomial::sky(const frame::PixelPosition& p) const {
    const std::array<double, 2> at = plane(p);
    return displaced(centre, {Angle::arcseconds(at[0]), Angle::arcseconds(at[1])});
}

std::array<std::array<double, 2>, 2> PlatePolynomial::matrix() const {
    const double reach = reach_px();
    return {{{east[1] / reach, east[2] / reach}, {north[1] / reach, north[2] / reach}}};
}

bool on_one_line(const std::vector<std::array<double, 2>>& places) {
    double mean_x = 0.0, mean_y = 0.0, xx = 0.0, xy = 0.0, yy = 0.0;
    for (const auto& p : places) {
        mean_x += p[0] / static_cast<double>(places.size());
        mean_y += p[1] / static_cast<double>(places.size());
    }
    for (const auto& p : places) {
        xx += (p[0] - mean_x) * (p[0] - mean_x);
        xy += (p[0] - mean_x) * (p[1] - mean_y);
        yy += (p[1] - mean_y) * (p[1] - mean_y);
    }
    const double half = (xx + yy) / 2.0, root = std::hypot((xx - yy) / 2.0, xy);
    return !(half - root > least_width * least_width * (half + root));
}

std::optional<std::vector<frame::Card>> plate_cards_of(const PlatePolynomial& p) {
    const auto cd = p.matrix();
    const double determinant = cd[0][0] * cd[1][1] - cd[0][1] * cd[1][0];
    const double largest =
        std::max({std::abs(cd[0][0]), std::abs(cd[0][1]), std::abs(cd[1][0]), std::abs(cd[1][1])});
    if (!(std::abs(determinant) > 1e-5 * largest * largest)) return std::nullopt;
    Sip sip;
    if (p.order > 1) {
        sip.a.assign(terms_of(p.order), 0.0);
        sip.b.assign(terms_of(p.order), 0.0);
        for (std::size_t k = terms_of(1); k < p.east.size(); ++k) {
            sip.a[k] = (cd[1][1] * p.east[k] - cd[0][1] * p.north[k]) / determinant;
            sip.b[k] = (-cd[1][0] * p.east[k] + cd[0][0] * p.north[k]) / determinant;
        }
        if (!Inverse(p, sip).find()) return std::nullopt;
    }
    const std::string kind = p.order > 1 ? "-SIP" : "";
    std::vector<frame::Card> out;
    out.push_back({"WCSAXES", "2", "axes of the plate solution", false});
    out.push_back(text_card("CTYPE1", "RA---TAN" + kind, "right ascension, tangent plane"));
    out.push_back(text_card("CTYPE2", "DEC--TAN" + kind, "declination, tangent plane"));
    out.push_back(text_card("CUNIT1", "deg", ""));
    out.push_back(text_card("CUNIT2", "deg", ""));
    out.push_back({"CRVAL1", fmt::format("{:.13f}", p.centre.ra.wrapped_positive().degrees()),
                   "[deg] at the reference pixel", false});
    out.push_back(
        {"CRVAL2", fmt::format("{:.13f}", p.centre.dec.degrees()), "[deg] at the reference pixel", false});
    out.push_back({"CRPIX1", fmt::format("{:.1f}", p.middle().x + 1.0), "the frame's middle", false});
    out.push_back({"CRPIX2", fmt::format("{:.1f}", p.middle().y + 1.0), "the frame's middle", false});
    for (std::size_t i = 0; i < 2; ++i) {
        for (std::size_t j = 0; j < 2; ++j)
            out.push_back(number_card(fmt::format("CD{}_{}", i + 1, j + 1), cd[i][j] / 3600.0, "[deg/px]"));
    }
    out.push_back(text_card("RADESYS", "ICRS", ""));
    if (p.order > 1) {
        add_polynomial("A", sip.a, p.order, 2, p.reach_px(), out);
        add_polynomial("B", sip.b, p.order, 2, p.reach_px(), out);
        add_polynomial("AP", sip.ap, sip.inverse_order, 0, p.reach_px(), out);
        add_polynomial("BP", sip.bp, sip.inverse_order, 0, p.reach_px(), out);
    }
    return out;
}

}  // namespace emberline::stars
