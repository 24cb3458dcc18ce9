// SPDX-License-Identifier: MIT
// stars/plate_evidence — a map from pixels to the sky, supposed from a few stars: which stars have partners
// by it, and how often chance would give as many.
#pragma once

#include <cstddef>
#include <vector>

#include "stars/plate_polynomial.hpp"
#include "stars/plate_stars.hpp"
#include "stars/reference_field.hpp"
#include "stars/star_patterns.hpp"

namespace emberline::stars {

struct Partner {
    std::size_t star = 0, reference = 0;
};

// Which stars and references a supposed map may have come from: what was tried.
struct Tried {
    std::size_t stars = 0, references = 0;  // the brightest so many
    double least_scale = 0.0, most_scale = HUGE_VAL;
};

class PlateEvidence {
  public:
    // `stars` brightest first; both outlive this.
    PlateEvidence(const std::vector<PictureStar>& stars, int width_px, int height_px,
                  const ReferenceField& field);

    // A quick look: ln of the chance that as many of the brightest find a partner anyhow.
    [[nodiscard]] double first_look(const PlaneMap& map) const;

    struct Candidate {
        std::vector<Partner> partners;
        std::size_t on_frame = 0;  // references
        double scale_arcsec_per_px = 0.0;
        // ln of the chance that one map through two stars finds as many partners of the others, the best of
        // the radii that were looked at counted in; 0 where nothing is proven. Times the number of maps that
        // were tried it is the expected number of false solutions.
        double log_chance = 0.0;
        std::size_t agreeing = 0;  // stars at that radius, the two of the map among them
        std::size_t needed = 0;    // for `log_needed`, at the same radius
    };
    // Partners by the map, in rounds in which it is fitted anew and the radius shrinks.
    [[nodiscard]] Candidate refine(const PlaneMap& map, const Tried& tried, double log_needed) const;
    // The same, by a polynomial that is believed already: partners within a few errors and `scatter_arcsec`.
    [[nodiscard]] Candidate partners_of(const PlatePolynomial& plate, double scatter_arcsec,
                                        const Tried& tried, double log_needed) const;

    // Of the distance between the two, one axis.
    [[nodiscard]] double err_arcsec(std::size_t star, std::size_t reference,
                                    double scale_arcsec_per_px) const;

    // ln of the number of maps through two of the stars and two of the references with a scale that is
    // allowed.
    [[nodiscard]] double log_maps(const Tried& tried, bool either_mirror) const;

  private:
    struct Local;
    [[nodiscard]] Local local(const SkyPosition& centre, double scale_arcsec_per_px) const;
    void look_around(Local& local, const PlatePolynomial& plate) const;
    // Their `reference` counts among the local ones; refine and partners_of give it back by the field.
    [[nodiscard]] std::vector<Partner> pair_up(const Local& local, const PlatePolynomial& plate,
                                               double radius_arcsec, double sigmas) const;
    void judge(const Local& local, const PlatePolynomial& plate, const Tried& tried, double log_needed,
               Candidate& candidate) const;
    [[nodiscard]] std::size_t count_on_frame(const Local& local, const PlatePolynomial& plate) const;
    [[nodiscard]] double stated_err_arcsec(std::size_t reference) const;

    const std::vector<PictureStar>& stars_;
    const ReferenceField& field_;
    PlatePolynomial blank_;  // of the frame's size
    double reach_px_ = 1.0;
};

}  // namespace emberline::stars
