// SPDX-License-Identifier: MIT
#include "exchange/tables.hpp"

#include <fmt/format.h>

#include <cmath>
#include <optional>
#include <ostream>
#include <string_view>

#include "quantities/delimited_table.hpp"

namespace emberline::exchange {
namespace {

using night::FrameMeasurement;
using night::NightMeasurement;

enum class Kind { text, number, whole, truth };

template <class Row>
struct Column {
    std::string_view name;
    Kind kind;
    std::string_view unit;  // empty: none
    std::string_view description;
    std::string (*value)(const Row&);  // truth: "0" or "1"
};

std::string fixed(std::optional<double> value, int decimals) {
    if (!value || !std::isfinite(*value)) return {};
    return fmt::format("{:.{}f}", *value, decimals);
}

std::string days(double jd) {
    return jd > 0.0 ? fixed(jd, 8) : std::string();
}

std::string positive(double value, int decimals) {
    return value > 0.0 ? fixed(value, decimals) : std::string();
}

std::string truth(bool value) {
    return value ? "1" : "0";
}

// A frame that was set aside or could not be solved has neither a zero point nor a flux.
bool is_measured(const FrameMeasurement& m) {
    return m.magnitude_mag.has_value() || m.is_limit;
}

std::string if_measured(const FrameMeasurement& m, double value, int decimals) {
    return is_measured(m) ? fixed(value, decimals) : std::string();
}

using F = FrameMeasurement;
constexpr Column<F> frame_columns[] = {
    {"frame", Kind::text, "", "file of the frame", [](const F& m) { return m.frame; }},
    {"night", Kind::text, "", "date of the evening", [](const F& m) { return m.night; }},
    {"band", Kind::text, "", "passband", [](const F& m) { return m.band.name(); }},
    {"jd_utc", Kind::number, "d", "Julian date of mid-exposure, UTC",
     [](const F& m) { return days(m.jd_utc); }},
    {"bjd_tdb", Kind::number, "d", "barycentric Julian date of mid-exposure, TDB",
     [](const F& m) { return days(m.bjd_tdb); }},
    {"exposure_s", Kind::number, "s", "exposure time", [](const F& m) { return positive(m.exposure_s, 3); }},
    {"airmass", Kind::number, "", "airmass at mid-exposure", [](const F& m) { return fixed(m.airmass, 4); }},
    {"mag", Kind::number, "mag", "magnitude; empty for a limit",
     [](const F& m) { return fixed(m.magnitude_mag, 5); }},
    {"mag_err", Kind::number, "mag", "its error, random and common together",
     [](const F& m) { return fixed(m.total_err_mag(), 5); }},
    {"limit_mag", Kind::number, "mag", "limiting magnitude",
     [](const F& m) { return fixed(m.limit_mag, 5); }},
    {"is_limit", Kind::truth, "", "whether the transient was not detected",
     [](const F& m) { return truth(m.is_limit); }},
    {"method", Kind::text, "", "how the flux was measured", [](const F& m) { return m.method; }},
    {"transformed", Kind::truth, "", "whether a colour term was applied",
     [](const F& m) { return truth(m.transformed); }},
    {"fwhm_px", Kind::number, "pix", "full width at half maximum of the stars",
     [](const F& m) { return positive(m.fwhm_px, 3); }},
    {"aperture_px", Kind::number, "pix", "radius of the aperture",
     [](const F& m) { return positive(m.aperture_px, 3); }},
    {"zero_point", Kind::number, "mag", "magnitude of one electron, colour term included",
     [](const F& m) { return if_measured(m, m.zero_point_mag, 5); }},
    {"zero_point_err", Kind::number, "mag", "its random error",
     [](const F& m) { return if_measured(m, m.zero_point_err_mag, 5); }},
    {"n_comparison", Kind::whole, "", "comparison stars used",
     [](const F& m) { return fmt::format("{}", m.n_comparison); }},
    {"check_label", Kind::text, "", "check star", [](const F& m) { return m.check.label; }},
    {"check_mag", Kind::number, "mag", "magnitude of the check star as measured",
     [](const F& m) { return fixed(m.check.magnitude_mag, 5); }},
    {"check_residual", Kind::number, "mag", "that minus its catalogue magnitude",
     [](const F& m) { return fixed(m.check.residual_mag, 5); }},
    {"flags", Kind::text, "", "what to know of the value, words joined by ;",
     [](const F& m) { return m.caveats.words(); }},
    {"flux_e", Kind::number, "electron", "flux of the transient at the zero point",
     [](const F& m) { return if_measured(m, m.flux_e.value, 3); }},
    {"flux_err_e", Kind::number, "electron", "its random error",
     [](const F& m) { return if_measured(m, m.flux_e.err, 3); }},
};

using N = NightMeasurement;
constexpr Column<N> night_columns[] = {
    {"night", Kind::text, "", "date of the evening", [](const N& m) { return m.night; }},
    {"band", Kind::text, "", "passband", [](const N& m) { return m.band.name(); }},
    {"jd_utc", Kind::number, "d", "Julian date, UTC, weighted as the flux",
     [](const N& m) { return days(m.jd_utc); }},
    {"bjd_tdb", Kind::number, "d", "barycentric Julian date, TDB, weighted as the flux",
     [](const N& m) { return days(m.bjd_tdb); }},
    {"mag", Kind::number, "mag", "magnitude, or the limit",
     [](const N& m) { return fixed(m.is_limit ? m.limit_mag : m.magnitude_mag, 5); }},
    {"mag_err", Kind::number, "mag", "its error, random and common together",
     [](const N& m) { return m.is_limit ? std::string() : fixed(m.total_err_mag(), 5); }},
    {"mag_err_random", Kind::number, "mag", "the part that another night would change",
     [](const N& m) { return m.is_limit ? std::string() : fixed(m.random_err_mag, 5); }},
    {"mag_err_common", Kind::number, "mag", "the part that measurements share",
     [](const N& m) { return m.is_limit ? std::string() : fixed(m.common_err_mag, 5); }},
    {"is_limit", Kind::truth, "", "whether the transient was not detected",
     [](const N& m) { return truth(m.is_limit); }},
    {"n_frames", Kind::whole, "", "frames used", [](const N& m) { return fmt::format("{}", m.n_frames); }},
    {"n_rejected", Kind::whole, "", "frames refused",
     [](const N& m) { return fmt::format("{}", m.n_rejected); }},
    {"airmass", Kind::number, "", "mean airmass", [](const N& m) { return fixed(m.airmass, 4); }},
    {"method", Kind::text, "", "how the flux was measured", [](const N& m) { return m.method; }},
    {"transformed", Kind::truth, "", "whether a colour term was applied",
     [](const N& m) { return truth(m.transformed); }},
    {"flags", Kind::text, "", "what to know of the value, words joined by ;",
     [](const N& m) { return m.caveats.words(); }},
};

std::string_view datatype(Kind kind) {
    switch (kind) {
        case Kind::text:
            return "string";
        case Kind::number:
            return "float64";
        case Kind::whole:
            return "int64";
        case Kind::truth:
            return "bool";
    }
    return "string";
}

// A double-quoted YAML scalar.
std::string yaml_text(std::string_view text) {
    std::string quoted = "\"";
    for (const char c : text) {
        if (c == '"' || c == '\\') {
            quoted += '\\';
            quoted += c;
        } else if (static_cast<unsigned char>(c) < 0x20) {
            quoted += fmt::format("\\x{:02x}", static_cast<unsigned>(c));
        } else {
            quoted += c;
        }
    }
    return quoted + '"';
}

template <class Row, std::size_t n>
void write_head(std::ostream& out, TableFormat format, const TableMeta& meta,
                const Column<Row> (&columns)[n]) {
    if (format == TableFormat::ecsv) {
        out << "# %ECSV 1.0\n# ---\n# delimiter: ','\n# datatype:\n";
        for (const auto& column : columns) {
            out << fmt::format("# - {{name: {}, datatype: {}, ", column.name, datatype(column.kind));
            if (!column.unit.empty()) out << fmt::format("unit: {}, ", column.unit);
            out << fmt::format("description: {}}}\n", yaml_text(column.description));
        }
        if (!meta.entries.empty()) out << "# meta: !!omap\n";
        for (const auto& [key, value] : meta.entries)
            out << fmt::format("# - {}: {}\n", yaml_text(key), yaml_text(value));
        out << "# schema: astropy-2.0\n";
    }
    for (std::size_t i = 0; i < n; ++i)
        out << (i > 0 ? "," : "") << columns[i].name;
    out << '\n';
}

template <class Row, std::size_t n>
void write_row(std::ostream& out, TableFormat format, const Row& row, const Column<Row> (&columns)[n]) {
    for (std::size_t i = 0; i < n; ++i) {
        if (i > 0) out << ',';
        const std::string value = columns[i].value(row);
        if (columns[i].kind == Kind::text) {
            out << quoted_field(value);
        } else if (columns[i].kind == Kind::truth && format == TableFormat::ecsv) {
            out << (value == "1" ? "True" : "False");
        } else {
            out << value;
        }
    }
    out << '\n';
}

}  // namespace

FrameTableWriter::FrameTableWriter(std::ostream& out, TableFormat format, const TableMeta& meta)
    : out_(out), format_(format) {
    write_head(out_, format_, meta, frame_columns);
}

void FrameTableWriter::write(const FrameMeasurement& row) {
    write_row(out_, format_, row, frame_columns);
}

NightTableWriter::NightTableWriter(std::ostream& out, TableFormat format, const TableMeta& meta)
    : out_(out), format_(format) {
    write_head(out_, format_, meta, night_columns);
}

void NightTableWriter::write(const NightMeasurement& row) {
    write_row(out_, format_, row, night_columns);
}

}  // namespace emberline::exchange
