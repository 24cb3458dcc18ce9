// SPDX-License-Identifier: MIT
#include "standard/catalogue_columns.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <string_view>
#include <utility>

#include "quantities/text.hpp"

namespace emberline::standard {
namespace {

using Place = std::optional<std::size_t>;
using Names = std::vector<std::string_view>;

struct PositionNames {
    std::string_view ra, dec;
    PositionUnit ra_unit = PositionUnit::unsaid, dec_unit = PositionUnit::unsaid;  // that the names tell
};

// The catalogue's own positions before those that a service has worked out. "J2000" in a name is the equinox,
// the axes; at which time the stars stood there it does not say.
const std::vector<PositionNames>& position_names() {
    constexpr auto deg = PositionUnit::degrees;
    constexpr auto rad = PositionUnit::radians;
    constexpr auto hours = PositionUnit::hours;
    static const std::vector<PositionNames> names{
        {"ra_icrs", "de_icrs"},
        {"ra_icrs", "dec_icrs"},
        {"raicrs", "deicrs"},
        {"ra", "dec"},
        {"ra", "de"},
        {"ra_deg", "dec_deg", deg, deg},
        {"ra_deg", "de_deg", deg, deg},
        {"radeg", "decdeg", deg, deg},
        {"radeg", "dedeg", deg, deg},
        {"ramdeg", "demdeg", deg, deg},
        {"ra_rad", "dec_rad", rad, rad},
        {"rarad", "derad", rad, rad},
        {"rarad", "decrad", rad, rad},
        {"ra_hours", "dec_deg", hours, deg},
        {"ra_hours", "dec", hours},
        {"ra_hour", "dec_deg", hours, deg},
        {"ra_h", "dec_d", hours, deg},
        {"raj2000", "dej2000"},
        {"raj2000", "decj2000"},
        {"ra_j2000", "dec_j2000"},
        {"ra2000", "dec2000"},
        {"ra2000", "de2000"},
        {"alpha_j2000", "delta_j2000"},
        {"alphawin_j2000", "deltawin_j2000"},
        {"alpha", "delta"},
        {"right_ascension", "declination"},
        {"rightascension", "declination"},
        {"right ascension", "declination"},
        {"ra_mean", "dec_mean"},
        {"ramean", "decmean"},
        {"s_ra", "s_dec"},
        {"rab1950", "deb1950"},
        {"rab1950", "decb1950"},
        {"ra_b1950", "dec_b1950"},
        {"ra1950", "dec1950"},
        {"ra1950", "de1950"},
    };
    return names;
}

// "RA [deg]" → "ra" and its unit; "coord.ra" and "_RAJ2000" are known by their last part.
struct Known {
    std::string name, written;  // without and with leading underscores
    std::string unit;
    std::string meaning;
};
Known known(const RawColumn& column) {
    Known out{.name = lower_case(trimmed(column.name)),
              .written = {},
              .unit = column.unit,
              .meaning = lower_case(column.meaning)};
    const auto bracket = out.name.find_first_of("[(");
    if (bracket != std::string::npos && bracket > 0) {
        if (trimmed(out.unit).empty()) out.unit = out.name.substr(bracket);
        out.name = trimmed(std::string_view(out.name).substr(0, bracket));
    }
    if (const auto dot = out.name.rfind('.'); dot != std::string::npos && dot + 1 < out.name.size())
        out.name = out.name.substr(dot + 1);
    std::erase(out.name, '*');
    out.written = out.name;
    out.name = out.name.substr(std::min(out.name.find_first_not_of('_'), out.name.size()));
    return out;
}

class Chooser {
  public:
    explicit Chooser(const std::vector<RawColumn>& columns) : columns_(columns) {
        for (const RawColumn& column : columns)
            known_.push_back(known(column));
    }

    Result<ChosenColumns> choose() {
        if (auto good = choose_position(); !good) return fail(good.error());
        choose_motion();
        choose_errors();
        out_.parallax = by_name({"parallax", "plx"});
        if (!out_.parallax) out_.parallax = by_meaning("pos.parallax");
        if (out_.parallax) out_.parallax_mas = mas_in(known_[*out_.parallax].unit).value_or(1.0);
        out_.radial_velocity = by_name({"radial_velocity", "rv", "hrv", "radvel"});
        choose_magnitude();
        out_.label = by_name({"source_id", "gaia", "designation", "label", "name", "id", "auid", "tyc",
                              "tycho", "hip", "main_id", "ucac4", "2mass", "objid", "star", "source"});
        if (!out_.label) out_.label = by_meaning("meta.id;meta.main");
        out_.epoch = by_name({"ref_epoch", "refepoch", "epoch", "ep"});
        out_.epoch_in_days = out_.epoch && is_days(known_[*out_.epoch].unit);
        return out_;
    }

  private:
    [[nodiscard]] Place exactly(std::string_view name, bool with_underscores) const {
        for (std::size_t i = 0; i < known_.size(); ++i) {
            if ((with_underscores ? known_[i].written : known_[i].name) == name) return i;
        }
        return std::nullopt;
    }
    [[nodiscard]] Place by_name(const Names& names) const {
        for (const std::string_view name : names) {
            if (const Place found = exactly(name, false)) return found;
        }
        return std::nullopt;
    }
    [[nodiscard]] Place by_meaning(std::string_view ucd) const {
        for (std::size_t i = 0; i < known_.size(); ++i) {
            if (known_[i].meaning == ucd) return i;
        }
        return std::nullopt;
    }

    [[nodiscard]] std::optional<std::pair<std::size_t, std::size_t>> position_pair() const {
        for (const auto& [ra_ucd, dec_ucd] : {std::pair("pos.eq.ra;meta.main", "pos.eq.dec;meta.main"),
                                              std::pair("pos_eq_ra_main", "pos_eq_dec_main")}) {
            const Place ra = by_meaning(ra_ucd), dec = by_meaning(dec_ucd);
            if (ra && dec) return std::pair(*ra, *dec);
        }
        for (const bool with_underscores : {true, false}) {
            for (const PositionNames& names : position_names()) {
                const Place ra = exactly(names.ra, with_underscores);
                const Place dec = exactly(names.dec, with_underscores);
                if (ra && dec) return std::pair(*ra, *dec);
            }
        }
        const Place ra = by_meaning("pos.eq.ra"), dec = by_meaning("pos.eq.dec");
        if (ra && dec) return std::pair(*ra, *dec);
        return std::nullopt;
    }

    [[nodiscard]] Result<PositionUnit> unit_of(std::size_t column, PositionUnit named) const {
        const auto unit = position_unit(known_[column].unit);
        if (!unit) {
            return fail(
                {.what =
                     fmt::format("The unit '{}' is none that positions are given in.", columns_[column].unit),
                 .where = fmt::format("column '{}'", columns_[column].name),
                 .mend = "Give positions in degrees, hours or radians, or as hours:minutes:seconds."});
        }
        return *unit == PositionUnit::unsaid ? named : *unit;
    }

    [[nodiscard]] Result<void> alone(std::size_t column) const {
        for (std::size_t i = 0; i < known_.size(); ++i) {
            if (i == column || known_[i].written != known_[column].written) continue;
            return fail(
                {.what = fmt::format("The columns '{}' and '{}' have one name between them.",
                                     columns_[std::min(i, column)].name, columns_[std::max(i, column)].name),
                 .where = fmt::format("columns {} and {}", std::min(i, column) + 1, std::max(i, column) + 1),
                 .mend = "Remove or rename one of them."});
        }
        return {};
    }

    [[nodiscard]] Result<void> choose_position() {
        const auto pair = position_pair();
        if (!pair) {
            std::string names;
            for (std::size_t i = 0; i < columns_.size() && i < 12; ++i)
                names += fmt::format("{}'{}'", i == 0 ? "" : ", ", columns_[i].name);
            return fail({.what = "The table has no columns of right ascension and declination.",
                         .where = columns_.empty() ? "" : fmt::format("columns {}", names),
                         .mend = "Name them ra and dec (degrees, or hours:minutes:seconds)."});
        }
        out_.ra = pair->first;
        out_.dec = pair->second;
        for (const std::size_t column : {out_.ra, out_.dec}) {
            if (auto good = alone(column); !good) return good;
        }
        const Known& ra = known_[out_.ra];
        const Known& dec = known_[out_.dec];
        PositionNames told{.ra = ra.name, .dec = dec.name};
        for (const PositionNames& names : position_names()) {
            if (names.ra == ra.name && names.dec == dec.name) told = names;
        }
        const auto ra_unit = unit_of(out_.ra, told.ra_unit), dec_unit = unit_of(out_.dec, told.dec_unit);
        if (!ra_unit) return fail(ra_unit.error());
        if (!dec_unit) return fail(dec_unit.error());
        out_.ra_unit = *ra_unit;
        out_.dec_unit = *dec_unit;
        if (out_.ra_unit == PositionUnit::radians || out_.dec_unit == PositionUnit::radians) {
            out_.remarks.push_back(fmt::format("The columns '{}' and '{}' are in radians.",
                                               columns_[out_.ra].name, columns_[out_.dec].name));
        }
        out_.named_b1950 = ra.name.ends_with("1950");
        return {};
    }

    void choose_motion() {
        Place ra = by_name(
            {"pmra", "pm_ra", "pmracosdec", "pmra_cosdec", "pm_ra_cosdec", "pmalpha", "mualpha", "mu_alpha"});
        Place dec = by_name({"pmdec", "pm_dec", "pmde", "pm_de", "pmdelta", "mudelta", "mu_delta"});
        if (!ra || !dec) {
            ra = by_meaning("pos.pm;pos.eq.ra");
            dec = by_meaning("pos.pm;pos.eq.dec");
        }
        if (!ra || !dec) {
            ra = by_meaning("pos_eq_pmra");
            dec = by_meaning("pos_eq_pmdec");
        }
        if (!ra || !dec) return;
        const std::string ra_unit(trimmed(known_[*ra].unit)), dec_unit(trimmed(known_[*dec].unit));
        const auto ra_mas = mas_per_year_in(ra_unit), dec_mas = mas_per_year_in(dec_unit);
        if (ra_unit.empty() && dec_unit.empty()) {
            out_.remarks.push_back(
                fmt::format("Nothing says in which unit '{}' and '{}' are: milliarcseconds a year are taken.",
                            columns_[*ra].name, columns_[*dec].name));
        } else if (!ra_mas || ra_mas != dec_mas) {
            out_.remarks.push_back(
                fmt::format("The proper motions '{}' and '{}' are left out: their units, '{}' and '{}', are "
                            "not known here.",
                            columns_[*ra].name, columns_[*dec].name, ra_unit, dec_unit));
            return;
        }
        out_.ra_motion = ra;
        out_.dec_motion = dec;
        out_.motion_mas_per_year = ra_mas.value_or(1.0);
    }

    // Without a unit an error could be anything.
    void choose_errors() {
        const Place ra = by_name(
            {"ra_error", "e_ra_icrs", "e_radeg", "e_raj2000", "e_ra", "ra_err", "err_ra", "e_ramdeg"});
        const Place dec = by_name({"dec_error", "e_de_icrs", "e_dec_icrs", "e_dedeg", "e_dej2000", "e_dec",
                                   "e_de", "dec_err", "err_dec", "e_demdeg"});
        if (!ra || !dec) return;
        const auto ra_mas = mas_in(known_[*ra].unit), dec_mas = mas_in(known_[*dec].unit);
        if (!ra_mas || !dec_mas) return;
        out_.ra_error_mas = *ra_mas;
        out_.dec_error_mas = *dec_mas;
        out_.ra_error = ra;
        out_.dec_error = dec;
    }

    void choose_magnitude() {
        out_.magnitude = by_name({"phot_g_mean_mag",
                                  "gmag",
                                  "mag_g",
                                  "rmag",
                                  "mag_r",
                                  "vmag",
                                  "mag_v",
                                  "vtmag",
                                  "mag_vt",
                                  "phot_rp_mean_mag",
                                  "rpmag",
                                  "phot_bp_mean_mag",
                                  "bpmag",
                                  "f.mag",
                                  "fmag",
                                  "imag",
                                  "mag_i",
                                  "bmag",
                                  "mag_b",
                                  "btmag",
                                  "mag_bt",
                                  "jmag",
                                  "j_m",
                                  "hmag",
                                  "kmag",
                                  "mag",
                                  "magnitude",
                                  "v",
                                  "r",
                                  "rc",
                                  "g",
                                  "b",
                                  "i",
                                  "ic"});
        for (std::size_t i = 0; i < known_.size() && !out_.magnitude; ++i) {
            const bool of_light = known_[i].meaning.starts_with("phot.mag");
            const bool in_mag = lower_case(trimmed(known_[i].unit)) == "mag";
            const std::string& name = known_[i].name;
            const bool error = name.starts_with("e_") || name.find("err") != std::string::npos ||
                               name.find("sig") != std::string::npos || name.find('-') != std::string::npos;
            if ((of_light || in_mag) && !error) out_.magnitude = i;
        }
    }

    const std::vector<RawColumn>& columns_;
    std::vector<Known> known_;
    ChosenColumns out_;
};

}  // namespace

std::vector<std::size_t> ChosenColumns::all() const {
    std::vector<std::size_t> out{ra, dec};
    for (const Place& place :
         {ra_error, dec_error, ra_motion, dec_motion, parallax, radial_velocity, magnitude, label, epoch}) {
        if (place) out.push_back(*place);
    }
    return out;
}

Result<ChosenColumns> choose_columns(const std::vector<RawColumn>& columns) {
    return Chooser(columns).choose();
}

}  // namespace emberline::standard
