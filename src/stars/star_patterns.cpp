// SPDX-License-Identifier: MIT
// Notation: places are complex numbers z = x + i y. A pattern's baseline runs between its two stars farthest
// apart, A and B; its code are c = (z_C − z_A)/(z_B − z_A) and d likewise, four real numbers that shift,
// scale and rotation leave alone and that a mirror conjugates (Lang et al. 2010, AJ 139, 1782, section 2, in
// our own arrangement). A map is z' = α z + β, or α z̄ + β where mirrored.
#include "stars/star_patterns.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <complex>
#include <cstdint>

#include "stars/kd_tree.hpp"

namespace emberline::stars {
namespace {

using Complex = std::complex<double>;
using Tree = KdTree<4>;

constexpr std::size_t most_for_all_patterns = 2500;
constexpr std::size_t least_level = 8;       // fewer of the brightest are no level of their own
constexpr std::size_t most_matches = 30000;  // the best so many are asked for their vote
constexpr double agreement = 2.0;            // of two maps, tolerances
constexpr double least_gap = 0.02;           // between stars of one pattern, of its baseline

struct Pattern {
    std::array<std::uint16_t, 4> star{};  // A, B, C, D
    Tree::Point code{};
    double baseline = 0.0;
};

struct Match {
    Complex alpha, beta;
    Complex image;  // of the first side's middle
    double scale = 0.0;
    bool mirrored = false;
    std::array<std::uint16_t, 4> first{}, second{};
    double misfit = 0.0;
};

class Side {
  public:
    Side(const std::vector<frame::PixelPosition>& places, std::size_t most) {
        for (const frame::PixelPosition& p : places) {
            if (z_.size() >= std::min<std::size_t>(most, 65000)) break;
            if (!std::isfinite(p.x) || !std::isfinite(p.y)) continue;
            z_.emplace_back(p.x, p.y);
        }
        leave_out_doubles();
    }
    [[nodiscard]] const std::vector<Complex>& places() const { return z_; }

    // All patterns of so few stars; otherwise each star with its nearest, among all of them, among the
    // brighter half, the brighter quarter…: one side may reach deeper than the other.
    [[nodiscard]] std::vector<Pattern> patterns(std::size_t stars, std::size_t neighbours, double slack,
                                                double shortest, double longest) const {
        std::vector<Pattern> out;
        std::vector<std::uint64_t> keys;
        const std::size_t n = z_.size();
        double all = 1.0;
        for (std::size_t k = 0; k < stars; ++k)
            all *= static_cast<double>(n - std::min(n, k)) / static_cast<double>(k + 1);
        if (all <= static_cast<double>(most_for_all_patterns)) {
            std::vector<std::size_t> everyone(n);
            for (std::size_t i = 0; i < n; ++i)
                everyone[i] = i;
            combine(everyone, stars, false, keys);
        } else {
            for (std::size_t level = n; level >= least_level; level /= 2)
                among_brightest(level, stars, neighbours, longest, keys);
            std::sort(keys.begin(), keys.end());
            keys.erase(std::unique(keys.begin(), keys.end()), keys.end());
        }
        for (const std::uint64_t key : keys)
            read(key, stars, slack, shortest, longest, out);
        return out;
    }

  private:
    void leave_out_doubles() {
        std::vector<KdTree<2>::Point> points;
        double reach = 0.0;
        for (const Complex& z : z_) {
            points.push_back({z.real(), z.imag()});
            reach = std::max(reach, std::abs(z - z_.front()));
        }
        const KdTree<2> tree(points);
        std::vector<Complex> kept;
        for (std::size_t i = 0; i < z_.size(); ++i) {
            bool later = false;
            tree.within(points[i], 1e-6 * reach,
                        [&](const KdTree<2>::Found& f) { later = later || f.index < i; });
            if (!later) kept.push_back(z_[i]);
        }
        z_ = std::move(kept);
    }

    void among_brightest(std::size_t level, std::size_t stars, std::size_t neighbours, double longest,
                         std::vector<std::uint64_t>& keys) const {
        std::vector<KdTree<2>::Point> points(level);
        for (std::size_t i = 0; i < level; ++i)
            points[i] = {z_[i].real(), z_[i].imag()};
        const KdTree<2> tree(points);
        std::vector<std::size_t> group;
        for (std::size_t i = 0; i < level; ++i) {
            group.clear();
            group.push_back(i);
            for (const auto& near : tree.nearest(points[i], neighbours + 1, longest)) {
                if (near.index != i) group.push_back(near.index);
            }
            combine(group, stars, true, keys);
        }
    }

    // Every choice of `stars` out of `group`; with_first: the first is always one of them.
    static void combine(const std::vector<std::size_t>& group, std::size_t stars, bool with_first,
                        std::vector<std::uint64_t>& keys) {
        const std::size_t n = group.size();
        if (n < stars) return;
        std::array<std::size_t, 4> at{0, 1, 2, 3};
        for (;;) {
            std::array<std::size_t, 4> chosen{};
            for (std::size_t k = 0; k < stars; ++k)
                chosen[k] = group[at[k]];
            std::sort(chosen.begin(), chosen.begin() + static_cast<std::ptrdiff_t>(stars));
            std::uint64_t key = 0;
            for (std::size_t k = 0; k < stars; ++k)
                key = key << 16 | chosen[k];
            keys.push_back(key);
            std::size_t k = stars;
            while (k-- > (with_first ? 1U : 0U)) {
                if (at[k] < n - stars + k) break;
            }
            if (k == (with_first ? 0U : std::size_t(-1))) return;
            ++at[k];
            for (std::size_t j = k + 1; j < stars; ++j)
                at[j] = at[j - 1] + 1;
        }
    }

    // The ways to say which star is A, B, C and D: one, or several where two are told apart by less than
    // `slack` and errors may have swapped them.
    void read(std::uint64_t key, std::size_t stars, double slack, double shortest, double longest,
              std::vector<Pattern>& out) const {
        std::array<std::uint16_t, 4> s{};
        for (std::size_t k = stars; k-- > 0; key >>= 16)
            s[k] = static_cast<std::uint16_t>(key & 0xffff);
        double most = 0.0, least = HUGE_VAL;
        for (std::size_t a = 0; a < stars; ++a) {
            for (std::size_t b = a + 1; b < stars; ++b) {
                const double gap = std::norm(z_[s[a]] - z_[s[b]]);
                most = std::max(most, gap);
                least = std::min(least, gap);
            }
        }
        most = std::sqrt(most);
        if (!(most >= shortest) || most > longest || std::sqrt(least) < least_gap * most) return;
        const double near_most = most * most * (1.0 - slack) * (1.0 - slack) * (1.0 - 1e-12);
        for (std::size_t a = 0; a < stars; ++a) {
            for (std::size_t b = 0; b < stars; ++b) {
                if (a == b || std::norm(z_[s[a]] - z_[s[b]]) < near_most) continue;
                std::array<std::size_t, 2> rest{};
                std::size_t count = 0;
                for (std::size_t k = 0; k < stars; ++k) {
                    if (k != a && k != b) rest[count++] = k;
                }
                add(s, a, b, rest[0], rest[1], stars, slack, out);
                if (stars == 4) add(s, a, b, rest[1], rest[0], stars, slack, out);
            }
        }
    }
    void add(const std::array<std::uint16_t, 4>& s, std::size_t a, std::size_t b, std::size_t c,
             std::size_t d, std::size_t stars, double slack, std::vector<Pattern>& out) const {
        const Complex from = z_[s[a]], along = z_[s[b]] - from;
        const Complex over = std::conj(along) / std::norm(along);
        const Complex code_c = (z_[s[c]] - from) * over;
        if (stars == 3) {
            if (code_c.real() > 0.5 + slack) return;
            out.push_back(
                {{s[a], s[b], s[c], s[c]}, {code_c.real(), code_c.imag(), 0.0, 0.0}, std::abs(along)});
            return;
        }
        const Complex code_d = (z_[s[d]] - from) * over;
        if (code_c.real() > code_d.real() + slack || code_c.real() + code_d.real() > 1.0 + slack) return;
        out.push_back({{s[a], s[b], s[c], s[d]},
                       {code_c.real(), code_c.imag(), code_d.real(), code_d.imag()},
                       std::abs(along)});
    }

    std::vector<Complex> z_;
};

// Least squares over pairs of places: α, β of z' = α z + β. `z` already conjugated where mirrored.
void fit_map(const std::vector<Complex>& z, const std::vector<Complex>& to, Complex& alpha, Complex& beta) {
    Complex mean_z = 0.0, mean_to = 0.0, product = 0.0;
    const auto n = static_cast<double>(z.size());
    for (std::size_t i = 0; i < z.size(); ++i) {
        mean_z += z[i] / n;
        mean_to += to[i] / n;
    }
    double square = 0.0;
    for (std::size_t i = 0; i < z.size(); ++i) {
        product += std::conj(z[i] - mean_z) * (to[i] - mean_to);
        square += std::norm(z[i] - mean_z);
    }
    alpha = product / square;
    beta = mean_to - alpha * mean_z;
}

PlaneMap plane_map(const Complex& alpha, const Complex& beta, bool mirrored) {
    const double sign = mirrored ? -1.0 : 1.0;
    return {alpha.real(), -sign * alpha.imag(), alpha.imag(), sign * alpha.real(), beta.real(), beta.imag()};
}

class Matcher {
  public:
    Matcher(const Side& first, const Side& second, const PatternSettings& settings)
        : first_(first.places()), second_(second.places()), settings_(settings) {
        double low_x = HUGE_VAL, high_x = -HUGE_VAL, low_y = HUGE_VAL, high_y = -HUGE_VAL;
        for (const Complex& z : first_) {
            low_x = std::min(low_x, z.real());
            high_x = std::max(high_x, z.real());
            low_y = std::min(low_y, z.imag());
            high_y = std::max(high_y, z.imag());
        }
        middle_ = {(low_x + high_x) / 2.0, (low_y + high_y) / 2.0};
        reach_ = std::hypot(high_x - low_x, high_y - low_y) / 2.0;
        find(first, second);
    }

    [[nodiscard]] std::vector<PatternVote> votes() {
        // By scale, so that a map is compared with its likes alone.
        std::sort(matches_.begin(), matches_.end(),
                  [](const Match& a, const Match& b) { return a.scale < b.scale; });
        std::vector<std::size_t> friends(matches_.size(), 0), order(matches_.size());
        for (std::size_t i = 0; i < matches_.size(); ++i) {
            order[i] = i;
            for_friends(i, [&](std::size_t) { ++friends[i]; });
        }
        std::stable_sort(order.begin(), order.end(), [&](std::size_t a, std::size_t b) {
            return friends[a] != friends[b] ? friends[a] > friends[b]
                                            : matches_[a].misfit < matches_[b].misfit;
        });
        std::vector<bool> taken(matches_.size(), false);
        std::vector<PatternVote> out;
        for (const std::size_t i : order) {
            if (taken[i]) continue;
            if (out.size() >= settings_.most_maps) break;
            std::vector<std::uint32_t> pairs;
            for_friends(i, [&](std::size_t j) {
                if (taken[j] && j != i) return;
                taken[j] = true;
                for (std::size_t k = 0; k < 4; ++k)
                    pairs.push_back(std::uint32_t{matches_[j].first[k]} << 16 | matches_[j].second[k]);
            });
            out.push_back(vote(pairs, matches_[i].mirrored));
        }
        std::stable_sort(out.begin(), out.end(),
                         [](const PatternVote& a, const PatternVote& b) { return a.votes > b.votes; });
        return out;
    }

  private:
    void find(const Side& first, const Side& second) {
        const std::size_t stars =
            settings_.stars_in_pattern >= 4 && first_.size() > 3 && second_.size() > 3 ? 4 : 3;
        if (first_.size() < 3 || second_.size() < 3 || !(reach_ > 0.0)) return;
        const double least_scale = settings_.least_scale > 0.0 ? settings_.least_scale : 0.0;
        const double most_scale = settings_.most_scale > 0.0 ? settings_.most_scale : HUGE_VAL;
        const double slack = 2.0 * settings_.tolerance;
        const std::vector<Pattern> asked = first.patterns(stars, settings_.neighbours, slack, 0.0, HUGE_VAL);
        double shortest = HUGE_VAL, longest = 0.0;
        for (const Pattern& pattern : asked) {
            shortest = std::min(shortest, pattern.baseline);
            longest = std::max(longest, pattern.baseline);
        }
        const std::vector<Pattern> known =
            second.patterns(stars, settings_.neighbours, 0.0, shortest * least_scale * (1.0 - slack),
                            longest * most_scale * (1.0 + slack));
        std::vector<Tree::Point> codes;
        codes.reserve(known.size());
        for (const Pattern& pattern : known)
            codes.push_back(pattern.code);
        const Tree tree(codes);
        for (const Pattern& pattern : asked) {
            for (const bool mirrored : {false, true}) {
                if (settings_.mirrored.value_or(mirrored) != mirrored) continue;
                Tree::Point code = pattern.code;
                if (mirrored) {
                    code[1] = -code[1];
                    code[3] = -code[3];
                }
                tree.within(code, settings_.tolerance, [&](const Tree::Found& found) {
                    const double scale = known[found.index].baseline / pattern.baseline;
                    if (scale < least_scale * (1.0 - slack) || scale > most_scale * (1.0 + slack)) return;
                    keep(pattern, known[found.index], mirrored, stars, found.squared);
                });
            }
        }
        const auto better = [](const Match& a, const Match& b) {
            return a.misfit != b.misfit ? a.misfit < b.misfit : a.first < b.first;
        };
        if (matches_.size() > most_matches) {
            std::nth_element(matches_.begin(), matches_.begin() + most_matches, matches_.end(), better);
            matches_.resize(most_matches);
        }
    }

    void keep(const Pattern& from, const Pattern& to, bool mirrored, std::size_t stars, double misfit) {
        Match match;
        match.mirrored = mirrored;
        match.first = from.star;
        match.second = to.star;
        match.misfit = misfit;
        from_.resize(stars);
        to_.resize(stars);
        for (std::size_t k = 0; k < stars; ++k) {
            from_[k] = mirrored ? std::conj(first_[from.star[k]]) : first_[from.star[k]];
            to_[k] = second_[to.star[k]];
        }
        fit_map(from_, to_, match.alpha, match.beta);
        match.scale = std::abs(match.alpha);
        match.image = match.alpha * (mirrored ? std::conj(middle_) : middle_) + match.beta;
        matches_.push_back(match);
    }

    // Calls with each match that has the same map, itself among them.
    template <class Function>
    void for_friends(std::size_t i, Function&& with) const {
        const Match& m = matches_[i];
        const double near = agreement * settings_.tolerance * m.scale;
        const double turned = near * near, shifted = turned * reach_ * reach_;
        const auto try_one = [&](std::size_t j) {
            const Match& o = matches_[j];
            if (std::abs(o.scale - m.scale) > near) return false;
            if (o.mirrored == m.mirrored && std::norm(o.alpha - m.alpha) <= turned &&
                std::norm(o.image - m.image) <= shifted)
                with(j);
            return true;
        };
        for (std::size_t j = i; j-- > 0;) {
            if (!try_one(j)) break;
        }
        for (std::size_t j = i; j < matches_.size(); ++j) {
            if (!try_one(j)) break;
        }
    }

    [[nodiscard]] PatternVote vote(std::vector<std::uint32_t> pairs, bool mirrored) const {
        std::sort(pairs.begin(), pairs.end());
        pairs.erase(std::unique(pairs.begin(), pairs.end()), pairs.end());
        std::vector<Complex> from, to;
        std::vector<std::uint32_t> firsts, seconds;
        for (const std::uint32_t pair : pairs) {
            const std::uint32_t a = pair >> 16, b = pair & 0xffff;
            from.push_back(mirrored ? std::conj(first_[a]) : first_[a]);
            to.push_back(second_[b]);
            firsts.push_back(a);
            seconds.push_back(b);
        }
        PatternVote out;
        Complex alpha, beta;
        fit_map(from, to, alpha, beta);
        out.map = plane_map(alpha, beta, mirrored);
        for (std::vector<std::uint32_t>* side : {&firsts, &seconds}) {
            std::sort(side->begin(), side->end());
            side->erase(std::unique(side->begin(), side->end()), side->end());
        }
        out.votes = static_cast<double>(std::min(firsts.size(), seconds.size()));
        return out;
    }

    const std::vector<Complex>&first_, &second_;
    const PatternSettings& settings_;
    Complex middle_;
    double reach_ = 0.0;
    std::vector<Match> matches_;
    std::vector<Complex> from_, to_;
};

}  // namespace

std::vector<PatternVote> match_patterns(const std::vector<frame::PixelPosition>& first,
                                        const std::vector<frame::PixelPosition>& second,
                                        const PatternSettings& settings) {
    const Side one(first, settings.most_stars), other(second, settings.most_stars);
    return Matcher(one, other, settings).votes();
}

}  // namespace emberline::stars
