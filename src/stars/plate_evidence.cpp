// SPDX-License-Identifier: MIT
// Notation: n stars, m references on a frame of area A. Chance: n places independent of each other and
// anywhere on the frame. A map through two stars and two references leaves n − 2 tries; each succeeds with
// probability p = ρ π r², ρ the references by area, and at least k of them with that of a binomial tail. The
// number of such maps times that tail bounds the expected number of false solutions, whatever else was done
// to find one (Desolneux, Moisan & Morel 2000, IJCV 40, 7).
#include "stars/plate_evidence.hpp"

#include <algorithm>
#include <cmath>
#include <complex>
#include <numbers>

#include "numerics/least_squares.hpp"
#include "numerics/robust.hpp"
#include "stars/match_odds.hpp"

namespace emberline::stars {
namespace {

constexpr std::size_t first_stars = 80;    // of the picture, for the quick look
constexpr std::size_t judged_stars = 300;  // of the picture, for the proof
constexpr double first_radius = 0.006;     // of the frame's diagonal
constexpr double most_chance_hits = 0.1;   // a radius in which chance puts a reference this often is too wide
constexpr int rounds = 6;
constexpr double shrink = 0.7;  // of the radius, from round to round, at least
constexpr double radius_sigmas = 4.0;
constexpr double least_err_px = 0.05;  // stated errors smaller than this are not believed
constexpr std::array judged_sigmas{2.5, 3.5, 5.0, 7.0, 12.0, 24.0, 48.0};  // radii that the proof looks at
constexpr std::size_t most_anchors = 80;    // maps through two partners, for the proof
constexpr std::size_t crowd = 10;           // neighbours that tell how references crowd around a star
constexpr double neighbourhood = 0.1;       // of the frame's shorter side: where crowding is looked for
constexpr std::size_t stars_for_shear = 8;  // below, pixels are taken as square
constexpr std::size_t sampled_references = 150;
constexpr double beyond_doubt = 40.0;     // ln: a proof better by so much is looked for no further
constexpr std::size_t beyond_need = 400;  // where looking for what is needed ends

using Complex = std::complex<double>;

Complex complex_of(const std::array<double, 2>& p) {
    return {p[0], p[1]};
}
Complex complex_of(const frame::PixelPosition& p) {
    return {p.x, p.y};
}

}  // namespace

// References around the supposed middle of the frame, on the plane that touches there.
struct PlateEvidence::Local {
    SkyPosition centre;
    double scale = 1.0;                        // arcsec by pixel
    std::vector<std::size_t> reference;        // index into the field
    std::vector<std::array<double, 2>> plane;  // arcsec
    KdTree<2> tree;
    std::vector<double> crowding;  // by star: references by square arcsec around it
};

PlateEvidence::PlateEvidence(const std::vector<PictureStar>& stars, int width_px, int height_px,
                             const ReferenceField& field)
    : stars_(stars), field_(field) {
    blank_.width_px = width_px;
    blank_.height_px = height_px;
    reach_px_ = blank_.reach_px();
}

double PlateEvidence::first_look(const PlaneMap& map) const {
    const double scale = std::sqrt(std::abs(map.determinant()));
    const std::size_t n = std::min(first_stars, stars_.size());
    const double density = static_cast<double>(field_.size()) / std::max(field_.area_arcsec2(), 1e-9);
    const double radius = std::min(2.0 * first_radius * reach_px_ * scale,
                                   std::sqrt(most_chance_hits / (std::numbers::pi * density)));
    std::size_t hits = 0;
    for (std::size_t i = 0; i < n; ++i) {
        const frame::PixelPosition p = map.apply(stars_[i].position);
        KdTree<2>::Found found;
        if (field_.tree().nearest_one({p.x, p.y}, radius, found)) ++hits;
    }
    const double p = density * std::numbers::pi * radius * radius;
    return hits <= 2 ? 0.0 : log_binomial_tail(n - 2, p, hits - 2);
}

PlateEvidence::Local PlateEvidence::local(const SkyPosition& centre, double scale_arcsec_per_px) const {
    Local out;
    out.centre = centre;
    out.scale = scale_arcsec_per_px;
    const SkyOffset away = offset(field_.origin(), centre);
    // Far from where the large plane touches it is stretched, most towards and from there.
    const double from_origin = separation(field_.origin(), centre).radians();
    const double stretch = 1.0 / (std::cos(from_origin) * std::cos(from_origin));
    field_.tree().within({away.east.arcseconds(), away.north.arcseconds()},
                         1.2 * stretch * reach_px_ * scale_arcsec_per_px,
                         [&](const KdTree<2>::Found& f) { out.reference.push_back(f.index); });
    std::sort(out.reference.begin(), out.reference.end());
    for (const std::size_t i : out.reference) {
        const SkyOffset place = offset(centre, field_.star(i).position);
        out.plane.push_back({place.east.arcseconds(), place.north.arcseconds()});
    }
    out.tree = KdTree<2>(out.plane);
    return out;
}

double PlateEvidence::err_arcsec(std::size_t star, std::size_t reference, double scale) const {
    return std::hypot(std::max(stars_[star].err_px, least_err_px) * scale, stated_err_arcsec(reference));
}
double PlateEvidence::stated_err_arcsec(std::size_t reference) const {
    const double stated = field_.star(reference).err_arcsec;
    return std::isfinite(stated) && stated > 0.0 ? stated : 0.0;
}

// One to one: the nearest reference of each star, and of those that share it the nearest star. Within the
// radius, or so many errors where those are given.
std::vector<Partner> PlateEvidence::pair_up(const Local& local, const PlatePolynomial& plate,
                                            double radius_arcsec, double sigmas) const {
    struct Claim {
        double squared;
        std::size_t star, place;
    };
    std::vector<Claim> claims;
    for (std::size_t i = 0; i < stars_.size(); ++i) {
        KdTree<2>::Found found;
        if (!local.tree.nearest_one(plate.plane(stars_[i].position), HUGE_VAL, found)) continue;
        const double most =
            sigmas > 0.0
                ? sigmas * std::hypot(err_arcsec(i, local.reference[found.index], local.scale), radius_arcsec)
                : radius_arcsec;
        if (found.squared <= most * most) claims.push_back({found.squared, i, found.index});
    }
    std::sort(claims.begin(), claims.end(), [](const Claim& a, const Claim& b) {
        return a.squared != b.squared ? a.squared < b.squared : a.star < b.star;
    });
    std::vector<bool> taken(local.reference.size(), false);
    std::vector<Partner> out;
    for (const Claim& claim : claims) {
        if (taken[claim.place]) continue;
        taken[claim.place] = true;
        out.push_back({claim.star, claim.place});
    }
    std::sort(out.begin(), out.end(), [](const Partner& a, const Partner& b) { return a.star < b.star; });
    return out;
}

namespace {

// A TAN through partners: square pixels for few of them. False: they do not determine it.
bool fit_linear(const std::vector<PictureStar>& stars, const std::vector<std::array<double, 2>>& plane,
                const std::vector<Partner>& partners, bool turned_over, PlatePolynomial& plate) {
    const double reach = plate.reach_px();
    const frame::PixelPosition middle = plate.middle();
    const std::size_t n = partners.size();
    if (n >= stars_for_shear) {
        numerics::Matrix design(n, 3);
        std::vector<double> east, north;
        for (std::size_t i = 0; i < n; ++i) {
            const frame::PixelPosition& p = stars[partners[i].star].position;
            design(i, 0) = 1.0;
            design(i, 1) = (p.x - middle.x) / reach;
            design(i, 2) = (p.y - middle.y) / reach;
            east.push_back(plane[partners[i].reference][0]);
            north.push_back(plane[partners[i].reference][1]);
        }
        const auto x = numerics::linear_fit(design, east), y = numerics::linear_fit(design, north);
        if (!x || !y) return false;
        plate.east = x->parameters;
        plate.north = y->parameters;
        return true;
    }
    Complex mean_z = 0.0, mean_w = 0.0, product = 0.0;
    double square = 0.0;
    const auto at = [&](const Partner& partner) {
        const frame::PixelPosition& p = stars[partner.star].position;
        const Complex z{(p.x - middle.x) / reach, (p.y - middle.y) / reach};
        return turned_over ? std::conj(z) : z;
    };
    for (const Partner& partner : partners) {
        mean_z += at(partner) / static_cast<double>(n);
        mean_w += complex_of(plane[partner.reference]) / static_cast<double>(n);
    }
    for (const Partner& partner : partners) {
        product += std::conj(at(partner) - mean_z) * (complex_of(plane[partner.reference]) - mean_w);
        square += std::norm(at(partner) - mean_z);
    }
    if (!(square > 0.0)) return false;
    const Complex alpha = product / square, beta = mean_w - alpha * mean_z;
    const double sign = turned_over ? -1.0 : 1.0;
    plate.east = {beta.real(), alpha.real(), -sign * alpha.imag()};
    plate.north = {beta.imag(), alpha.imag(), sign * alpha.real()};
    return true;
}

}  // namespace

PlateEvidence::Candidate PlateEvidence::refine(const PlaneMap& map, const Tried& tried,
                                               double log_needed) const {
    const double scale = std::sqrt(std::abs(map.determinant()));
    if (!(scale > 0.0) || !(scale * reach_px_ < farthest_on_plane_deg * 3600.0)) return {};
    const auto sky = [&](const frame::PixelPosition& p) {
        const frame::PixelPosition on_plane = map.apply(p);
        return displaced(field_.origin(), {Angle::arcseconds(on_plane.x), Angle::arcseconds(on_plane.y)});
    };
    PlatePolynomial plate = blank_;
    const frame::PixelPosition middle = plate.middle();
    plate.centre = sky(middle);
    Local around = local(plate.centre, scale);
    if (around.reference.size() < 3) return {};
    const SkyOffset right = offset(plate.centre, sky({middle.x + reach_px_, middle.y}));
    const SkyOffset up = offset(plate.centre, sky({middle.x, middle.y + reach_px_}));
    plate.east = {0.0, right.east.arcseconds(), up.east.arcseconds()};
    plate.north = {0.0, right.north.arcseconds(), up.north.arcseconds()};
    const bool turned_over = map.determinant() < 0.0;

    look_around(around, plate);

    const double density = static_cast<double>(std::max<std::size_t>(count_on_frame(around, plate), 3)) /
                           (static_cast<double>(plate.width_px) * plate.height_px * scale * scale);
    double radius = std::min(2.0 * first_radius * reach_px_ * scale,
                             std::sqrt(most_chance_hits / (std::numbers::pi * density)));
    Candidate best;
    for (int k = 0; k < rounds; ++k) {
        Candidate candidate;
        candidate.partners = pair_up(around, plate, radius, 0.0);
        const std::size_t n = candidate.partners.size();
        if (n < 3 || !fit_linear(stars_, around.plane, candidate.partners, turned_over, plate)) break;
        candidate.on_frame = count_on_frame(around, plate);
        candidate.scale_arcsec_per_px = scale;
        judge(around, plate, tried, log_needed, candidate);
        std::vector<double> left, errs;
        for (const Partner& partner : candidate.partners) {
            const auto at = plate.plane(stars_[partner.star].position);
            left.push_back(at[0] - around.plane[partner.reference][0]);
            left.push_back(at[1] - around.plane[partner.reference][1]);
            errs.push_back(err_arcsec(partner.star, around.reference[partner.reference], scale));
        }
        // What few stars leave of their own fit is too little.
        const double values = 2.0 * static_cast<double>(n);
        const double sigma = numerics::mad_to_sigma * numerics::median_absolute_deviation(left, 0.0) *
                             std::sqrt(values / (values - (n >= stars_for_shear ? 6.0 : 4.0)));
        radius = std::clamp(radius_sigmas * std::max(sigma, numerics::median(errs)), 1e-9, shrink * radius);
        // Rounds may lose stars again.
        const bool better = candidate.log_chance < best.log_chance ||
                            (candidate.log_chance <= best.log_chance && n >= best.partners.size());
        if (k == 0 || better) best = std::move(candidate);
    }
    for (Partner& partner : best.partners)
        partner.reference = around.reference[partner.reference];
    return best;
}

PlateEvidence::Candidate PlateEvidence::partners_of(const PlatePolynomial& plate, double scatter_arcsec,
                                                    const Tried& tried, double log_needed) const {
    const auto cd = plate.matrix();
    const double scale = std::sqrt(std::abs(cd[0][0] * cd[1][1] - cd[0][1] * cd[1][0]));
    Local around = local(plate.centre, scale);
    look_around(around, plate);
    Candidate candidate;
    candidate.partners = pair_up(around, plate, scatter_arcsec, radius_sigmas);
    candidate.on_frame = count_on_frame(around, plate);
    candidate.scale_arcsec_per_px = scale;
    judge(around, plate, tried, log_needed, candidate);
    for (Partner& partner : candidate.partners)
        partner.reference = around.reference[partner.reference];
    return candidate;
}

// Where references crowd, in a cluster or on a galaxy, a star meets one by chance more often. Its own
// partner, if it has one, is no crowd: so the nearest is left out.
void PlateEvidence::look_around(Local& local, const PlatePolynomial& plate) const {
    const std::size_t n = std::min(judged_stars, stars_.size());
    const double wide = neighbourhood * std::min(plate.width_px, plate.height_px) * local.scale;
    local.crowding.assign(n, 0.0);
    for (std::size_t i = 0; i < n; ++i) {
        const auto near = local.tree.nearest(plate.plane(stars_[i].position), crowd + 1, wide);
        if (near.size() < 2) continue;
        // Of n places within r the last one defines r: n − 1 of them tell the density. Fewer than asked for:
        // all within the whole neighbourhood.
        const bool full = near.size() == crowd + 1;
        const double area = std::numbers::pi * (full ? near.back().squared : wide * wide);
        local.crowding[i] = static_cast<double>(near.size() - (full ? 2 : 1)) / std::max(area, 1e-12);
    }
}

// By the linear part, which is good enough to count.
std::size_t PlateEvidence::count_on_frame(const Local& local, const PlatePolynomial& plate) const {
    const auto cd = plate.matrix();
    const double determinant = cd[0][0] * cd[1][1] - cd[0][1] * cd[1][0];
    std::size_t count = 0;
    for (const auto& p : local.plane) {
        const double east = p[0] - plate.east[0], north = p[1] - plate.north[0];
        const double x = (cd[1][1] * east - cd[0][1] * north) / determinant;
        const double y = (-cd[1][0] * east + cd[0][0] * north) / determinant;
        if (std::abs(x) <= plate.width_px / 2.0 && std::abs(y) <= plate.height_px / 2.0) ++count;
    }
    return count;
}

void PlateEvidence::judge(const Local& local, const PlatePolynomial& plate, const Tried& tried,
                          double log_needed, Candidate& candidate) const {
    const std::size_t n = std::min(judged_stars, stars_.size());
    if (candidate.partners.size() < 3 || n < 3) return;
    const double scale = local.scale;
    const double area = static_cast<double>(plate.width_px) * plate.height_px * scale * scale;
    const double everywhere = static_cast<double>(std::max<std::size_t>(candidate.on_frame, 1)) / area;

    std::vector<double> density(n), err(n);
    double squares = 0.0;
    for (const std::size_t i : local.reference)
        squares += std::pow(stated_err_arcsec(i), 2) / static_cast<double>(local.reference.size());
    for (std::size_t i = 0; i < n; ++i) {
        density[i] = std::max(everywhere, local.crowding[i]);
        err[i] = std::hypot(std::max(stars_[i].err_px, least_err_px) * scale, std::sqrt(squares));
    }

    // Maps through two partners that are among what was tried, far apart ones first.
    std::vector<Partner> anchors;
    for (const Partner& partner : candidate.partners) {
        if (partner.star < tried.stars && local.reference[partner.reference] < tried.references)
            anchors.push_back(partner);
    }
    struct Pair {
        double squared;
        std::size_t a, b;
    };
    std::vector<Pair> pairs;
    for (std::size_t a = 0; a < anchors.size(); ++a) {
        for (std::size_t b = a + 1; b < anchors.size(); ++b) {
            pairs.push_back({std::norm(complex_of(stars_[anchors[a].star].position) -
                                       complex_of(stars_[anchors[b].star].position)),
                             a, b});
        }
    }
    std::stable_sort(pairs.begin(), pairs.end(),
                     [](const Pair& a, const Pair& b) { return a.squared > b.squared; });
    // Of many, every so manieth of the longer half.
    if (pairs.size() > most_anchors) {
        const std::size_t step = std::max<std::size_t>(1, pairs.size() / (2 * most_anchors));
        std::vector<Pair> some;
        for (std::size_t k = 0; k < pairs.size() && some.size() < most_anchors; k += step)
            some.push_back(pairs[k]);
        pairs = std::move(some);
    }
    const auto cd = plate.matrix();
    const bool turned_over = cd[0][0] * cd[1][1] - cd[0][1] * cd[1][0] < 0.0;
    const auto place = [&](std::size_t star) {
        const Complex z = complex_of(stars_[star].position);
        return turned_over ? std::conj(z) : z;
    };
    struct Hit {
        double sigmas;
        std::size_t reference;
    };
    std::vector<Hit> hits;
    std::vector<bool> seen(local.reference.size());
    double best = 0.0, best_p = 1.0;
    for (const Pair& pair : pairs) {
        if (best < log_needed - beyond_doubt) break;
        const Partner &a = anchors[pair.a], &b = anchors[pair.b];
        const Complex w = complex_of(local.plane[a.reference]);
        const Complex alpha = (complex_of(local.plane[b.reference]) - w) / (place(b.star) - place(a.star));
        if (!(std::abs(alpha) >= tried.least_scale && std::abs(alpha) <= tried.most_scale)) continue;
        hits.clear();
        for (std::size_t i = 0; i < n; ++i) {
            if (i == a.star || i == b.star) continue;
            const Complex to = w + alpha * (place(i) - place(a.star));
            KdTree<2>::Found found;
            if (!local.tree.nearest_one({to.real(), to.imag()}, HUGE_VAL, found)) continue;
            if (found.index == a.reference || found.index == b.reference) continue;
            const double sigma = err_arcsec(i, local.reference[found.index], scale);
            hits.push_back({std::sqrt(found.squared) / sigma, found.index});
        }
        std::sort(hits.begin(), hits.end(), [](const Hit& l, const Hit& r) { return l.sigmas < r.sigmas; });
        std::fill(seen.begin(), seen.end(), false);
        std::size_t next = 0, count = 0;
        for (const double sigmas : judged_sigmas) {
            for (; next < hits.size() && hits[next].sigmas <= sigmas; ++next) {
                if (!seen[hits[next].reference]) ++count;
                seen[hits[next].reference] = true;
            }
            if (count == 0) continue;
            // Of unequal chances the mean gives the widest tail (Hoeffding 1956, Ann. Math. Stat. 27, 713).
            double p = 0.0;
            for (std::size_t i = 0; i < n; ++i) {
                const double radius = sigmas * err[i];
                p += std::min(1.0, density[i] * std::numbers::pi * radius * radius) / static_cast<double>(n);
            }
            const double log_tail =
                std::log(static_cast<double>(judged_sigmas.size())) + log_binomial_tail(n - 2, p, count);
            if (log_tail < best) {
                best = log_tail;
                best_p = p;
                candidate.agreeing = count + 2;
            }
        }
    }
    candidate.log_chance = best;
    for (std::size_t k = 1; k <= beyond_need; ++k) {
        candidate.needed = k + 2;
        if (std::log(static_cast<double>(judged_sigmas.size())) +
                log_binomial_tail(std::max(n - 2, k), best_p, k) <
            log_needed)
            break;
    }
}

double PlateEvidence::log_maps(const Tried& tried, bool either_mirror) const {
    std::vector<double> lengths;
    const std::size_t n = std::min(tried.stars, stars_.size()), m = std::min(tried.references, field_.size());
    for (std::size_t i = 0; i < n; ++i) {
        for (std::size_t j = i + 1; j < n; ++j)
            lengths.push_back(
                std::sqrt(std::norm(complex_of(stars_[i].position) - complex_of(stars_[j].position))));
    }
    std::sort(lengths.begin(), lengths.end());
    // Of many references every so manieth, which tells what share of pairs has a scale that is allowed.
    const std::size_t step = std::max<std::size_t>(1, m / sampled_references);
    double allowed = 0.0, looked = 0.0;
    for (std::size_t p = 0; p < m; p += step) {
        for (std::size_t q = p + step; q < m; q += step) {
            const double length =
                std::sqrt(std::norm(complex_of(field_.plane()[p]) - complex_of(field_.plane()[q])));
            const auto low = std::lower_bound(lengths.begin(), lengths.end(), length / tried.most_scale);
            const auto high = tried.least_scale > 0.0
                                  ? std::upper_bound(low, lengths.end(), length / tried.least_scale)
                                  : lengths.end();
            allowed += static_cast<double>(high - low);
            looked += 1.0;
        }
    }
    if (!(looked > 0.0)) return 0.0;
    const double ordered_pairs = static_cast<double>(m) * static_cast<double>(m - 1);
    return std::log(std::max(1.0, allowed / looked * ordered_pairs * (either_mirror ? 2.0 : 1.0)));
}

}  // namespace emberline::stars
