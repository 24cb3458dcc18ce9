// SPDX-License-Identifier: MIT
// Notation: shares s0 … s3 of a star's light in the four phases. In RGGB and BGGR the greens are 1 and 2, in
// GRBG and GBRG 0 and 3: "pair 0" and "pair 1".
#include "night/pattern_check.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <numbers>

#include "numerics/least_squares.hpp"
#include "numerics/robust.hpp"

namespace emberline::night {
namespace {

using frame::Colour;
using frame::ColourPattern;

// Chosen so that rehearsals and real frames of either kind are told apart; common practice, no source. A
// sensor's two greens and its columns differ by a per cent or two, its colours by ten and more.
constexpr std::size_t least_stars = 5;
constexpr std::size_t stars_for_spread = 10;
constexpr double interpolated_correlation = 0.2;  // of neighbours; a bilinear picture has 0.35 and more
constexpr double colours_differ = 0.10;           // of a share
constexpr double phases_alike = 0.05;             // … all of them
constexpr double sure_sigma = 5.0;
constexpr double largest_err = 0.02;     // for "alike"
constexpr double sky_alike_sigma = 0.1;  // of a pixel's scatter
constexpr double sky_differs_sigma = 1.0;
constexpr double wider = 4.0;  // of the reds less blues, over the greens', star by star
constexpr double least_colour_range_mag = 0.3;
constexpr double least_slope = 0.15;  // of red over blue, mag per mag
constexpr double half_box_fwhm = 5.0;
constexpr std::size_t most_stars = 40;

using Pair = std::array<std::size_t, 2>;
constexpr Pair pairs[] = {{1, 2}, {0, 3}};

// 0 or 1: which pair is green.
std::size_t green_pair(const ColourPattern& pattern) {
    return pattern.at(0, 0) == Colour::green ? 1 : 0;
}

struct Statistic {
    double value = 0.0, err = 0.0;
    double spread = 0.0;  // of one star's value, and what noise and sampling alone make of it
    double noise = 0.0;
    [[nodiscard]] bool clearly_above(double least) const {
        return std::abs(value) > std::max(sure_sigma * err, least);
    }
};

template <class Of, class Err>
Statistic over_stars(const std::vector<StarPhases>& stars, Of of, Err err) {
    std::vector<double> values, errs;
    for (const StarPhases& star : stars) {
        values.push_back(of(star.share));
        errs.push_back(err(star));
    }
    Statistic s;
    s.value = numerics::median(values);
    s.spread = numerics::mad_to_sigma * numerics::median_absolute_deviation(values, s.value);
    s.noise = numerics::median(errs);
    s.err =
        std::sqrt(0.5 * std::numbers::pi / static_cast<double>(stars.size())) * std::max(s.spread, s.noise);
    return s;
}

// How the phases differ, if that pair is green.
struct Contrast {
    Statistic greens;   // one less the other
    Statistic others;   // red less blue, or the reverse
    Statistic balance;  // red and blue less both greens
};

// A star at (x, y) has shares 1 ± 2 a cos πx ± 2 a cos πy ± 4 a² cos πx cos πy: what is left of them in a
// difference of two and in the balance, over all places of stars.
Contrast contrast_of(const std::vector<StarPhases>& stars, std::size_t pair) {
    const Pair g = pairs[pair], o = pairs[1 - pair];
    const auto of_two = [](const StarPhases& s) { return std::hypot(std::sqrt(2.0) * s.err, 4.0 * s.alias); };
    const auto of_four = [](const StarPhases& s) { return std::hypot(2.0 * s.err, 8.0 * s.alias * s.alias); };
    return {over_stars(
                stars, [&](const auto& s) { return s[g[0]] - s[g[1]]; }, of_two),
            over_stars(
                stars, [&](const auto& s) { return s[o[0]] - s[o[1]]; }, of_two),
            over_stars(
                stars, [&](const auto& s) { return s[o[0]] + s[o[1]] - s[g[0]] - s[g[1]]; }, of_four)};
}

// Star by star one pair differs, what one gains the other loses, and the steady pair does not: red and blue,
// whatever their mean. A hot pixel adds to one phase alone.
bool varies_alone(const Statistic& varying, const Statistic& steady, const Statistic& balance,
                  std::size_t stars) {
    return stars >= stars_for_spread && varying.spread > colours_differ &&
           varying.spread > wider * std::max(steady.spread, steady.noise) &&
           varying.spread > 0.5 * wider * balance.spread;
}

// Change of the ratio of two phases' light with the stars' colour, magnitudes per magnitude.
std::optional<Statistic> colour_slope(const PhaseLevels& levels,
                                      const std::vector<std::optional<double>>& colours, std::size_t over,
                                      std::size_t under) {
    std::vector<double> x, y, weights;
    for (std::size_t i = 0; i < levels.stars.size(); ++i) {
        const auto& share = levels.stars[i].share;
        if (!colours[i] || share[over] <= 0.0 || share[under] <= 0.0) continue;
        x.push_back(*colours[i]);
        y.push_back(2.5 * std::log10(share[over] / share[under]));
    }
    if (x.size() < least_stars) return std::nullopt;
    const auto [low, high] = std::minmax_element(x.begin(), x.end());
    if (*high - *low < least_colour_range_mag) return std::nullopt;
    numerics::Matrix a(x.size(), 2);
    for (std::size_t i = 0; i < x.size(); ++i) {
        a(i, 0) = 1.0;
        a(i, 1) = x[i];
    }
    const auto fit = numerics::linear_fit(a, y);
    if (!fit || fit->dof == 0) return std::nullopt;
    return Statistic{fit->parameters[1],
                     std::sqrt(fit->covariance(1, 1) * fit->chi2 / static_cast<double>(fit->dof)), 0.0, 0.0};
}

ColourPattern with_greens(std::size_t pair, bool first_is_red) {
    ColourPattern pattern;
    for (const std::size_t cell : pairs[pair])
        pattern.cells[cell] = Colour::green;
    pattern.cells[pairs[1 - pair][0]] = first_is_red ? Colour::red : Colour::blue;
    pattern.cells[pairs[1 - pair][1]] = first_is_red ? Colour::blue : Colour::red;
    return pattern;
}

// "RGGB", or "RGGB or BGGR" where the stars' colours do not tell red from blue: then the first is the one
// that turned rows make of `stated`.
struct Likely {
    std::string first, all;
};
Likely likely_pattern(std::size_t pair, const std::optional<ColourPattern>& stated, const PhaseLevels& levels,
                      const std::vector<std::optional<double>>& colours) {
    const Pair o = pairs[1 - pair];
    if (const auto slope = colour_slope(levels, colours, o[0], o[1])) {
        if (slope->clearly_above(least_slope)) {
            const std::string word = with_greens(pair, slope->value > 0.0).word();
            return {word, word};
        }
    }
    const ColourPattern one = with_greens(pair, true), other = with_greens(pair, false);
    const bool turned = stated && stated->shifted(0, 1) == other;
    const std::string first = (turned ? other : one).word();
    return {first, fmt::format("{} or {}", first, (turned ? one : other).word())};
}

std::string write_pattern(const std::string& word) {
    return fmt::format("write pattern = \"{}\" under [instrument] in campaign.toml", word);
}

PatternVerdict doubtful(std::string remark) {
    PatternVerdict verdict;
    verdict.caveats.add(Caveat::pattern_doubtful);
    verdict.remarks.push_back(std::move(remark));
    return verdict;
}

double sky_contrast(const PhaseLevels& levels) {
    const auto [low, high] = std::minmax_element(levels.sky_adu.begin(), levels.sky_adu.end());
    return *high - *low;
}
double sky_err(const PhaseLevels& levels) {
    return *std::max_element(levels.sky_err_adu.begin(), levels.sky_err_adu.end());
}

// The pair whose sky is alike while the other's differs. Offsets of columns and rows cannot make that, but by
// a coincidence.
std::optional<std::size_t> green_by_sky(const PhaseLevels& levels) {
    const auto difference = [&](std::size_t pair) {
        return std::abs(levels.sky_adu[pairs[pair][0]] - levels.sky_adu[pairs[pair][1]]);
    };
    for (const std::size_t pair : {std::size_t{0}, std::size_t{1}}) {
        const double other = difference(1 - pair);
        if (other > std::max(sure_sigma * sky_err(levels), 0.5 * sky_differs_sigma * levels.sigma_adu) &&
            difference(pair) < std::max(2.0 * sky_err(levels), 0.1 * other))
            return pair;
    }
    return std::nullopt;
}

// Sky alone, which offsets of columns and rows may move: never more than a doubt.
PatternVerdict judge_by_sky(const std::optional<ColourPattern>& stated, const PhaseLevels& levels) {
    const double needed = std::max(sure_sigma * sky_err(levels), sky_differs_sigma * levels.sigma_adu);
    const auto difference = [&](std::size_t pair) {
        return std::abs(levels.sky_adu[pairs[pair][0]] - levels.sky_adu[pairs[pair][1]]);
    };
    const bool apart[] = {difference(0) > needed, difference(1) > needed};
    if (stated && apart[green_pair(*stated)]) {
        return doubtful(fmt::format(
            "The sky of the two greens of {} differs by {:.1f} ADU, and too few stars are bright enough to "
            "tell whether the pattern is another; if it is, {}.",
            stated->word(), difference(green_pair(*stated)), write_pattern("…")));
    }
    if (!stated && sky_contrast(levels) > needed && apart[0] != apart[1]) {
        return doubtful(
            fmt::format("The sky of the four phases of 2 × 2 pixels differs by {:.1f} ADU as that of a "
                        "colour camera; too "
                        "few stars are bright enough to tell. If it is one, {}.",
                        sky_contrast(levels), write_pattern("RGGB") + " (or BGGR, GRBG, GBRG)"));
    }
    return {};
}

Result<PatternVerdict> judge_mono(const PhaseLevels& levels,
                                  const std::vector<std::optional<double>>& colours,
                                  const std::string& where) {
    // Interpolated already: its phases differ in sharpness, and it is a picture of one colour.
    if (levels.neighbour_correlation > interpolated_correlation) return PatternVerdict{};
    std::optional<std::size_t> green;
    double brightest = 0.0;
    for (const std::size_t pair : {std::size_t{0}, std::size_t{1}}) {
        const Contrast c = contrast_of(levels.stars, pair);
        // Where stars are sharper than the pixels, their places weigh on the phases; the sky knows none.
        const double agreeing = green_by_sky(levels) == pair ? sure_sigma : 3.0;
        if (std::abs(c.greens.value) > std::max(agreeing * c.greens.err, phases_alike)) continue;
        const bool differs =
            c.others.clearly_above(colours_differ) || c.balance.clearly_above(2.0 * colours_differ);
        // Where red and blue are alike too, green is the brighter pair.
        if (!differs || (green && -c.balance.value < brightest)) continue;
        green = pair;
        brightest = -c.balance.value;
    }
    if (green) {
        const Likely likely = likely_pattern(*green, std::nullopt, levels, colours);
        return fail(
            {.what = fmt::format("This frame is measured as one colour, but the stars' light differs "
                                 "from pixel to pixel as in a colour mosaic: {}.",
                                 likely.all),
             .where = where,
             .mend = fmt::format("Colour camera: {}. A camera without colour: save its frames "
                                 "without interpolation; something in this one repeats every second pixel.",
                                 write_pattern(likely.first))});
    }
    for (const std::size_t pair : {std::size_t{0}, std::size_t{1}}) {
        const Contrast c = contrast_of(levels.stars, pair);
        if (varies_alone(c.others, c.greens, c.balance, levels.stars.size())) {
            const Likely likely = likely_pattern(pair, std::nullopt, levels, colours);
            return doubtful(fmt::format(
                "The stars' light differs from pixel to pixel, each star's in its own way: a colour mosaic "
                "({}) with its colours evened out? If so, {}.",
                likely.all, write_pattern(likely.first)));
        }
    }
    return PatternVerdict{};
}

Result<PatternVerdict> judge_mosaic(const ColourPattern& stated, const PhaseLevels& levels,
                                    const std::vector<std::optional<double>>& colours,
                                    const std::string& where) {
    const std::size_t pair = green_pair(stated);
    const Contrast c = contrast_of(levels.stars, pair);
    const bool greens_apart = c.greens.clearly_above(colours_differ);
    const auto by_sky = green_by_sky(levels);
    const bool others_agree =
        std::abs(c.others.value) < std::max(2.0 * c.others.err, 0.3 * std::abs(c.greens.value));
    // Of every camera the greens are the brighter, unless it has evened its colours out.
    const bool greens_darker = c.balance.value > 0.0 && c.balance.clearly_above(2.0 * colours_differ);
    const bool other_pair =
        by_sky == 1 - pair ? greens_apart || greens_darker : greens_apart && others_agree && by_sky != pair;
    if (other_pair) {
        const Likely likely = likely_pattern(1 - pair, stated, levels, colours);
        return fail(
            {.what = fmt::format("The pattern is said to be {}, but its two greens do not see the stars "
                                 "and the sky alike, while those of {} do.",
                                 stated.word(), likely.all),
             .where = where,
             .mend = fmt::format("If the order of rows or a sub-frame moved it, {}.",
                                 write_pattern(likely.first))});
    }
    const bool alike = std::abs(c.greens.value) < phases_alike && std::abs(c.others.value) < phases_alike &&
                       std::abs(c.balance.value) < 2.0 * phases_alike && c.greens.err < largest_err &&
                       c.others.err < largest_err && c.balance.err < 2.0 * largest_err &&
                       c.others.spread < 2.0 * c.greens.spread + largest_err;
    if (alike) {
        const bool sky_alike =
            sky_contrast(levels) < std::max(sure_sigma * sky_err(levels), sky_alike_sigma * levels.sigma_adu);
        if (sky_alike) {
            return fail(
                {.what = fmt::format("The pattern is said to be {}, but the four phases of 2 × 2 pixels "
                                     "are all alike: the frame was interpolated or binned already, or "
                                     "is no mosaic.",
                                     stated.word()),
                 .where = where,
                 .mend = fmt::format("Save the raw frame; for a camera without colour {}.",
                                     write_pattern("none"))});
        }
        return doubtful(
            fmt::format("The stars' light is the same in all phases of {}: evened out, or no "
                        "mosaic? If it is none, {}.",
                        stated.word(), write_pattern("none")));
    }
    std::size_t red = 0, blue = 0;
    for (std::size_t cell = 0; cell < 4; ++cell) {
        if (stated.cells[cell] == Colour::red) red = cell;
        if (stated.cells[cell] == Colour::blue) blue = cell;
    }
    const auto slope = colour_slope(levels, colours, red, blue);
    if (slope && slope->value < 0.0 && slope->clearly_above(least_slope)) {
        const std::string exchanged = with_greens(pair, blue < red).word();
        return fail(
            {.what = fmt::format("The pattern is said to be {}, but the redder a star, the more of its "
                                 "light is in the blue pixels: it is {}.",
                                 stated.word(), exchanged),
             .where = where,
             .mend = fmt::format("If a sub-frame moved it, {}.", write_pattern(exchanged))});
    }
    if (by_sky == pair) return PatternVerdict{};
    if (greens_apart || varies_alone(c.greens, c.others, c.balance, levels.stars.size())) {
        const Likely likely = likely_pattern(1 - pair, stated, levels, colours);
        return doubtful(
            fmt::format("The two greens of {} see the stars differently: if the pattern is {}, {}.",
                        stated.word(), likely.all, write_pattern(likely.first)));
    }
    return PatternVerdict{};
}

// The brightest that are not saturated.
std::vector<StarInStored> stars_in_stored(const frame::FrameFacts& facts, const StarField& field,
                                          double saturation_adu) {
    std::vector<const StarOnFrame*> bright;
    for (const StarOnFrame& star : field.stars) {
        if (!star.transient && star.centroid && star.centroid->peak_adu < 0.8 * saturation_adu)
            bright.push_back(&star);
    }
    std::sort(bright.begin(), bright.end(), [](const StarOnFrame* a, const StarOnFrame* b) {
        return a->centroid->peak_adu > b->centroid->peak_adu;
    });
    bright.resize(std::min(bright.size(), most_stars));
    std::vector<StarInStored> stars;
    for (const StarOnFrame* star : bright) {
        const auto& p = star->position;
        stars.push_back({star->label, facts.lattice ? facts.lattice->stored(p) : p, {}});
    }
    return stars;
}

// Stored pixels of each star. Where nothing is done to a frame's pixels they are there already: reading them
// again would unpack most tiles of a packed frame twice.
Result<void> read_boxes(const frame::Frame& frame, const StarField& field,
                        const std::vector<frame::PixelBox>& boxes, std::vector<StarInStored>& stars) {
    const frame::FrameFacts& facts = frame.facts();
    const bool as_stored = !facts.lattice && frame.calibration().nothing();
    std::vector<std::size_t> missing;
    std::vector<frame::PixelBox> to_read;
    for (std::size_t i = 0; i < stars.size(); ++i) {
        const auto star = std::find_if(field.stars.begin(), field.stars.end(),
                                       [&](const StarOnFrame& s) { return s.label == stars[i].label; });
        if (as_stored && star != field.stars.end())
            stars[i].cutout = star->cutout.part(boxes[i].inside(facts.width_px, facts.height_px));
        if (!stars[i].cutout.adu.empty()) continue;
        missing.push_back(i);
        to_read.push_back(boxes[i]);
    }
    if (missing.empty()) return {};
    auto cutouts = frame.read_stored(to_read);
    if (!cutouts) return fail(cutouts.error());
    for (std::size_t k = 0; k < missing.size(); ++k)
        stars[missing[k]].cutout = std::move((*cutouts)[k]);
    return {};
}

}  // namespace

Result<PatternVerdict> judge_pattern(const std::optional<ColourPattern>& stated, const PhaseLevels& levels,
                                     const std::vector<std::optional<double>>& colours,
                                     const std::string& where) {
    if (levels.stars.size() < least_stars) {
        if (levels.boxes == 0) return PatternVerdict{};
        return judge_by_sky(stated, levels);
    }
    return stated ? judge_mosaic(*stated, levels, colours, where) : judge_mono(levels, colours, where);
}

Result<PatternVerdict> check_pattern(const frame::Frame& frame, const StarField& field,
                                     const standard::Sequence& sequence) {
    const frame::FrameFacts& facts = frame.facts();
    if (facts.planes > 1 && !facts.lattice) return PatternVerdict{};
    const double fwhm_px = field.profile.fwhm_px * (facts.lattice ? facts.lattice->pitch_px() : 1.0);
    constexpr double sixteen_bits = 65535.0;
    const double saturation_adu = facts.saturation_adu ? facts.saturation_adu->value : sixteen_bits;
    std::vector<StarInStored> stars = stars_in_stored(facts, field, saturation_adu);
    std::vector<frame::PixelBox> boxes;
    const double half_px = half_box_fwhm * fwhm_px + 2.0;
    for (const StarInStored& star : stars) {
        boxes.push_back(box_around(star.position, half_px));
    }
    if (auto good = read_boxes(frame, field, boxes, stars); !good) return fail(good.error());
    const PhaseLevels levels = measure_phases(stars, fwhm_px, saturation_adu);
    std::vector<std::optional<double>> colours;
    for (const StarPhases& star : levels.stars) {
        const auto known = std::find_if(sequence.stars.begin(), sequence.stars.end(),
                                        [&](const auto& s) { return s.label == star.label; });
        std::optional<double> colour;
        for (const char* name : {"B-V", "g-r", "TB-TR", "B-R", "V-R"}) {
            const auto index = parse_colour_index(name);
            if (!index || colour || known == sequence.stars.end()) continue;
            if (const auto value = known->colour(*index)) colour = value->value;
        }
        colours.push_back(colour);
    }
    std::optional<ColourPattern> stated;
    if (facts.pattern && facts.lattice) stated = frame::parse_colour_pattern(facts.pattern->value);
    return judge_pattern(stated, levels, colours, facts.path);
}

}  // namespace emberline::night
