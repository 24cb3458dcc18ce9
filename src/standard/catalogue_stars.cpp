// SPDX-License-Identifier: MIT
#include "standard/catalogue_stars.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <array>
#include <cmath>
#include <numbers>

#include "quantities/text.hpp"

namespace emberline::standard {
namespace {

using Place = std::optional<std::size_t>;

// Numbers that stand for "none" in lists of stars lie outside: −99, 99.99, 999.
constexpr double least_mag = -30.0, most_mag = 50.0;

// What the positions are said to be in.
enum class Axes { icrs, fk4 };

class StarMaker {
  public:
    StarMaker(const RawCatalogue& raw, const ChosenColumns& chosen, std::string source)
        : raw_(raw), chosen_(chosen), source_(std::move(source)) {}

    Result<FieldCatalogue> make(std::optional<double> given_jyear) {
        out_.source = source_;
        out_.remarks = raw_.remarks;
        out_.remarks.insert(out_.remarks.end(), chosen_.remarks.begin(), chosen_.remarks.end());
        if (auto good = settle_axes(); !good) return fail(good.error());
        if (auto good = settle_epoch(given_jyear); !good) return fail(good.error());
        for (std::size_t row = 0; row < raw_.rows; ++row) {
            if (auto good = take_row(row); !good) return fail(good.error());
        }
        share_epoch();
        remark();
        return std::move(out_);
    }

  private:
    [[nodiscard]] const RawColumn& column(std::size_t i) const { return raw_.columns[i]; }
    [[nodiscard]] std::string place(std::size_t row, std::size_t i) const {
        return raw_.lines.empty()
                   ? fmt::format("{}, row {}, column '{}'", source_, row + 1, column(i).name)
                   : fmt::format("{}, line {}, column '{}'", source_, raw_.lines[row], column(i).name);
    }

    [[nodiscard]] Result<void> settle_axes() {
        CoordinateSystem system = column(chosen_.ra).system;
        if (system.name.empty() && system.equinox.empty()) {
            const std::string epoch = system.epoch;
            system = raw_.system;
            if (!epoch.empty()) system.epoch = epoch;
        }
        epoch_text_ = system.epoch.empty() ? raw_.system.epoch : system.epoch;
        const std::string name = lower_case(system.name);
        for (const char* other : {"galactic", "ecl", "geo_app", "gappt", "altaz", "horizontal"}) {
            if (name.find(other) == std::string::npos) continue;
            return fail(
                {.what = fmt::format("The positions are said to be in '{}', not in right ascension and "
                                     "declination.",
                                     system.name),
                 .where = source_,
                 .mend = "Ask the service for ICRS or J2000 positions."});
        }
        const auto equinox = parse_epoch(system.equinox);
        const bool old = equinox && std::abs(*equinox - 1950.0) < 0.01;
        const bool today = !equinox || std::abs(*equinox - 2000.0) < 0.01;
        const bool fk4 = name.find("fk4") != std::string::npos;
        const bool said = !name.empty() || equinox;
        if ((fk4 && equinox && !old) || (!fk4 && !today && !(old && name.find("fk5") == std::string::npos))) {
            return fail({.what = fmt::format("The positions are of equinox {}, which is not known here.",
                                             system.equinox),
                         .where = source_,
                         .mend = "Ask the service for ICRS, J2000 or B1950 positions."});
        }
        // FK5 and ICRS differ by some 20 mas, less than a plate shows: one is taken for the other.
        if (fk4 || old || (!said && chosen_.named_b1950)) {
            axes_ = Axes::fk4;
            out_.remarks.push_back("The positions are of equinox B1950 (FK4) and were turned to ICRS.");
        }
        return {};
    }

    [[nodiscard]] Result<void> settle_epoch(std::optional<double> given_jyear) {
        given_ = given_jyear;
        out_.epoch_jyear = given_jyear;
        std::string words = given_jyear ? fmt::format("{}", *given_jyear) : epoch_text_;
        if (!out_.epoch_jyear && !is_blank(epoch_text_)) {
            out_.epoch_jyear = parse_epoch(epoch_text_);
            if (!out_.epoch_jyear) return fail(impossible_epoch(words, source_));
        }
        // An FK4 catalogue that gives motions has carried its stars to 1950.
        if (!out_.epoch_jyear && axes_ == Axes::fk4 && chosen_.ra_motion && !chosen_.epoch)
            out_.epoch_jyear = sky::epoch_jyear_of_besselian(1950.0);
        if (out_.epoch_jyear && !is_catalogue_epoch(*out_.epoch_jyear))
            return fail(impossible_epoch(words, given_jyear ? "" : source_));
        return {};
    }

    [[nodiscard]] static Problem impossible_epoch(const std::string& words, std::string where) {
        return {.what = fmt::format("{} is no epoch that a catalogue of stars can have.", words),
                .where = std::move(where),
                .mend = "Give the year for which the positions hold, for example 2016.0."};
    }

    // Nothing where the cell is blank. `unreadable` counts what is no number.
    [[nodiscard]] std::optional<double> number(std::size_t i, std::size_t row) {
        const RawColumn& c = column(i);
        if (!c.is_text) return std::isnan(c.numbers[row]) ? std::nullopt : std::optional(c.numbers[row]);
        if (is_blank(c.texts[row])) return std::nullopt;
        const auto value = parse_number(c.texts[row]);
        if (!value) ++unreadable_;
        return value;
    }
    [[nodiscard]] std::optional<double> number(const Place& i, std::size_t row) {
        return i ? number(*i, row) : std::nullopt;
    }

    [[nodiscard]] Result<std::optional<Angle>> angle(std::size_t i, PositionUnit unit, bool is_ra,
                                                     std::size_t row) {
        const RawColumn& c = column(i);
        double value = 0.0;
        if (c.is_text) {
            const std::string_view text = c.texts[row];
            if (is_blank(text)) return std::optional<Angle>{};
            const auto read = parse_number(text);
            if (!read || unit == PositionUnit::sexagesimal) {
                const bool degrees_of_ra = is_ra && unit == PositionUnit::degrees;
                if (read || degrees_of_ra || unit == PositionUnit::radians) {
                    return fail({.what = fmt::format("'{}' is not written in the unit '{}' of its column.",
                                                     text, c.unit),
                                 .where = place(row, i),
                                 .mend = "Give all positions in one unit."});
                }
                const auto parsed = is_ra ? parse_right_ascension(text) : parse_declination(text);
                if (!parsed) return fail(at(place(row, i), parsed.error()));
                return std::optional(*parsed);
            }
            value = *read;
        } else {
            if (std::isnan(c.numbers[row])) return std::optional<Angle>{};
            value = c.numbers[row];
        }
        Angle out = Angle::degrees(value);
        if (unit == PositionUnit::hours) out = Angle::hours(value);
        if (unit == PositionUnit::radians) out = Angle::radians(value);
        if (unit == PositionUnit::arcseconds) out = Angle::arcseconds(value);
        // Rounding may leave a declination of π/2 a last digit above it.
        constexpr double rounding_deg = 1e-9;
        const double degrees = out.degrees();
        const bool inside = is_ra ? degrees >= -rounding_deg && degrees <= 360.0 + rounding_deg
                                  : std::abs(degrees) <= 90.0 + rounding_deg;
        if (!inside) {
            return fail(
                {.what = is_ra
                             ? fmt::format("The right ascension of {} degrees is outside 0 to 360.", degrees)
                             : fmt::format("The declination of {} degrees is outside ±90.", degrees),
                 .where = place(row, i),
                 .mend = "Check the value, and the unit of its column."});
        }
        if (is_ra) return std::optional(out.wrapped_positive());
        return std::optional(Angle::degrees(std::clamp(degrees, -90.0, 90.0)));
    }

    [[nodiscard]] Result<void> take_row(std::size_t row) {
        const auto ra = angle(chosen_.ra, chosen_.ra_unit, true, row);
        if (!ra) return fail(ra.error());
        const auto dec = angle(chosen_.dec, chosen_.dec_unit, false, row);
        if (!dec) return fail(dec.error());
        if (!*ra || !*dec) {
            ++without_position_;
            return {};
        }
        CatalogueStar star;
        star.position = {**ra, **dec};
        star.row = row;
        if (auto good = take_epoch(row, star); !good) return good;
        take_motion(row, star);
        if (axes_ == Axes::fk4) turn_from_fk4(star);
        take_error(row, star);
        star.magnitude_mag = number(chosen_.magnitude, row);
        if (star.magnitude_mag && (*star.magnitude_mag < least_mag || *star.magnitude_mag > most_mag))
            star.magnitude_mag.reset();
        if (chosen_.label) star.label = label(*chosen_.label, row);
        out_.stars.push_back(std::move(star));
        return {};
    }

    [[nodiscard]] Result<void> take_epoch(std::size_t row, CatalogueStar& star) {
        if (!chosen_.epoch || given_) return {};
        const RawColumn& c = column(*chosen_.epoch);
        std::optional<double> epoch;
        if (c.is_text && !is_blank(c.texts[row])) {
            epoch = parse_epoch(c.texts[row]);
            if (!epoch)
                return fail(impossible_epoch(fmt::format("'{}'", c.texts[row]), place(row, *chosen_.epoch)));
        } else if (!c.is_text) {
            epoch = number(*chosen_.epoch, row);
        }
        if (!epoch) return {};
        if (chosen_.epoch_in_days) epoch = sky::epoch_jyear_of(*epoch < 1e6 ? *epoch + 2400000.5 : *epoch);
        if (!is_catalogue_epoch(*epoch))
            return fail(impossible_epoch(fmt::format("{}", *epoch), place(row, *chosen_.epoch)));
        star.epoch_jyear = epoch;
        return {};
    }

    void take_motion(std::size_t row, CatalogueStar& star) {
        const auto ra = number(chosen_.ra_motion, row), dec = number(chosen_.dec_motion, row);
        if (!ra || !dec) return;
        sky::Motion motion{.ra_mas_per_year = *ra * chosen_.motion_mas_per_year,
                           .dec_mas_per_year = *dec * chosen_.motion_mas_per_year};
        if (const auto parallax = number(chosen_.parallax, row)) {
            motion.parallax_mas = *parallax * chosen_.parallax_mas;
        }
        motion.radial_velocity_km_per_s = number(chosen_.radial_velocity, row).value_or(0.0);
        if (sky::moved(star.position, motion, 2000.0, 2001.0)) {
            star.motion = motion;
        } else {
            ++impossible_motions_;
        }
    }

    void turn_from_fk4(CatalogueStar& star) const {
        const double jyear = star.epoch_jyear.value_or(out_.epoch_jyear.value_or(1950.0));
        // Besselian and Julian years of one number differ by hours up to days: 0.001″ of the turning of FK4.
        if (star.motion) star.motion = sky::motion_from_fk4(star.position, *star.motion);
        star.position = sky::from_fk4(star.position, jyear);
    }

    void take_error(std::size_t row, CatalogueStar& star) {
        const auto ra = number(chosen_.ra_error, row), dec = number(chosen_.dec_error, row);
        if (!ra || !dec) return;
        const double err_mas = std::max(*ra * chosen_.ra_error_mas, *dec * chosen_.dec_error_mas);
        if (err_mas > 0.0) star.err_arcsec = err_mas / 1000.0;
    }

    [[nodiscard]] std::string label(std::size_t i, std::size_t row) const {
        const RawColumn& c = column(i);
        if (!c.texts.empty()) return c.texts[row];
        return std::isnan(c.numbers[row]) ? "" : fmt::format("{:.17g}", c.numbers[row]);
    }

    // One epoch for all is the catalogue's.
    void share_epoch() {
        if (out_.stars.empty() || !out_.stars.front().epoch_jyear) return;
        const double first = *out_.stars.front().epoch_jyear;
        for (const CatalogueStar& star : out_.stars) {
            if (star.epoch_jyear != first) return;
        }
        out_.epoch_jyear = first;
        for (CatalogueStar& star : out_.stars)
            star.epoch_jyear.reset();
    }

    void remark() {
        std::vector<std::string>& remarks = out_.remarks;
        const auto count = [&](auto condition) {
            return std::count_if(out_.stars.begin(), out_.stars.end(), condition);
        };
        if (without_position_ > 0) {
            remarks.push_back(fmt::format("{} rows without a position are left out.", without_position_));
        }
        if (count([](const CatalogueStar& s) { return s.magnitude_mag.has_value(); }) == 0 &&
            !out_.stars.empty())
            remarks.emplace_back(no_magnitudes_remark);
        if (unreadable_ > 0)
            remarks.push_back(fmt::format("{} cells are no numbers and are taken as empty.", unreadable_));
        if (impossible_motions_ > 0) {
            remarks.push_back(
                fmt::format("{} proper motions are impossible and are left out.", impossible_motions_));
        }
        const bool moving = count([](const CatalogueStar& s) { return s.motion.has_value(); }) > 0;
        const bool timeless =
            !out_.epoch_jyear && count([](const CatalogueStar& s) { return !s.epoch_jyear; }) > 0;
        if (moving && timeless) {
            remarks.push_back(
                "The table gives proper motions, but not the epoch they start from: positions are "
                "taken as they stand. Give the epoch.");
        }
        remark_radians();
    }

    // Nothing is guessed: degrees are what is meant where nothing is said.
    void remark_radians() {
        if (chosen_.ra_unit != PositionUnit::unsaid || out_.stars.size() < 3 || axes_ != Axes::icrs) return;
        for (const CatalogueStar& star : out_.stars) {
            if (star.position.ra.degrees() > 2.0 * std::numbers::pi ||
                std::abs(star.position.dec.degrees()) > std::numbers::pi / 2.0)
                return;
        }
        out_.remarks.push_back(
            "All positions lie between 0 and 6.29 and within ±1.58, as radians would; nothing "
            "says so, and degrees are taken. Give the unit if they are radians.");
    }

    const RawCatalogue& raw_;
    const ChosenColumns& chosen_;
    std::string source_;
    FieldCatalogue out_;
    Axes axes_ = Axes::icrs;
    std::string epoch_text_;
    std::optional<double> given_;
    std::size_t without_position_ = 0, unreadable_ = 0, impossible_motions_ = 0;
};

}  // namespace

bool is_blank(std::string_view text) {
    text = trimmed(text);
    if (text.empty() || text.find_first_not_of('-') == std::string_view::npos) return true;
    const std::string word = lower_case(text);
    constexpr std::array blanks{"nan", "null", "none", "n/a", "\\n", "masked", "inf", "+inf", "-inf"};
    return std::find(blanks.begin(), blanks.end(), word) != blanks.end();
}

Result<FieldCatalogue> stars_of(const RawCatalogue& raw, const ChosenColumns& chosen,
                                const std::string& source, std::optional<double> epoch_jyear) {
    return StarMaker(raw, chosen, source).make(epoch_jyear);
}

}  // namespace emberline::standard
