// SPDX-License-Identifier: MIT
// VOTable 1.4, TABLEDATA: IVOA Recommendation 2019-10-21. The namespace stays that of 1.3, as it says.
// Photometric systems: PhotDM 1.1 (IVOA, 2022); its utypes are from memory but for that of the
// calibration's identifier.
#include <fmt/format.h>

#include <ostream>
#include <string_view>

#include "exchange/table_text.hpp"
#include "exchange/xml_text.hpp"

namespace emberline::exchange {
namespace {

// AB = −2.5 log10(f / (erg s⁻¹ cm⁻² Hz⁻¹)) − 48.60: Oke & Gunn 1983, ApJ 266, 713.
constexpr double ab_zero_point_jy = 3630.78;

std::string_view datatype(const TableColumn& column) {
    switch (column.kind) {
        case ColumnKind::text:
            // A `char` is ASCII. What people name, files and stars, may not be.
            return column.name == "frame" || column.name == "check_label"
                       ? "datatype=\"unicodeChar\" arraysize=\"*\""
                       : "datatype=\"char\" arraysize=\"*\"";
        case ColumnKind::number:
            return "datatype=\"double\"";
        case ColumnKind::whole:
            return "datatype=\"long\"";
        case ColumnKind::truth:
            return "datatype=\"boolean\"";
    }
    return {};
}

class VotableText : public TableText {
  public:
    VotableText(std::ostream& out, TableLevel level, const TableMeta& meta)
        : out_(out), level_(level), columns_(columns_of(level)) {
        out_ << "<?xml version=\"1.0\" encoding=\"UTF-8\"?>\n"
                "<VOTABLE version=\"1.4\" xmlns=\"http://www.ivoa.net/xml/VOTable/v1.3\">\n"
                "<RESOURCE name=\"light_curve\">\n";
        write_provenance(meta);
        out_ << fmt::format("<TABLE name=\"{}s\">\n<DESCRIPTION>The light curve, {}.</DESCRIPTION>\n",
                            name(level_),
                            level_ == TableLevel::frame ? "a row a frame" : "a row a night and band");
        if (meta.position) write_position(*meta.position);
        for (const Band& band : meta.bands)
            write_band(band);
        for (const TableColumn& column : columns_)
            write_field(column, meta);
        out_ << "<DATA>\n<TABLEDATA>\n";
    }

    void write(std::span<const Cell> row) override {
        line_ = "<TR>";
        for (std::size_t i = 0; i < columns_.size(); ++i) {
            line_ += "<TD>";
            if (const auto* text = std::get_if<std::string>(&row[i])) {
                line_ += xml_escaped(printable(*text));
            } else if (const auto* truth = std::get_if<bool>(&row[i])) {
                line_ += *truth ? "true" : "false";
            } else {
                append_number(line_, row[i], columns_[i]);
            }
            line_ += "</TD>";
        }
        line_ += "</TR>\n";
        out_.write(line_.data(), static_cast<std::streamsize>(line_.size()));
    }

    void finish() override { out_ << "</TABLEDATA>\n</DATA>\n</TABLE>\n</RESOURCE>\n</VOTABLE>\n"; }

  private:
    void write_provenance(const TableMeta& meta) {
        for (const MetaEntry& entry : entries_of(meta, level_)) {
            out_ << fmt::format("<INFO name=\"{}\" ucd=\"{}\" value=\"{}\">{}</INFO>\n", entry.key, entry.ucd,
                                xml_escaped(entry.value), entry.description);
        }
        if (meta.position) out_ << "<COOSYS ID=\"icrs\" system=\"ICRS\"/>\n";
        out_
            << "<TIMESYS ID=\"utc\" timescale=\"UTC\" refposition=\"TOPOCENTER\" timeorigin=\"JD-origin\"/>\n"
               "<TIMESYS ID=\"tdb\" timescale=\"TDB\" refposition=\"BARYCENTER\" "
               "timeorigin=\"JD-origin\"/>\n";
        if (!meta.ledger_link.empty()) {
            out_ << fmt::format(
                "<LINK content-role=\"doc\" title=\"ledger of the measurements\" href=\"{}\"/>\n",
                xml_escaped(printable(meta.ledger_link)));
        }
    }

    void write_position(const SkyPosition& position) {
        const auto write = [&](std::string_view which, double deg, std::string_view description) {
            out_ << fmt::format(
                "<PARAM name=\"{0}\" ref=\"icrs\" datatype=\"double\" unit=\"deg\" "
                "ucd=\"pos.eq.{0};meta.main\" value=\"{1:.8f}\"><DESCRIPTION>{2} of the "
                "transient</DESCRIPTION></PARAM>\n",
                which, deg, description);
        };
        write("ra", position.ra.degrees(), "right ascension");
        write("dec", position.dec.degrees(), "declination");
    }

    // One photometric system, and the columns that hold its magnitudes in the rows of that band.
    void write_band(const Band& band) {
        const BandFacts& known = facts(band);
        const bool vega = known.system == "Vega";
        out_ << fmt::format(
            "<GROUP ID=\"photometry_{0}\" name=\"{0}\" utype=\"photdm:PhotCal\">\n"
            "<DESCRIPTION>magnitudes in the rows whose band is {0}</DESCRIPTION>\n",
            xml_escaped(band.name()));
        for (const TableColumn& column : columns_) {
            if (column.use == ColumnUse::in_band || column.name == "band")
                out_ << fmt::format("<FIELDref ref=\"{}\"/>\n", column.name);
        }
        write_word("identifier", "photdm:PhotCal.identifier", "meta.id;instr.calib",
                   calibration_identifier(band));
        write_word("filter_identifier", "photdm:PhotometryFilter.identifier", "meta.id;instr.filter",
                   filter_identifier(band));
        write_word("filter_name", "photdm:PhotometryFilter.name", "instr.bandpass", band.name());
        write_number("wavelength", "photdm:PhotometryFilter.spectralLocation.value", "em.wl.effective", "nm",
                     known.wavelength_nm);
        if (known.width_nm > 0.0) {
            write_number("width", "photdm:PhotometryFilter.bandwidth.extent", "instr.bandwidth", "nm",
                         known.width_nm);
        }
        write_word("magnitude_system", "photdm:PhotCal.magnitudeSystem.type", "meta.code",
                   vega ? "VegaMag" : "ABMag");
        out_ << "<PARAM name=\"zero_point_type\" utype=\"photdm:PhotCal.zeroPoint.type\" ucd=\"meta.code\" "
                "datatype=\"int\" value=\"0\"><DESCRIPTION>Pogson's scale</DESCRIPTION></PARAM>\n";
        write_number("zero_point_magnitude", "photdm:PhotCal.zeroPoint.referenceMagnitude.value", "phot.mag",
                     "mag", 0.0);
        if (!vega)
            write_number("zero_point_flux", "photdm:PhotCal.zeroPoint.flux.value", "phot.flux.density", "Jy",
                         ab_zero_point_jy);
        out_ << "</GROUP>\n";
    }

    void write_word(std::string_view word, std::string_view utype, std::string_view ucd,
                    const std::string& value) {
        out_ << fmt::format(
            "<PARAM name=\"{}\" utype=\"{}\" ucd=\"{}\" datatype=\"char\" arraysize=\"*\" value=\"{}\"/>\n",
            word, utype, ucd, xml_escaped(value));
    }
    void write_number(std::string_view word, std::string_view utype, std::string_view ucd,
                      std::string_view unit, double value) {
        out_ << fmt::format(
            "<PARAM name=\"{}\" utype=\"{}\" ucd=\"{}\" datatype=\"double\" unit=\"{}\" value=\"{}\"/>\n",
            word, utype, ucd, unit, value);
    }

    void write_field(const TableColumn& column, const TableMeta& meta) {
        out_ << fmt::format("<FIELD ID=\"{0}\" name=\"{0}\" {1}", column.name, datatype(column));
        if (column.decimals > 0) out_ << fmt::format(" precision=\"F{}\"", column.decimals);
        if (!column.unit.empty()) out_ << fmt::format(" unit=\"{}\"", column.unit);
        out_ << fmt::format(" ucd=\"{}\"", ucd_in(column, meta.bands));
        if (column.use == ColumnUse::jd_utc) out_ << " ref=\"utc\"";
        if (column.use == ColumnUse::bjd_tdb) out_ << " ref=\"tdb\"";
        // A column points at one system; where the rows have several, each of them points at the column.
        if (column.use == ColumnUse::in_band && meta.bands.size() == 1)
            out_ << fmt::format(" ref=\"photometry_{}\"", xml_escaped(meta.bands.front().name()));
        out_ << fmt::format("><DESCRIPTION>{}</DESCRIPTION></FIELD>\n", xml_escaped(column.description));
    }

    std::ostream& out_;
    TableLevel level_;
    std::span<const TableColumn> columns_;
    std::string line_;
};

}  // namespace

std::unique_ptr<TableText> votable_text(std::ostream& out, TableLevel level, const TableMeta& meta) {
    return std::make_unique<VotableText>(out, level, meta);
}

}  // namespace emberline::exchange
