// SPDX-License-Identifier: MIT
#include "exchange/table_columns.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <array>
#include <cmath>

#include "quantities/text.hpp"

namespace emberline::exchange {
namespace {

using night::FrameMeasurement;
using night::NightMeasurement;

Cell known(std::optional<double> value) {
    if (!value || !std::isfinite(*value)) return {};
    return *value;
}

Cell positive(double value) {
    return value > 0.0 ? known(value) : Cell();
}

Cell counted(int value) {
    return static_cast<long long>(value);
}

// A frame that was set aside or could not be solved has neither a zero point nor a flux.
Cell if_measured(const FrameMeasurement& m, double value) {
    return m.magnitude_mag || m.is_limit ? known(value) : Cell();
}

Cell unless_limit(const NightMeasurement& m, std::optional<double> value) {
    return m.is_limit ? Cell() : known(value);
}

using enum ColumnKind;
using Use = ColumnUse;

using F = FrameMeasurement;
constexpr std::array<ColumnOf<F>, 24> frame_columns{{
    {{"frame", text, "", "file of the frame", "meta.id;meta.file"},
     [](const F& m) -> Cell { return m.frame; }},
    {{"night", text, "", "date of the evening", "meta.id;obs"}, [](const F& m) -> Cell { return m.night; }},
    {{"band", text, "", "passband", "meta.id;instr.bandpass"},
     [](const F& m) -> Cell { return m.band.name(); }},
    {{"jd_utc", number, "d", "Julian date of mid-exposure, UTC", "time.epoch", 8, Use::jd_utc},
     [](const F& m) { return positive(m.jd_utc); }},
    {{"bjd_tdb", number, "d", "barycentric Julian date of mid-exposure, TDB", "time.epoch;meta.main", 8,
      Use::bjd_tdb},
     [](const F& m) { return positive(m.bjd_tdb); }},
    {{"exposure_s", number, "s", "exposure time", "time.duration;obs.exposure", 3},
     [](const F& m) { return positive(m.exposure_s); }},
    {{"airmass", number, "", "airmass at mid-exposure", "obs.airMass", 4},
     [](const F& m) { return known(m.airmass); }},
    {{"mag", number, "mag", "magnitude; empty for a limit", "phot.mag;meta.main", 5, Use::in_band},
     [](const F& m) { return known(m.magnitude_mag); }},
    {{"mag_err", number, "mag", "its error, random and common together", "stat.error;phot.mag;meta.main", 5,
      Use::in_band},
     [](const F& m) { return known(m.total_err_mag()); }},
    {{"limit_mag", number, "mag", "limiting magnitude: of a limit with its flux, else the depth at none",
      "phot.mag;stat.max", 5, Use::in_band},
     [](const F& m) { return known(m.limit_mag); }},
    {{"is_limit", truth, "", "whether the transient was not detected", "meta.code"},
     [](const F& m) -> Cell { return m.is_limit; }},
    {{"method", text, "", "how the flux was measured", "meta.note"},
     [](const F& m) -> Cell { return m.method; }},
    {{"transformed", truth, "", "whether a colour term was applied", "meta.code"},
     [](const F& m) -> Cell { return m.transformed; }},
    {{"fwhm_px", number, "pixel", "full width at half maximum of the stars", "instr.obsty.seeing", 3},
     [](const F& m) { return positive(m.fwhm_px); }},
    {{"aperture_px", number, "pixel", "radius of the aperture", "instr.param", 3},
     [](const F& m) { return positive(m.aperture_px); }},
    {{"zero_point", number, "mag", "magnitude of one electron, colour term included", "arith.zp;phot.mag", 5,
      Use::in_band},
     [](const F& m) { return if_measured(m, m.zero_point_mag); }},
    {{"zero_point_err", number, "mag", "its random error", "stat.error;arith.zp;phot.mag", 5, Use::in_band},
     [](const F& m) { return if_measured(m, m.zero_point_err_mag); }},
    {{"n_comparison", whole, "", "comparison stars used", "meta.number;instr.calib"},
     [](const F& m) { return counted(m.n_comparison); }},
    {{"check_label", text, "", "check star", "meta.id;instr.calib"},
     [](const F& m) -> Cell { return m.check.label; }},
    {{"check_mag", number, "mag", "magnitude of the check star as measured", "phot.mag;instr.calib", 5,
      Use::of_check},
     [](const F& m) { return known(m.check.magnitude_mag); }},
    {{"check_residual", number, "mag", "that minus its catalogue magnitude", "stat.fit.residual;phot.mag", 5,
      Use::of_check},
     [](const F& m) { return known(m.check.residual_mag); }},
    {{"flags", text, "", "what to know of the value, words joined by ;", "meta.code.qual"},
     [](const F& m) -> Cell { return m.caveats.words(); }},
    {{"flux_e", number, "count", "electrons of the transient at the zero point", "phot.count", 3,
      Use::electrons},
     [](const F& m) { return if_measured(m, m.flux_e.value); }},
    {{"flux_err_e", number, "count", "their random error", "stat.error;phot.count", 3, Use::electrons},
     [](const F& m) { return if_measured(m, m.flux_e.err); }},
}};

using N = NightMeasurement;
constexpr std::array<ColumnOf<N>, 15> night_columns{{
    {{"night", text, "", "date of the evening", "meta.id;obs"}, [](const N& m) -> Cell { return m.night; }},
    {{"band", text, "", "passband", "meta.id;instr.bandpass"},
     [](const N& m) -> Cell { return m.band.name(); }},
    {{"jd_utc", number, "d", "Julian date, UTC, weighted as the flux", "time.epoch", 8, Use::jd_utc},
     [](const N& m) { return positive(m.jd_utc); }},
    {{"bjd_tdb", number, "d", "barycentric Julian date, TDB, weighted as the flux", "time.epoch;meta.main", 8,
      Use::bjd_tdb},
     [](const N& m) { return positive(m.bjd_tdb); }},
    {{"mag", number, "mag", "magnitude, or the limit", "phot.mag;meta.main", 5, Use::in_band},
     [](const N& m) { return known(m.is_limit ? m.limit_mag : m.magnitude_mag); }},
    {{"mag_err", number, "mag", "its error, random and common together", "stat.error;phot.mag;meta.main", 5,
      Use::in_band},
     [](const N& m) { return unless_limit(m, m.total_err_mag()); }},
    {{"mag_err_random", number, "mag", "the part that another night would change", "stat.error;phot.mag", 5,
      Use::in_band},
     [](const N& m) { return unless_limit(m, m.random_err_mag); }},
    {{"mag_err_common", number, "mag", "the part that measurements share", "stat.error.sys;phot.mag", 5,
      Use::in_band},
     [](const N& m) { return unless_limit(m, m.common_err_mag); }},
    {{"is_limit", truth, "", "whether the transient was not detected", "meta.code"},
     [](const N& m) -> Cell { return m.is_limit; }},
    {{"n_frames", whole, "", "frames used", "meta.number;obs.image"},
     [](const N& m) { return counted(m.n_frames); }},
    {{"n_rejected", whole, "", "frames refused", "meta.number;obs.image"},
     [](const N& m) { return counted(m.n_rejected); }},
    {{"airmass", number, "", "mean airmass", "obs.airMass", 4}, [](const N& m) { return known(m.airmass); }},
    {{"method", text, "", "how the flux was measured", "meta.note"},
     [](const N& m) -> Cell { return m.method; }},
    {{"transformed", truth, "", "whether a colour term was applied", "meta.code"},
     [](const N& m) -> Cell { return m.transformed; }},
    {{"flags", text, "", "what to know of the value, words joined by ;", "meta.code.qual"},
     [](const N& m) -> Cell { return m.caveats.words(); }},
}};

template <class Row, std::size_t n>
constexpr std::array<TableColumn, n> without_getters(const std::array<ColumnOf<Row>, n>& columns) {
    std::array<TableColumn, n> plain;
    std::copy(columns.begin(), columns.end(), plain.begin());
    return plain;
}
constexpr auto plain_frame_columns = without_getters(frame_columns);
constexpr auto plain_night_columns = without_getters(night_columns);

// UCD1+ (IVOA, "The UCD1+ controlled vocabulary"): the optical and near-infrared words by wavelength.
std::string_view spectral_word(const Band& band) {
    struct Part {
        double to_nm;
        std::string_view word;
    };
    constexpr Part parts[] = {{400, "em.opt.U"},  {500, "em.opt.B"}, {600, "em.opt.V"}, {750, "em.opt.R"},
                              {1000, "em.opt.I"}, {1500, "em.IR.J"}, {2000, "em.IR.H"}, {3000, "em.IR.K"}};
    const BandFacts& band_facts = facts(band);
    if (band_facts.width_nm <= 0.0) return "em.opt";  // clear
    for (const Part& part : parts) {
        if (band_facts.wavelength_nm < part.to_nm) return part.word;
    }
    return "em.IR";
}

// What all the bands share of a fact, or nothing.
template <class Fact>
std::string shared(std::span<const Band> bands, const Fact& fact) {
    if (bands.empty()) return {};
    const std::string first(fact(bands.front()));
    const bool same =
        std::all_of(bands.begin(), bands.end(), [&](const Band& b) { return fact(b) == first; });
    return same ? first : std::string();
}

}  // namespace

std::string_view name(TableLevel level) {
    return level == TableLevel::frame ? "frame" : "night";
}

template <>
std::span<const ColumnOf<NightMeasurement>> columns_of() {
    return night_columns;
}

template <>
std::span<const ColumnOf<FrameMeasurement>> columns_of() {
    return frame_columns;
}

std::span<const TableColumn> columns_of(TableLevel level) {
    if (level == TableLevel::frame) return plain_frame_columns;
    return plain_night_columns;
}

std::vector<MetaEntry> entries_of(const TableMeta& meta, TableLevel level) {
    const bool frames = level == TableLevel::frame;
    const std::string moment = frames ? "mid-exposure" : "the mean of the frames, weighted as their flux";
    std::vector<MetaEntry> entries{
        {"transient", meta.transient, "the transient's name as the network lists it", "meta.id;src"},
        {"observer", meta.observer_code, "the observer's code with the network", "meta.id;obs.observer"},
        {"observer_name", meta.observer_name, "the observer", "obs.observer"},
        {"software", meta.software, "what wrote this table", "meta.software"},
        {"level", std::string(name(level)), frames ? "a row a frame" : "a row a night and band", "meta.note"},
        {"campaign", meta.campaign, "the campaign's folder", "meta.id"},
        {"solution", meta.solution, "the ledger's solution that the rows belong to", "meta.id"},
        {"chart", meta.chart, "chart or catalogue of the comparison stars", "meta.id;instr.calib"},
        {"jd_utc", fmt::format("JD in UTC at the observer's place; {}", moment), "time scale", "meta.note"},
        {"bjd_tdb", fmt::format("JD in TDB at the barycentre of the solar system; {}", moment), "time scale",
         "meta.note"},
        {"magnitude_system", magnitude_system(meta.bands), "where the scale of magnitudes has its zero",
         "phot.mag"},
    };
    std::erase_if(entries, [](const MetaEntry& entry) { return entry.value.empty(); });
    for (MetaEntry& entry : entries)
        entry.value = printable(entry.value);
    return entries;
}

std::string ucd_in(const TableColumn& column, std::span<const Band> bands) {
    std::string ucd(column.ucd);
    std::string part = shared(bands, spectral_word);
    if (part.empty()) {
        part = shared(bands, [](const Band& b) {
            return spectral_word(b).starts_with("em.opt") ? std::string_view("em.opt") : std::string_view();
        });
    }
    for (const std::string_view photometric : {"phot.mag", "phot.count"}) {
        const auto found = ucd.find(photometric);
        if (found != std::string::npos && !part.empty()) ucd.insert(found + photometric.size(), ";" + part);
    }
    return ucd;
}

std::string magnitude_system(std::span<const Band> bands) {
    return shared(bands, [](const Band& b) { return facts(b).system; });
}

std::string filter_identifier(const Band& band) {
    return fmt::format("Emberline/{0}/{0}", band.name());
}

std::string calibration_identifier(const Band& band) {
    return filter_identifier(band) + "/" + facts(band).system;
}

std::string printable(std::string_view text) {
    // U+FFFE and U+FFFF are characters, but not in XML.
    const auto good = [](std::string_view part) {
        return is_plain_text(part) && part.find("\xEF\xBF\xBE") == std::string_view::npos &&
               part.find("\xEF\xBF\xBF") == std::string_view::npos;
    };
    if (good(text)) return std::string(text);
    std::string out;
    while (!text.empty()) {
        const std::size_t bytes = first_character_bytes(text);
        const bool is_one = bytes > 0 && good(text.substr(0, bytes));
        out += is_one ? text.substr(0, bytes) : std::string_view("\xEF\xBF\xBD");
        text.remove_prefix(is_one ? bytes : 1);
    }
    return out;
}

}  // namespace emberline::exchange
