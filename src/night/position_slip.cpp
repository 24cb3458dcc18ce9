// SPDX-License-Identifier: MIT
#include "night/position_slip.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "sky/precession.hpp"
#include "sky/proper_motion.hpp"
#include "sky/time_scales.hpp"

namespace emberline::night {
namespace {

constexpr double hours_deg = 15.0;
constexpr double arcsec_per_arcmin = 60.0, arcmin_per_deg = 60.0;

struct Slip {
    std::string words;
    std::function<std::optional<SkyPosition>(const SkyPosition&)> mend;
};

std::optional<SkyPosition> at_degrees(double ra_deg, double dec_deg) {
    if (ra_deg < 0.0 || ra_deg >= 360.0 || std::abs(dec_deg) > 90.0) return std::nullopt;
    return SkyPosition{Angle::degrees(ra_deg), Angle::degrees(dec_deg)};
}

std::vector<Slip> common_slips(const std::optional<Instant>& taken) {
    std::vector<Slip> slips{
        {"with right ascensions in hours (a plain number is read as degrees: write \"13:25:21.12\")",
         [](const SkyPosition& p) { return at_degrees(p.ra.degrees() * hours_deg, p.dec.degrees()); }},
        {"with right ascensions in degrees (what has colons is read as hours: write a plain number)",
         [](const SkyPosition& p) { return at_degrees(p.ra.degrees() / hours_deg, p.dec.degrees()); }},
        {"with the other sign of the declination",
         [](const SkyPosition& p) { return at_degrees(p.ra.degrees(), -p.dec.degrees()); }},
        {"with right ascensions in hours and the other sign of the declination",
         [](const SkyPosition& p) { return at_degrees(p.ra.degrees() * hours_deg, -p.dec.degrees()); }},
        {"with right ascension and declination exchanged",
         [](const SkyPosition& p) { return at_degrees(p.dec.degrees(), p.ra.degrees()); }},
        {"with right ascension (in hours) and declination exchanged", [](const SkyPosition& p) {
             return at_degrees(p.dec.degrees() * hours_deg, p.ra.degrees() / hours_deg);
         }}};
    if (taken) {
        slips.push_back({fmt::format("with the equinox of {} in place of J2000, as mounts show positions",
                                     sky::iso_date(*taken).substr(0, 4)),
                         [taken](const SkyPosition& p) { return sky::from_equinox_of_date(p, *taken); }});
    }
    slips.push_back({"with the equinox of 1950 in place of J2000",
                     [](const SkyPosition& p) { return sky::from_fk4(p); }});
    return slips;
}

}  // namespace

std::optional<PositionSlip> position_slip(const std::vector<SkyPosition>& written,
                                          const std::optional<Instant>& taken,
                                          const std::function<bool(const SkyPosition&)>& fits) {
    for (const Slip& slip : common_slips(taken)) {
        PositionSlip out{slip.words, {}};
        std::size_t there = 0;
        for (const SkyPosition& position : written) {
            const auto meant = slip.mend(position);
            there += meant && fits(*meant) ? 1 : 0;
            out.meant.push_back(meant.value_or(position));
        }
        if (there > 0 && 2 * there >= written.size()) return out;
    }
    return std::nullopt;
}

std::string slip_sentence(const SkyPosition& written, const std::optional<Instant>& taken,
                          const std::function<bool(const SkyPosition&)>& fits) {
    const auto slip = position_slip({written}, taken, fits);
    if (!slip) return {};
    const SkyPosition& meant = slip->meant.front();
    return fmt::format(" It would lie on it at {} {}, {}.", sexagesimal_hours(meant.ra, 1),
                       sexagesimal_degrees(meant.dec, 0), slip->words);
}

std::string apart_text(Angle separation) {
    const double arcsec = separation.arcseconds();
    if (arcsec < arcsec_per_arcmin) return fmt::format("{:.1f}″", arcsec);
    const double arcmin = arcsec / arcsec_per_arcmin;
    if (arcmin < arcmin_per_deg) return fmt::format("{:.1f}′", arcmin);
    return fmt::format("{:.1f}°", arcmin / arcmin_per_deg);
}

}  // namespace emberline::night
