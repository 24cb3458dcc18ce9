// SPDX-License-Identifier: MIT
#include "real_plates.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <catch2/catch.hpp>
#include <cmath>
#include <filesystem>

#include "night/plate_finder.hpp"
#include "numerics/robust.hpp"
#include "sky/proper_motion.hpp"

namespace emberline::test {

std::optional<SkyPosition> RealFrame::by_header(const frame::PixelPosition& stored) const {
    if (!has_header_solution()) return std::nullopt;
    const auto& lattice = frame->facts().lattice;
    const auto sky = frame->wcs()->sky(lattice ? lattice->picture(stored) : stored);
    return sky ? std::optional(*sky) : std::nullopt;
}

bool RealFrame::has_header_solution() const {
    return frame && frame->wcs();
}

RealFrame look_at(const std::string& path, double saturation_adu, const std::optional<std::string>& pattern) {
    INFO(path);
    frame::Instrument instrument;
    instrument.pattern = pattern;
    auto frames = frame::open_frames(path, {instrument});
    if (!frames) FAIL(one_line(frames.error()));
    RealFrame out;
    out.name = std::filesystem::path(path).filename().string();
    out.frame = night::telling_frame(*frames);
    const frame::FrameFacts& facts = out.frame->facts();
    if (facts.mid_exposure) out.epoch_jyear = sky::epoch_jyear_of(facts.mid_exposure->value.jd());
    stars::DetectionSettings settings;
    settings.gain_e_per_adu = facts.gain_e_per_adu ? facts.gain_e_per_adu->value : 1.0;
    settings.saturation_adu = saturation_adu;
    auto field = stars::detect_stars(*out.frame, settings);
    if (!field) FAIL(one_line(field.error()));
    out.field = std::move(*field);
    out.width_px = facts.stored_width_px();
    out.height_px = facts.stored_height_px();
    if (facts.lattice) {
        for (stars::Detection& star : out.field.stars) {
            star.position = facts.lattice->stored(star.position);
            star.err_px *= facts.lattice->pitch_px();
        }
    }
    return out;
}

std::vector<stars::ReferenceStar> stars_by_header(const RealFrame& frame) {
    std::vector<stars::ReferenceStar> out;
    REQUIRE(frame.has_header_solution());
    const double pitch = frame.frame->facts().lattice ? frame.frame->facts().lattice->pitch_px() : 1.0;
    const double scale = frame.frame->wcs()->scale_arcsec_per_px() / pitch;
    for (const stars::Detection& star : frame.field.stars) {
        const auto sky = frame.by_header(star.position);
        if (!sky || !(star.flux_adu > 0.0)) continue;
        out.push_back({.position = *sky,
                       .err_arcsec = std::max(star.err_px, 0.05) * scale,
                       .magnitude_mag = -2.5 * std::log10(star.flux_adu),
                       .label = {}});
    }
    return out;
}

PlateRow solve_again(const RealFrame& frame, const std::vector<stars::ReferenceStar>& references,
                     std::string against, const stars::PlateHints& hints) {
    PlateRow row;
    row.name = frame.name;
    row.against = std::move(against);
    row.stars = frame.field.stars.size();
    row.hot_pixels = frame.field.hot_pixels;
    row.fwhm_px = frame.field.fwhm_px;
    std::vector<stars::PictureStar> seen;
    for (const stars::Detection& star : frame.field.stars) {
        if (star.flux_adu > 0.0) seen.push_back({star.position, star.err_px, star.flux_adu});
    }
    auto solution = stars::solve_plate(seen, frame.width_px, frame.height_px, references, hints);
    if (!solution) {
        row.problem = one_line(solution.error());
        return row;
    }
    row.solution = std::move(*solution);
    if (!frame.has_header_solution()) return row;
    std::vector<double> apart;
    for (int i = 0; i < 5; ++i) {
        for (int k = 0; k < 5; ++k) {
            const frame::PixelPosition place{0.25 * i * (frame.width_px - 1),
                                             0.25 * k * (frame.height_px - 1)};
            const auto header = frame.by_header(place);
            const auto solved = row.solution->fit.wcs.sky(place);
            if (header && solved) apart.push_back(separation(*header, *solved).arcseconds());
        }
    }
    double squares = 0.0;
    std::size_t pairs = 0;
    for (const stars::PlatePair& pair : row.solution->fit.pairs) {
        const auto header = pair.used ? frame.by_header(pair.pixel) : std::nullopt;
        if (!header) continue;
        const double away = separation(*header, pair.sky).arcseconds();
        squares += away * away;
        ++pairs;
    }
    if (pairs > 0) row.header_rms_arcsec = std::sqrt(squares / static_cast<double>(pairs));
    if (apart.size() != 25) return row;
    row.apart = Apart{numerics::median(apart), *std::max_element(apart.begin(), apart.end())};
    return row;
}

std::string as_table(const std::vector<PlateRow>& rows) {
    std::string out = fmt::format(
        "{:<34} {:<12} {:>5} {:>5} {:>5} {:>7} {:>5} {:>8} {:>6} {:>6} {:>7} {:>7} {:>7} {:>5} {:>5}\n",
        "frame", "against", "stars", "known", "match", "\"/px", "order", "log10 P", "rms \"", "rms px",
        "hdr rms", "median\"", "most \"", "hot", "fwhm");
    const auto shown = [](std::optional<double> value) {
        return value ? fmt::format("{:>7.3f}", *value) : fmt::format("{:>7}", "-");
    };
    for (const PlateRow& row : rows) {
        out += fmt::format("{:<34} {:<12} {:>5} ", row.name.substr(0, 34), row.against, row.stars);
        if (!row.solution) {
            out += fmt::format("{}\n", row.problem);
            continue;
        }
        const stars::PlateSolution& s = *row.solution;
        const std::string chance = s.false_probability > 0.0
                                       ? fmt::format("{:.1f}", std::log10(s.false_probability))
                                       : std::string("< -300");
        out += fmt::format("{:>5} {:>5} {:>7.3f} {:>5} {:>8} {:>6.3f} {:>6.3f} ", s.references_in_field,
                           s.matched, s.fit.wcs.scale_arcsec_per_px(), s.fit.order, chance, s.fit.rms_arcsec,
                           s.fit.rms_px);
        const auto median = row.apart ? std::optional(row.apart->median_arcsec) : std::nullopt;
        const auto most = row.apart ? std::optional(row.apart->most_arcsec) : std::nullopt;
        out += fmt::format("{} {} {} {:>5} {:>5.2f}\n", shown(row.header_rms_arcsec), shown(median),
                           shown(most), row.hot_pixels, row.fwhm_px);
    }
    return out;
}

std::vector<std::string> frames_in(const std::string& folder) {
    std::vector<std::string> out;
    for (const auto& entry : std::filesystem::directory_iterator(folder)) {
        const std::string name = entry.path().filename().string();
        if (name.find(".fit") != std::string::npos || name.find(".FIT") != std::string::npos)
            out.push_back(entry.path().string());
    }
    std::sort(out.begin(), out.end());
    return out;
}

}  // namespace emberline::test
