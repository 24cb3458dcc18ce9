// SPDX-License-Identifier: MIT
#include "night/star_verdict.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>

namespace emberline::night {
namespace {

constexpr double telling_sigma = 4.0;  // of a slope that is spoken of
constexpr double mostly = 0.5;         // of a star's frames

std::string offset_words(const AuditedStar& star) {
    return star.offset_mag ? fmt::format("{:+.3f} ± {:.3f} mag from its catalogue magnitude",
                                         star.offset_mag->value, star.offset_mag->err)
                           : std::string("not to be compared with its catalogue magnitude");
}

std::string growth_words(const AuditedStar& star) {
    const auto most = std::max_element(star.growth.begin(), star.growth.end(),
                                       [](const auto& a, const auto& b) { return a.sigma < b.sigma; });
    return fmt::format(
        "it gains {:.3f} ± {:.3f} mag of light more than the others between circles of {:.1f} and {:.1f} "
        "FWHM{}",
        most->excess_mag.value, most->excess_mag.err, most->narrow_fwhm, most->wide_fwhm,
        star.blended_share > mostly ? ", and most of its frames say blended" : "");
}

std::string variation_words(const AuditedStar& star) {
    const double nights = star.night_scatter_mag / std::max(star.expected_night_scatter_mag, 1e-4);
    const double frames = star.frame_scatter_mag / std::max(star.expected_frame_scatter_mag, 1e-4);
    if (nights >= frames || star.nights.size() > 2)
        return fmt::format("{:.3f} mag from night to night where {:.3f} is expected", star.night_scatter_mag,
                           star.expected_night_scatter_mag);
    return fmt::format("{:.3f} mag from frame to frame where {:.3f} is expected", star.frame_scatter_mag,
                       star.expected_frame_scatter_mag);
}

std::string trend_words(const AuditedStar& star) {
    if (!star.trend_mag_per_day ||
        std::abs(star.trend_mag_per_day->value) < telling_sigma * star.trend_mag_per_day->err)
        return {};
    return fmt::format(", with a trend of {:+.4f} ± {:.4f} mag a day", star.trend_mag_per_day->value,
                       star.trend_mag_per_day->err);
}

void pronounce_seen(AuditedStar& star, const AccusedFrom& accused, const AccusedFrom& doubted) {
    const bool varies = star.varies_sigma >= accused.varies;
    const bool blended = star.blended_sigma >= accused.blended;
    const bool off = star.catalogue_sigma >= accused.catalogue;
    // A companion's light comes and goes with the seeing: such a star is blended, not variable.
    const bool by_itself = varies && star.varies_sigma_without_seeing >= accused.varies;
    const bool with_seeing = star.seeing_slope_mag && std::abs(star.seeing_slope_mag->value) >
                                                          telling_sigma * star.seeing_slope_mag->err;
    const double beyond_mag = std::sqrt(
        std::max(0.0, std::pow(star.night_scatter_mag, 2) - std::pow(star.expected_night_scatter_mag, 2)));
    double most_growth_mag = 0.0;
    for (const GrowthExcess& growth : star.growth)
        most_growth_mag = std::max(most_growth_mag, growth.excess_mag.value);
    if (blended && !(by_itself && beyond_mag > most_growth_mag)) {
        star.fault = StarFault::blended;
        star.why = fmt::format("Another source is in its light: {}; it is {}.", growth_words(star),
                               offset_words(star));
    } else if (varies && !by_itself && with_seeing) {
        star.fault = StarFault::blended;
        star.why = fmt::format(
            "It follows the seeing, as a star with a companion does: {:+.3f} ± {:.3f} mag for images "
            "wider by a tenth; {}.",
            0.1 * star.seeing_slope_mag->value, 0.1 * star.seeing_slope_mag->err, variation_words(star));
    } else if (varies) {
        star.fault = StarFault::varies;
        star.why = fmt::format("It varies: {}{}.", variation_words(star), trend_words(star));
    } else if (off) {
        star.fault = StarFault::catalogue_value;
        star.why = fmt::format("It is steady, and {}.", offset_words(star));
    } else if (star.varies_sigma >= doubted.varies) {
        star.why = fmt::format("It may vary: {}, {:.1f} sigma; more nights will tell.", variation_words(star),
                               star.varies_sigma);
    } else if (star.blended_sigma >= doubted.blended) {
        star.why = fmt::format("It may be blended: {}, {:.1f} sigma; frames with better seeing will tell.",
                               growth_words(star), star.blended_sigma);
    } else if (star.catalogue_sigma >= doubted.catalogue) {
        star.why = fmt::format("Its catalogue magnitude may be wrong: it is {}, {:.1f} sigma.",
                               offset_words(star), star.catalogue_sigma);
    } else {
        star.fault = StarFault::fine;
        star.why = fmt::format("It is {}, and steady: {}.", offset_words(star), variation_words(star));
    }
}

}  // namespace

std::string_view word(StarFault fault) {
    switch (fault) {
        case StarFault::fine:
            return "fine";
        case StarFault::varies:
            return "varies";
        case StarFault::blended:
            return "blended";
        case StarFault::catalogue_value:
            return "catalogue value";
        case StarFault::cannot_tell:
            return "cannot tell";
    }
    return {};
}

void pronounce(AuditedStar& star, const Hurdles& hurdles) {
    star.fault = StarFault::cannot_tell;
    if (hurdles.faint) {
        star.why = "It is too faint in these frames: below a signal-to-noise of ten.";
    } else if (star.frames < least_frames) {
        star.why = fmt::format("It was measured in {} frames: too few to tell.", star.frames);
    } else if (hurdles.others < least_other_stars) {
        star.why = fmt::format("Only {} other stars could bear witness: three are needed.", hurdles.others);
    } else {
        pronounce_seen(star, hurdles.accused, hurdles.doubted);
    }
}

}  // namespace emberline::night
