// SPDX-License-Identifier: MIT
// Notation: s light let through, over the sharpest frame's; w weight of a frame; g gain, e/ADU.
#include "night/stack_template.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <limits>
#include <set>

#include "frame/frame.hpp"
#include "frame/plate_cards.hpp"
#include "night/aperture_grid.hpp"
#include "night/find_stars.hpp"
#include "night/measure_frame.hpp"
#include "night/psf_fluxes.hpp"
#include "night/relative_scale.hpp"
#include "numerics/robust.hpp"
#include "photometry/resample.hpp"

namespace emberline::night {
namespace {

using photometry::FrameFluxes;

constexpr int strip_rows = 48;
constexpr double clip_sigma = 5.0;             // of a pixel, from the middle of the frames
constexpr double most_trailed = 1.6;           // a template's stars should be round
constexpr double most_fwhm_of_sharpest = 2.0;  // wider frames would blur the template
constexpr double scale_aperture_fwhm = 1.8;    // for the frames' light against each other

// The pixels that the template is made on: the sharpest frame's own; where that is one colour of a mosaic,
// a picture of half the stored size in each direction, upright whatever the colour's lattice is.
struct Grid {
    int width_px = 0, height_px = 0;
    double area = 1.0;  // of its pixels, in the reference's
    std::optional<frame::Lattice> lattice;
    double phase_x = 0.0, phase_y = 0.0;

    [[nodiscard]] frame::PixelPosition on_reference(const frame::PixelPosition& p) const {
        return lattice ? lattice->picture({phase_x + 2.0 * p.x, phase_y + 2.0 * p.y}) : p;
    }
};

Grid grid_of(const frame::FrameFacts& facts) {
    if (!facts.lattice) return {facts.width_px, facts.height_px, 1.0, std::nullopt, 0.0, 0.0};
    const frame::Lattice& l = *facts.lattice;
    Grid grid{
        l.stored_width_px / 2, l.stored_height_px / 2, 4.0 / (l.pitch_px() * l.pitch_px()), l, 0.5, 0.5};
    if (!l.turned()) {
        grid.phase_x = l.x0;
        grid.phase_y = l.y0;
    }
    return grid;
}

struct Member {
    std::string path;
    frame::Frame frame;
    frame::Wcs wcs;
    FrameFluxes fluxes;
    double sky_adu = 0.0, scatter_adu = 1.0;
    double scale = 1.0;
    double weight = 0.0;
};

double sky_of(const FrameFluxes& fluxes) {
    std::vector<double> levels;
    for (const auto& star : fluxes.stars)
        levels.push_back(star.sky_e_per_px / fluxes.gain_e_per_adu);
    return numerics::median(std::move(levels));
}

Result<frame::Frame> frame_of_band(const std::string& path, std::vector<frame::Frame> frames,
                                   const std::optional<Band>& band) {
    if (!band && frames.size() == 1) return std::move(frames.front());
    std::string colours;
    for (frame::Frame& frame : frames) {
        const auto& its = frame.facts().band;
        if (band && its && its->value == *band) return std::move(frame);
        if (its) colours += (colours.empty() ? "" : ", ") + its->value.name();
    }
    return fail({.what = band ? fmt::format("It holds no band {}, but {}.", band->name(),
                                            colours.empty() ? "none that is known" : colours)
                              : fmt::format("It holds several bands: {}.", colours),
                 .where = path,
                 .mend = "Say which band the template is for, with --band.",
                 .kind = band ? ProblemKind::input : ProblemKind::request});
}

Result<Member> open_member(const std::string& path, const standard::Sequence& sequence,
                           const Campaign& campaign, const std::optional<Band>& band,
                           const frame::Masters& masters) {
    auto frames = frame::open_frames(path, campaign.instruments, &masters);
    if (!frames) return fail(frames.error());
    auto found = frame_of_band(path, std::move(*frames), band);
    if (!found) return fail(found.error());
    frame::Frame frame = std::move(*found);
    if (!frame.wcs()) return fail(frame.wcs().error());
    auto fluxes = measure_frame(frame, path, path, sequence, campaign);
    if (!fluxes) return fail(fluxes.error());
    if (fluxes->elongation > most_trailed) {
        return fail(
            {.what = fmt::format("Its stars are trailed: {:.2f} times as long as wide.", fluxes->elongation),
             .where = path,
             .mend = "Make the template from frames with round stars."});
    }
    Member member{path, frame, *frame.wcs(), std::move(*fluxes)};
    member.sky_adu = sky_of(member.fluxes);
    member.scatter_adu = pixel_noise(member.fluxes).sky_scatter_adu;
    return member;
}

// Sharp and clear frames first: the first gives its pixels.
Result<void> scale_and_weigh(std::vector<Member>& members, TemplateStack& out) {
    std::sort(members.begin(), members.end(), [](const Member& a, const Member& b) {
        return a.fluxes.fwhm_px * a.fluxes.scale_arcsec_per_px <
               b.fluxes.fwhm_px * b.fluxes.scale_arcsec_per_px;
    });
    std::vector<const FrameFluxes*> frames;
    std::vector<std::size_t> apertures;
    std::set<std::string> labels;
    for (const Member& m : members) {
        frames.push_back(&m.fluxes);
        apertures.push_back(find_multiple(m.fluxes.apertures, scale_aperture_fwhm).value_or(0));
        for (const auto& star : m.fluxes.stars) {
            if (star.label != photometry::transient_label) labels.insert(star.label);
        }
    }
    const auto scales = relative_scales(frames, apertures, labels);
    const double sharpest = members.front().fluxes.fwhm_px * members.front().fluxes.scale_arcsec_per_px;
    std::vector<Member> kept;
    for (std::size_t i = 0; i < members.size(); ++i) {
        Member& m = members[i];
        const double fwhm = m.fluxes.fwhm_px * m.fluxes.scale_arcsec_per_px;
        std::string why;
        if (!std::isfinite(scales[i].err)) {
            why = "It has no clear star in common with the others.";
        } else if (fwhm > most_fwhm_of_sharpest * sharpest) {
            why = fmt::format(
                "Its seeing of {:.1f}″ would blur the template, whose sharpest frame has {:.1f}″.", fwhm,
                sharpest);
        }
        if (!why.empty()) {
            out.left_out.push_back({m.path, {.what = why, .where = m.path, .mend = "Leave it out."}});
            continue;
        }
        m.scale = scales[i].scale;
        kept.push_back(std::move(m));
    }
    members = std::move(kept);
    if (members.size() < 2) {
        return fail({.what = fmt::format("{} frame(s) can be used; a stack needs two.", members.size()),
                     .where = out.left_out.empty() ? std::string() : one_line(out.left_out.front().problem),
                     .mend = "Name more frames from after the fade; one good deep frame can be the template "
                             "as it is."});
    }
    const Member reference = members.front();
    double sum = 0.0;
    for (Member& m : members) {
        // In ADU of a pixel; frames of another gain or exposure come onto the reference's numbers.
        const double to_reference = m.fluxes.gain_e_per_adu / reference.fluxes.gain_e_per_adu;
        m.scale = m.scale / reference.scale / to_reference;
        m.weight = std::pow(m.scale / m.scatter_adu, 2);
        sum += m.weight;
    }
    for (Member& m : members)
        m.weight /= sum;
    return {};
}

// A position of the reference on this frame: by both plate solutions, less each one's shift from its stars.
photometry::PixelMapping mapping(const Member& from, const Member& to) {
    return [&from, &to](const frame::PixelPosition& p) -> std::optional<frame::PixelPosition> {
        const auto sky = from.wcs.sky({p.x - from.fluxes.shift_x_px, p.y - from.fluxes.shift_y_px});
        if (!sky) return std::nullopt;
        const auto there = to.wcs.pixel(*sky);
        if (!there) return std::nullopt;
        return frame::PixelPosition{there->x + to.fluxes.shift_x_px, there->y + to.fluxes.shift_y_px};
    };
}

// The part of the frame that those rows of the reference need.
frame::PixelBox reach_of(const frame::PixelBox& strip, const photometry::PixelMapping& map,
                         const frame::FrameFacts& facts) {
    double x0 = std::numeric_limits<double>::infinity(), y0 = x0, x1 = -x0, y1 = -x0;
    for (const auto& corner : photometry::mapped_corners(strip, map)) {
        if (!corner) continue;
        x0 = std::min(x0, corner->x);
        x1 = std::max(x1, corner->x);
        y0 = std::min(y0, corner->y);
        y1 = std::max(y1, corner->y);
    }
    if (!(x1 >= x0)) return {};
    x0 = std::clamp(x0, -4.0, facts.width_px + 4.0);
    x1 = std::clamp(x1, -4.0, facts.width_px + 4.0);
    y0 = std::clamp(y0, -4.0, facts.height_px + 4.0);
    y1 = std::clamp(y1, -4.0, facts.height_px + 4.0);
    const int left = static_cast<int>(std::floor(x0)) - 2, low = static_cast<int>(std::floor(y0)) - 2;
    return frame::PixelBox{left, low, static_cast<int>(std::ceil(x1)) + 3 - left,
                           static_cast<int>(std::ceil(y1)) + 3 - low}
        .inside(facts.width_px, facts.height_px);
}

// One strip of one frame on the grid's pixels, above sky, in the reference's light.
Result<std::vector<float>> brought_over(const Member& m, const Member& reference, const Grid& grid,
                                        const frame::PixelBox& strip) {
    const std::size_t n = static_cast<std::size_t>(strip.width) * static_cast<std::size_t>(strip.height);
    std::vector<float> out(n, std::numeric_limits<float>::quiet_NaN());
    const auto from_reference = mapping(reference, m);
    const auto map = [&](const frame::PixelPosition& p) { return from_reference(grid.on_reference(p)); };
    const frame::PixelBox box = reach_of(strip, map, m.frame.facts());
    if (box.empty()) return out;
    auto cutout = m.frame.read(box);
    if (!cutout) return fail(cutout.error());
    if (&m == &reference && !grid.lattice) {
        for (int y = strip.y0; y < strip.y0 + strip.height; ++y) {
            for (int x = strip.x0; x < strip.x0 + strip.width; ++x) {
                const auto i =
                    static_cast<std::size_t>(y - strip.y0) * static_cast<std::size_t>(strip.width) +
                    static_cast<std::size_t>(x - strip.x0);
                if (cutout->contains(x, y)) out[i] = cutout->at(x, y) - static_cast<float>(m.sky_adu);
            }
        }
        return out;
    }
    for (float& v : cutout->adu)
        v = static_cast<float>((static_cast<double>(v) - m.sky_adu) / m.scale);
    return photometry::resample(*cutout, {}, strip, map).image.adu;
}

// Weighted mean of what lies near the middle; absent where no frame reaches.
std::optional<double> clipped(const std::vector<Member>& members, const std::vector<std::vector<float>>& seen,
                              double area, std::size_t i, std::size_t& clipped_pixels) {
    std::vector<double> values;
    for (const auto& one : seen) {
        if (std::isfinite(one[i])) values.push_back(static_cast<double>(one[i]));
    }
    if (values.empty()) return std::nullopt;
    const double middle = numerics::median(values);
    double sum = 0.0, weight = 0.0;
    for (std::size_t m = 0; m < members.size(); ++m) {
        const auto value = static_cast<double>(seen[m][i]);
        if (!std::isfinite(value)) continue;
        const double light = std::max(middle, 0.0) / (members[m].fluxes.gain_e_per_adu * members[m].scale);
        const double noise =
            std::hypot(std::sqrt(area) * members[m].scatter_adu / members[m].scale, std::sqrt(light));
        // Where seeing differs, the cores of stars do too: a tenth of the light is allowed for.
        if (values.size() > 2 && std::abs(value - middle) > clip_sigma * noise + 0.1 * std::abs(middle)) {
            ++clipped_pixels;
            continue;
        }
        sum += members[m].weight * value;
        weight += members[m].weight;
    }
    return weight > 0.0 ? sum / weight : middle;
}

Result<std::vector<frame::Card>> cards_of(const std::vector<Member>& members, const Grid& grid,
                                          const TemplateStack& out) {
    const Member& reference = members.front();
    auto plate = grid.lattice
                     ? frame::halved_plate_cards(reference.frame.header(), grid.phase_x, grid.phase_y)
                     : Result<std::vector<frame::Card>>(frame::plate_cards(reference.frame.header()));
    if (!plate) return fail(at(reference.path, plate.error()));
    std::vector<frame::Card> cards = std::move(*plate);
    double exposure_s = 0.0, shot = 0.0, read_e2 = 0.0;
    for (const Member& m : members) {
        exposure_s += m.fluxes.exposure_s;
        // Variance of the mean for an ADU of light, and of the sky pixel's read noise in ADU.
        shot += m.weight * m.weight / (m.fluxes.gain_e_per_adu * m.scale);
        read_e2 +=
            grid.area * std::pow(m.weight * m.fluxes.read_noise_e / (m.fluxes.gain_e_per_adu * m.scale), 2);
    }
    const double gain = 1.0 / shot;
    const auto number = [](double v) { return fmt::format("{:.9g}", v); };
    // A colour of a mosaic has no filter of its own, and the mosaic's would tell another reader of a mosaic.
    cards.push_back({"FILTER",
                     grid.lattice || reference.frame.facts().planes > 1 ? reference.fluxes.band.name()
                                                                        : reference.fluxes.filter,
                     "", true});
    cards.push_back({"EXPTIME", number(exposure_s), "s, of all frames together", false});
    // No NCOMBINE: gain and read noise are the stack's already, and readers would multiply once more.
    cards.push_back({"GAIN", number(gain), "electrons per ADU of the mean", false});
    cards.push_back({"RDNOISE", number(std::sqrt(read_e2) * gain), "electrons, of a pixel", false});
    cards.push_back(
        {"DATE-OBS", reference.frame.header().text("DATE-OBS").value_or(""), "of the sharpest frame", true});
    cards.push_back({"IMAGETYP", "stack", "a weighted mean, clipped", true});
    cards.push_back(
        {"HISTORY", "", fmt::format("Host template by emberline, from {} frames:", members.size()), false});
    for (const std::string& path : out.used)
        cards.push_back({"HISTORY", "", path.substr(path.size() > 64 ? path.size() - 64 : 0), false});
    return cards;
}

}  // namespace

Result<TemplateStack> stack_template(const std::vector<std::string>& paths,
                                     const standard::Sequence& sequence, const Campaign& campaign,
                                     const std::optional<Band>& band,
                                     const std::function<void(std::size_t, std::size_t)>& progress) {
    TemplateStack out;
    std::vector<Member> members;
    const frame::Masters masters = frame::Masters::open(campaign.master_paths());
    for (const std::string& path : paths) {
        auto member = open_member(path, sequence, campaign, band, masters);
        if (!member && member.error().kind == ProblemKind::request) return fail(member.error());
        if (!member) {
            out.left_out.push_back({path, member.error()});
        } else if (!members.empty() && member->fluxes.band != members.front().fluxes.band) {
            return fail({.what = fmt::format("The frames are of several bands: {} and {}.",
                                             members.front().fluxes.band.name(), member->fluxes.band.name()),
                         .where = path,
                         .mend = "Make one template a band, each from its own frames.",
                         .kind = ProblemKind::request});
        } else {
            members.push_back(std::move(*member));
        }
    }
    if (auto good = members.empty() ? Result<void>() : scale_and_weigh(members, out); !good)
        return fail(good.error());
    if (members.empty()) {
        return fail({.what = "No frame can be used.",
                     .where = out.left_out.empty() ? std::string() : one_line(out.left_out.front().problem),
                     .mend = "Name plate-solved frames of the field from after the fade."});
    }
    const Member& reference = members.front();
    const Grid grid = grid_of(reference.frame.facts());
    out.width_px = grid.width_px;
    out.height_px = grid.height_px;
    out.fwhm_arcsec = reference.fluxes.fwhm_px * reference.fluxes.scale_arcsec_per_px;
    const auto pixels = static_cast<std::size_t>(out.width_px) * static_cast<std::size_t>(out.height_px);
    out.adu.assign(pixels, std::numeric_limits<float>::quiet_NaN());
    for (const Member& m : members)
        out.used.push_back(m.path);
    std::size_t next = 0;
    for (int y0 = 0; y0 < out.height_px; y0 += strip_rows) {
        const frame::PixelBox strip{0, y0, out.width_px, std::min(strip_rows, out.height_px - y0)};
        std::vector<std::vector<float>> seen;
        for (const Member& m : members) {
            auto one = brought_over(m, reference, grid, strip);
            if (!one) return fail(one.error());
            seen.push_back(std::move(*one));
        }
        const std::size_t n = static_cast<std::size_t>(strip.width) * static_cast<std::size_t>(strip.height);
        for (std::size_t i = 0; i < n; ++i, ++next) {
            if (const auto mean = clipped(members, seen, grid.area, i, out.clipped_pixels))
                out.adu[next] = static_cast<float>(*mean + grid.area * reference.sky_adu);
        }
        if (progress)
            progress(static_cast<std::size_t>(y0 + strip.height), static_cast<std::size_t>(out.height_px));
    }
    auto cards = cards_of(members, grid, out);
    if (!cards) return fail(cards.error());
    out.cards = std::move(*cards);
    return out;
}

}  // namespace emberline::night
