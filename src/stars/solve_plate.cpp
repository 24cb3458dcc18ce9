// SPDX-License-Identifier: MIT
#include "stars/solve_plate.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <utility>

#include "stars/match_odds.hpp"
#include "stars/plate_evidence.hpp"

namespace emberline::stars {
namespace {

constexpr double double_px = 0.5;          // two detections of one star
constexpr std::size_t most_stars = 2000;   // of the picture, brightest first; more add nothing
constexpr double most_worst_err_px = 0.6;  // so that 2 px at the worst corner are more than three sigma
constexpr double distractors = 0.3;        // share of false stars that the odds reckon with
constexpr std::size_t looked_at = 25;      // maps a stage, by the quick look, that are worked out
constexpr double beyond_doubt = 1e-4;      // of what is asked: then no other map is looked at
constexpr int final_rounds = 5;
// Even then other maps are, so many whose quick look is half as telling in ln: two solutions would be none.
constexpr double rival_look = 0.5;
constexpr std::size_t most_rivals = 3;
constexpr double same_px = 2.0;      // two solutions are one where they differ by less, and
constexpr double same_sigmas = 4.0;  // by less than so many of their errors

// What is tried, one after the other: patterns of four first, which seldom agree by chance; of three where
// stars are few. Where references are few their patterns reach farther, up to so many patterns.
struct Stage {
    std::size_t stars, neighbours, most_patterns;
    std::size_t stars_in_pattern;
    double tolerance;
    std::size_t most_references;
    std::size_t most_maps;
};
constexpr std::array stages{Stage{20, 6, 0, 4, 0.01, 600, 100}, Stage{40, 8, 60000, 4, 0.01, 1500, 300},
                            Stage{120, 8, 60000, 4, 0.015, 4000, 500},
                            Stage{30, 12, 60000, 3, 0.01, 1500, 20000}};
constexpr std::size_t most_neighbours = 24;

Problem too_few_stars(std::size_t stars) {
    return {.what = stars == 0
                        ? std::string("The frame has no stars that could be recognised.")
                        : fmt::format("The frame has {} star{}; a plate solution needs at least three.",
                                      stars, stars == 1 ? "" : "s"),
            .where = "plate solution",
            .mend = "Look whether the frame is clouded, trailed or out of focus; expose longer."};
}
Problem too_few_references(std::size_t references) {
    return {.what = fmt::format("{} star{} of known place {} given; a plate solution needs at least three.",
                                references, references == 1 ? "" : "s", references == 1 ? "is" : "are"),
            .where = "plate solution",
            .mend = "Give a solved frame of this field, or a catalogue of it."};
}

Problem too_uncertain(double err_px) {
    return {.what = fmt::format(
                "The stars that agree are too few, or too much in one place: at the frame's edge the "
                "solution would be uncertain by {:.1f} px.",
                err_px),
            .where = "plate solution",
            .mend = "Expose longer, or give a catalogue that holds more of the frame's stars."};
}

Problem ambiguous() {
    return {.what = "Two different solutions fit the frame's stars, each better than chance would.",
            .where = "plate solution",
            .mend =
                "Look whether the frame was exposed twice, or the telescope moved; give the scale, and "
                "whether the picture is mirrored."};
}

std::vector<PictureStar> usable(const std::vector<PictureStar>& stars, std::vector<std::size_t>& source) {
    std::vector<std::size_t> order;
    for (std::size_t i = 0; i < stars.size(); ++i) {
        const PictureStar& s = stars[i];
        if (std::isfinite(s.position.x) && std::isfinite(s.position.y) && std::isfinite(s.err_px))
            order.push_back(i);
    }
    const auto brightness = [&](std::size_t i) {
        return std::isfinite(stars[i].brightness) ? stars[i].brightness : 0.0;
    };
    std::stable_sort(order.begin(), order.end(),
                     [&](std::size_t a, std::size_t b) { return brightness(a) > brightness(b); });
    if (order.size() > most_stars) order.resize(most_stars);
    std::vector<KdTree<2>::Point> places;
    for (const std::size_t i : order)
        places.push_back({stars[i].position.x, stars[i].position.y});
    const KdTree<2> tree(places);
    std::vector<PictureStar> out;
    for (std::size_t k = 0; k < order.size(); ++k) {
        bool again = false;
        tree.within(places[k], double_px, [&](const KdTree<2>::Found& f) { again = again || f.index < k; });
        if (again) continue;
        out.push_back(stars[order[k]]);
        source.push_back(order[k]);
    }
    return out;
}

double log_sum(double a, double b) {
    const double most = std::max(a, b);
    return most == -HUGE_VAL ? most : most + std::log(std::exp(a - most) + std::exp(b - most));
}

class Search {
  public:
    Search(const std::vector<PictureStar>& stars, const std::vector<std::size_t>& source,
           const ReferenceField& field, int width_px, int height_px, const PlateHints& hints)
        : stars_(stars),
          source_(source),
          field_(field),
          width_px_(width_px),
          height_px_(height_px),
          hints_(hints),
          evidence_(stars, width_px, height_px, field) {
        if (hints.scale_arcsec_per_px) {
            least_scale_ = *hints.scale_arcsec_per_px / hints.scale_factor;
            most_scale_ = *hints.scale_arcsec_per_px * hints.scale_factor;
        }
        log_wanted_ = std::log(hints.most_false_probability);
    }

    Result<PlateSolution> run() {
        for (const Stage& stage : stages) {
            if (stage.stars_in_pattern == 4 && (stars_.size() < 4 || field_.size() < 4)) continue;
            if (auto solution = try_stage(stage)) return std::move(*solution);
            if (two_) return fail(ambiguous());
        }
        return fail(refused());
    }

  private:
    // Bright references go with bright stars: no more of them than would lie three times as dense on the sky,
    // where the scale tells.
    [[nodiscard]] std::size_t references_for(const Stage& stage) const {
        double most = static_cast<double>(std::min(stage.most_references, field_.size()));
        if (!field_.has_magnitudes() || most_scale_ == HUGE_VAL) return static_cast<std::size_t>(most);
        const double frame = static_cast<double>(width_px_) * height_px_ * least_scale_ * least_scale_;
        const auto stars = static_cast<double>(std::min(stage.stars, stars_.size()));
        most = std::min(most, std::max(30.0, 3.0 * stars * field_.area_arcsec2() / frame));
        return static_cast<std::size_t>(most);
    }

    [[nodiscard]] static std::size_t neighbours_for(const Stage& stage, std::size_t references) {
        std::size_t k = stage.neighbours;
        const auto patterns = [&](std::size_t n) {  // of the references and of their brighter half, quarter …
            return 2 * references * n * (n - 1) / 2 * (stage.stars_in_pattern == 4 ? n - 2 : 3) / 3;
        };
        while (k < most_neighbours && patterns(k + 1) <= stage.most_patterns)
            ++k;
        return k;
    }

    std::optional<PlateSolution> try_stage(const Stage& stage) {
        const std::size_t references = references_for(stage);
        // Without magnitudes bright ones cannot be chosen: all the stars of the picture, then.
        const std::size_t stars =
            std::min(stars_.size(), field_.has_magnitudes() ? stage.stars : std::size_t{200});
        const Tried tried{stars, references, least_scale_, most_scale_};
        log_maps_ = log_sum(log_maps_, evidence_.log_maps(tried, !hints_.mirrored.has_value()));

        std::vector<frame::PixelPosition> first, second;
        for (std::size_t i = 0; i < stars; ++i)
            first.push_back(stars_[i].position);
        for (std::size_t i = 0; i < references; ++i)
            second.push_back({field_.plane()[i][0], field_.plane()[i][1]});
        PatternSettings settings;
        settings.most_stars = std::max(stars, references);
        settings.least_scale = least_scale_;
        settings.most_scale = most_scale_ == HUGE_VAL ? 0.0 : most_scale_;
        // Seen from below, the usual sky has east left of north: turned over in the plane of east and north.
        if (hints_.mirrored) settings.mirrored = !*hints_.mirrored;
        settings.tolerance = stage.tolerance;
        settings.stars_in_pattern = static_cast<int>(stage.stars_in_pattern);
        settings.neighbours = neighbours_for(stage, references);
        settings.most_maps = stage.most_maps;
        std::vector<std::pair<double, PlaneMap>> maps;
        for (const PatternVote& vote : match_patterns(first, second, settings))
            maps.emplace_back(evidence_.first_look(vote.map), vote.map);
        std::stable_sort(maps.begin(), maps.end(),
                         [](const auto& a, const auto& b) { return a.first < b.first; });
        if (maps.size() > looked_at) maps.resize(looked_at);

        std::optional<PlateSolution> best;
        double best_look = 0.0;
        std::size_t rivals = 0;
        for (const auto& [look, map] : maps) {
            const bool sure = best && best->false_probability < beyond_doubt * hints_.most_false_probability;
            if (sure && (look > rival_look * best_look || ++rivals > most_rivals)) break;
            auto solution = complete(evidence_.refine(map, tried, log_wanted_ - log_maps_), tried);
            if (!solution) continue;
            if (best && differ(*best, *solution)) {
                two_ = true;
                return std::nullopt;
            }
            if (best && best->false_probability <= solution->false_probability) continue;
            best = std::move(solution);
            best_look = look;
        }
        return best;
    }

    // Of a double exposure, or stars in rows, two solutions may each be beyond chance.
    [[nodiscard]] bool differ(const PlateSolution& a, const PlateSolution& b) const {
        const double scale = a.fit.wcs.scale_arcsec_per_px();
        for (const double x : {0.0, width_px_ - 1.0}) {
            for (const double y : {0.0, height_px_ - 1.0}) {
                const double apart_px =
                    separation(a.fit.polynomial.sky({x, y}), b.fit.polynomial.sky({x, y})).arcseconds() /
                    scale;
                if (apart_px > same_px + same_sigmas * std::hypot(a.fit.worst_err_px, b.fit.worst_err_px))
                    return true;
            }
        }
        return false;
    }

    // Fits the plate, looks for partners by it, and again, until they stay the same.
    std::optional<PlateSolution> complete(PlateEvidence::Candidate candidate, const Tried& tried) {
        if (candidate.partners.size() < 3 || candidate.log_chance + log_maps_ > 0.5 * log_wanted_) {
            remember(candidate);
            return std::nullopt;
        }
        std::optional<PlateFit> fit;
        std::size_t before = 0;
        for (int k = 0; k < final_rounds; ++k) {
            auto next = fit_plate(pairs_of(candidate), width_px_, height_px_, hints_.most_order);
            if (!next) {
                flaw_ = next.error();
                return std::nullopt;
            }
            fit = std::move(*next);
            const double scatter = scatter_of(*fit);
            before = candidate.partners.size();
            candidate = evidence_.partners_of(fit->polynomial, scatter, tried, log_wanted_ - log_maps_);
            if (candidate.partners.size() <= before && k > 0) break;
        }
        if (candidate.log_chance + log_maps_ > log_wanted_) {
            remember(candidate);
            return std::nullopt;
        }
        if (fit->worst_err_px > std::max(most_worst_err_px, typical_err_px(*fit))) {
            flaw_ = too_uncertain(fit->worst_err_px);
            return std::nullopt;
        }
        PlateSolution out;
        out.stars_in_field = stars_.size();
        out.references_in_field = candidate.on_frame;
        out.matched = fit->used;
        out.false_probability = std::min(1.0, std::exp(candidate.log_chance + log_maps_));
        out.log_odds = odds_of(*fit, candidate);
        for (PlatePair& pair : fit->pairs) {
            pair.star = source_[pair.star];
            pair.reference = field_.source(pair.reference);
        }
        out.fit = std::move(*fit);
        return out;
    }

    [[nodiscard]] std::vector<PlatePair> pairs_of(const PlateEvidence::Candidate& candidate) const {
        std::vector<PlatePair> out;
        for (const Partner& partner : candidate.partners) {
            PlatePair pair;
            pair.pixel = stars_[partner.star].position;
            pair.sky = field_.star(partner.reference).position;
            pair.err_arcsec =
                evidence_.err_arcsec(partner.star, partner.reference, candidate.scale_arcsec_per_px);
            pair.star = partner.star;
            pair.reference = partner.reference;
            out.push_back(pair);
        }
        return out;
    }

    // What the stars are off beyond their errors, one axis.
    [[nodiscard]] static double scatter_of(const PlateFit& fit) {
        double squares = 0.0, errs = 0.0;
        for (const PlatePair& pair : fit.pairs) {
            if (!pair.used) continue;
            squares += (pair.east_arcsec * pair.east_arcsec + pair.north_arcsec * pair.north_arcsec) / 2.0;
            errs += pair.err_arcsec * pair.err_arcsec;
        }
        // Of few stars the fit took part of it away: at least the four parameters of square pixels.
        const auto n = static_cast<double>(fit.used);
        return std::sqrt(std::max(0.0, squares * n / std::max(1.0, n - 2.0) - errs) / n);
    }

    // Of one star against its reference, one axis: where places are rough, the solution may be so too.
    [[nodiscard]] static double typical_err_px(const PlateFit& fit) {
        double squares = 0.0;
        for (const PlatePair& pair : fit.pairs)
            squares += pair.used ? pair.err_arcsec * pair.err_arcsec : 0.0;
        return std::sqrt(squares / static_cast<double>(fit.used)) / fit.wcs.scale_arcsec_per_px();
    }

    [[nodiscard]] double odds_of(const PlateFit& fit, const PlateEvidence::Candidate& candidate) const {
        const double scale = fit.wcs.scale_arcsec_per_px(), scatter = scatter_of(fit);
        std::vector<StarOnFrame> seen(stars_.size());
        for (const PlatePair& pair : fit.pairs) {
            if (!pair.used) continue;
            const double err = std::hypot(pair.err_arcsec, scatter);
            const double squares =
                pair.east_arcsec * pair.east_arcsec + pair.north_arcsec * pair.north_arcsec;
            seen[pair.star] = {squares / (err * err), err / scale, true};
        }
        return log_odds_of(seen, candidate.on_frame, static_cast<double>(width_px_) * height_px_,
                           distractors);
    }

    // The one that came closest, for the refusal.
    void remember(const PlateEvidence::Candidate& candidate) {
        if (candidate.log_chance >= closest_) return;
        closest_ = candidate.log_chance;
        agreeing_ = candidate.agreeing;
        needed_ = candidate.needed;
    }

    [[nodiscard]] Problem refused() const {
        const std::string mend = fmt::format(
            "Check that the catalogue or the solved frame is of this field{}.{}",
            hints_.scale_arcsec_per_px ? " and that the given scale is right" : "",
            hints_.scale_arcsec_per_px && hints_.mirrored
                ? " A longer exposure, or fainter stars in the catalogue, give more to compare."
                : " Giving the scale, and whether the picture is mirrored, lets fewer stars prove it.");
        if (flaw_) return *flaw_;
        if (agreeing_ < 3) {
            return {.what = fmt::format(
                        "None of the patterns among {} stars of the frame fits the {} references.",
                        stars_.size(), field_.size()),
                    .where = "plate solution",
                    .mend = mend};
        }
        return {.what = fmt::format(
                    "At best {} of {} stars agree with the {} references, which could be chance; {} "
                    "would be needed.",
                    agreeing_, stars_.size(), field_.size(), needed_),
                .where = "plate solution",
                .mend = mend};
    }

    const std::vector<PictureStar>& stars_;
    const std::vector<std::size_t>& source_;
    const ReferenceField& field_;
    int width_px_, height_px_;
    const PlateHints& hints_;
    PlateEvidence evidence_;
    double least_scale_ = 0.0, most_scale_ = HUGE_VAL;
    double log_wanted_ = 0.0, log_maps_ = -HUGE_VAL;
    double closest_ = 0.0;
    std::size_t agreeing_ = 0, needed_ = 0;
    bool two_ = false;
    std::optional<Problem> flaw_;  // of what chance would not give, and that is no solution all the same
};

}  // namespace

Result<PlateSolution> solve_plate(const std::vector<PictureStar>& stars, int width_px, int height_px,
                                  const std::vector<ReferenceStar>& references, const PlateHints& hints) {
    const auto not_above = [](double value, double least) {
        return !(value > least) || !std::isfinite(value);
    };
    if (width_px < 2 || height_px < 2 || !(hints.scale_factor >= 1.0) ||
        (hints.scale_arcsec_per_px && not_above(*hints.scale_arcsec_per_px, 0.0)) ||
        not_above(hints.most_false_probability, 0.0)) {
        return fail(
            {.what = "The frame's size and the hints do not describe a picture: sizes of 2 px and more, a "
                     "scale above 0, a factor of at least 1 and a probability above 0 are needed.",
             .where = "plate solution",
             .mend = "Correct the scale that was given, or leave it out."});
    }
    std::vector<std::size_t> source;
    const std::vector<PictureStar> good = usable(stars, source);
    if (good.size() < 3) return fail(too_few_stars(good.size()));
    const ReferenceField field(references);
    if (field.size() < 3) return fail(too_few_references(field.size()));
    std::vector<std::array<double, 2>> places;
    for (const PictureStar& star : good)
        places.push_back({star.position.x, star.position.y});
    if (on_one_line(places) || on_one_line(field.plane())) {
        return fail({.what = fmt::format("The {} lie on one line, which leaves the mirror open.",
                                         on_one_line(places) ? "frame's stars" : "references"),
                     .where = "plate solution",
                     .mend = "Expose longer for more stars, or give a catalogue of the whole field."});
    }
    return Search(good, source, field, width_px, height_px, hints).run();
}

}  // namespace emberline::stars
