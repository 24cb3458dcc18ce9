// SPDX-License-Identifier: MIT
#include <fmt/format.h>
#include <fmt/ranges.h>

#include <algorithm>
#include <cmath>
#include <set>

#include "picture/printed_text.hpp"
#include "picture/sheet_parts.hpp"
#include "sky/time_scales.hpp"

namespace emberline::picture {
namespace {

constexpr const char* nothing = "—";

std::string with_sign(double value, int decimals) {
    return with_minus(fmt::format("{:+.{}f}", value, decimals));
}

std::string maybe(const std::optional<double>& value, int decimals) {
    return value ? fmt::format("{:.{}f}", *value, decimals) : nothing;
}

std::string utc(double jd, bool date) {
    const std::string iso = sky::iso(Instant{jd, 0.0, TimeScale::utc}, 0);
    return date ? fmt::format("{} {} UTC", iso.substr(0, 10), iso.substr(11, 8)) : iso.substr(11, 8);
}

std::string plural(int n, const char* noun) {
    return fmt::format("{} {}{}", n, noun, n == 1 ? "" : "s");
}

bool several_instruments(const NightSheet& sheet) {
    return std::any_of(sheet.bands.begin(), sheet.bands.end(), [&](const SheetBand& b) {
        return b.measured.instrument != sheet.bands.front().measured.instrument;
    });
}

std::string colour_line(const night::NightMeasurement& m) {
    if (!m.colour_term) return "none: an untransformed magnitude";
    std::string text = fmt::format("{} on {}", with_sign(*m.colour_term, 4), m.colour_index);
    if (m.colour_mag)
        text += fmt::format(", the transient's {} {}", m.colour_index, with_sign(*m.colour_mag, 3));
    return text;
}

std::string check_line(const night::NightMeasurement& m) {
    const night::CheckStar& c = m.check;
    if (!c.magnitude_mag) return nothing;
    std::string text = fmt::format("{}: {:.3f}", c.label, *c.magnitude_mag);
    if (c.err_mag) text += fmt::format(" ± {:.3f}", *c.err_mag);
    if (c.residual_mag)
        text += fmt::format(", {} from its catalogue magnitude", with_sign(*c.residual_mag, 3));
    return text;
}

std::string role_word(StarMark mark) {
    switch (mark) {
        case StarMark::comparison:
            return "comparison";
        case StarMark::check:
            return "check";
        case StarMark::unused:
            return "not used";
    }
    return {};
}

}  // namespace

SheetLooks::SheetLooks(const NightSheet& sheet) {
    const auto take = [&](const std::string& band) {
        if (std::find(bands.begin(), bands.end(), band) == bands.end()) bands.push_back(band);
    };
    if (sheet.curve) {
        for (const CurveOnPaper& one : sheet.curve->bands)
            take(one.curve.band.name());
    }
    for (const SheetBand& one : sheet.bands)
        take(one.measured.band.name());
    for (const SheetFrame& one : sheet.frames)
        take(one.judged.band.name());
    looks = looks_of(bands);
}

std::size_t SheetLooks::index(const std::string& band) const {
    return static_cast<std::size_t>(std::find(bands.begin(), bands.end(), band) - bands.begin());
}

std::string magnitude_words(const night::NightMeasurement& m) {
    if (m.is_limit) return m.limit_mag ? fmt::format("fainter than {:.2f}", *m.limit_mag) : nothing;
    if (!m.magnitude_mag) return nothing;
    return with_error({*m.magnitude_mag, m.total_err_mag().value_or(0.0)}, 3);
}

std::string errors_words(const SheetBand& band) {
    const night::NightMeasurement& m = band.measured;
    if (m.is_limit || !m.random_err_mag) return {};
    return fmt::format("random {:.3f}, common {:.3f}", *m.random_err_mag, m.common_err_mag.value_or(0.0));
}

std::string band_words(const NightSheet& sheet, const SheetBand& band) {
    const std::string& name = band.measured.band.name();
    return several_instruments(sheet) ? fmt::format("{}, {}", name, band.measured.instrument) : name;
}

std::vector<SheetLine> facts_of(const NightSheet& sheet, const SheetBand& band) {
    const night::NightMeasurement& m = band.measured;
    std::vector<SheetLine> lines;
    lines.push_back({"middle of the light", utc(m.jd_utc, true)});
    lines.push_back({"JD (UTC)", fmt::format("{:.5f}", m.jd_utc)});
    lines.push_back({"BJD (TDB)", fmt::format("{:.5f}", m.bjd_tdb)});
    const std::string frames = m.n_rejected > 0
                                   ? fmt::format("{} of {} used", m.n_frames, m.n_frames + m.n_rejected)
                                   : plural(m.n_frames, "frame");
    lines.push_back({"frames", fmt::format("{}, {:.0f} s of light in all", frames, m.exposure_s)});
    lines.push_back({"airmass", maybe(m.airmass, 2)});
    if (!m.is_limit && m.limit_mag)
        lines.push_back(
            {"depth", fmt::format("{:.2f}: what shows no light at all would have this as its {:g} σ limit",
                                  *m.limit_mag, sheet.limit_sigma)});
    lines.push_back({"comparison stars", fmt::format("{}", m.n_comparison)});
    lines.push_back({"check star", check_line(m)});
    lines.push_back({"colour term", colour_line(m)});
    lines.push_back(
        {"method", fmt::format("{}, radius {:.2f}″ in the middle frame", m.method, m.aperture_arcsec)});
    return lines;
}

std::string errors_explained(const NightSheet& sheet) {
    std::string text;
    const bool limit = std::any_of(sheet.bands.begin(), sheet.bands.end(),
                                   [](const SheetBand& b) { return b.measured.is_limit; });
    const bool seen = std::any_of(sheet.bands.begin(), sheet.bands.end(),
                                  [](const SheetBand& b) { return !b.measured.is_limit; });
    if (seen) {
        text =
            "Each ± is one standard deviation, all in: the random part is what another set of frames would "
            "change "
            "(light, sky, air); the common part is shared with every night of this sequence (its magnitudes, "
            "the "
            "colour term), so that it moves the whole curve and hardly its slope.";
    }
    if (limit) {
        text += fmt::format(
            "{}A limit is what the transient was fainter than at {:g} standard deviations: its light, where "
            "that came out positive, plus {:g} σ.",
            text.empty() ? "" : " ", sheet.limit_sigma, sheet.limit_sigma);
    }
    return text;
}

std::vector<FlagWords> flags_of(const NightSheet& sheet) {
    Caveats all;
    for (const SheetBand& band : sheet.bands)
        all.add(band.measured.caveats);
    std::vector<FlagWords> out;
    for (const Caveat caveat : all.list()) {
        std::vector<std::string> bands;
        for (const SheetBand& band : sheet.bands) {
            if (band.measured.caveats.has(caveat)) bands.push_back(band_words(sheet, band));
        }
        out.push_back({std::string(emberline::word(caveat)), fmt::format("{}", fmt::join(bands, "; ")),
                       std::string(sentence(caveat))});
    }
    return out;
}

std::string decline_words(const NightSheet& sheet) {
    std::vector<std::string> rates;
    std::set<std::string> said;
    for (const SheetBand& band : sheet.bands) {
        if (!band.fades_mag_per_day || !said.insert(band.measured.band.name()).second) continue;
        const ValueWithError& rate = *band.fades_mag_per_day;
        rates.push_back(fmt::format("{} {} by {} mag a day", band.measured.band.name(),
                                    rate.value >= 0.0 ? "fades" : "brightens",
                                    with_error({std::abs(rate.value), rate.err})));
    }
    if (rates.empty()) return {};
    return fmt::format("Over the last straight stretch of the curve, {}.", fmt::join(rates, "; "));
}

SheetTable stars_table(const SheetBand& band) {
    SheetTable table{
        .heads = {"star", "role", "catalogue", "measured", "residual", "error", "frames", "remark"},
        .rows = {},
        .numeric = {false, false, true, true, true, true, true, false},
        .shares = {0.10, 0.12, 0.15, 0.10, 0.10, 0.08, 0.08, 0.27}};
    for (const SheetStar& s : band.stars) {
        table.rows.push_back({s.label, role_word(s.mark),
                              fmt::format("{:.3f} ± {:.3f}", s.catalogue_mag.value, s.catalogue_mag.err),
                              maybe(s.measured_mag, 3),
                              s.residual_mag ? with_sign(*s.residual_mag, 3) : nothing, maybe(s.err_mag, 3),
                              s.frames > 0 ? fmt::format("{}", s.frames) : nothing, s.remark});
    }
    return table;
}

SheetTable frames_table(const NightSheet& sheet) {
    SheetTable table{.heads = {"UTC", "band", "exposure (s)", "airmass", "light (%)", "FWHM (″)", "sky",
                               "weight", "fingerprint", "file"},
                     .rows = {},
                     .numeric = {false, false, true, true, true, true, true, true, false, false},
                     .shares = {0.085, 0.055, 0.095, 0.085, 0.07, 0.08, 0.06, 0.075, 0.125, 0.27}};
    for (const SheetFrame& f : sheet.frames) {
        const night::JudgedExposure& e = f.judged;
        std::string file = e.frame;
        if (!e.used) file += ". Not used: " + e.reason;
        table.rows.push_back(
            {utc(e.jd_utc, false), e.band.name(), fmt::format("{:g}", f.exposure_s), maybe(f.airmass, 2),
             e.transparency ? fmt::format("{:.0f}", 100.0 * *e.transparency) : nothing,
             fmt::format("{:.2f}", e.fwhm_arcsec), maybe(e.sky_mag_arcsec2, 1),
             e.used ? fmt::format("{:.2f}", e.weight) : nothing, f.fingerprint.substr(0, 10), file});
    }
    return table;
}

}  // namespace emberline::picture
