// SPDX-License-Identifier: MIT
#include "standard/sequence.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "numerics/robust.hpp"
#include "photometry/star_flux.hpp"
#include "quantities/delimited_table.hpp"
#include "quantities/text.hpp"
#include "standard/table_slips.hpp"

namespace emberline::standard {
namespace {

// Closer than this, two rows are the same star.
constexpr double same_star_arcsec = 0.5;

struct BandColumn {
    Band band;
    std::size_t magnitude;
    std::optional<std::size_t> err;
};

bool is_plain_column(std::string_view name) {
    constexpr std::string_view known[] = {"label", "ra", "dec", "role", "auid", "name", "notes", "source"};
    return std::find(std::begin(known), std::end(known), name) != std::end(known);
}

Result<std::vector<BandColumn>> band_columns(const DelimitedTable& table, Sequence& sequence) {
    std::vector<BandColumn> columns;
    for (std::size_t i = 0; i < table.columns.size(); ++i) {
        const std::string& name = table.columns[i];
        if (is_plain_column(name)) continue;
        const bool is_err = name.ends_with("_err");
        const auto band = parse_band(is_err ? name.substr(0, name.size() - 4) : name);
        if (!band) {
            const std::string meant = band_column_meant(name);
            return fail({.what = fmt::format("The column '{}' is neither a band nor known.", name),
                         .where = fmt::format("{}, column {}", table.source, i + 1),
                         .mend = meant.empty()
                                     ? "Columns are label, ra, dec, role, and bands such as V and V_err."
                                     : fmt::format("Call it {}.", meant)});
        }
        if (is_err) continue;
        const auto twice = std::find_if(columns.begin(), columns.end(),
                                        [&](const BandColumn& other) { return other.band == *band; });
        if (twice != columns.end()) {
            return fail({.what = fmt::format("The columns '{}' and '{}' are both of the band {}.",
                                             table.columns[twice->magnitude], name, band->name()),
                         .where = fmt::format("{}, column {}", table.source, i + 1),
                         .mend = "Keep the one whose magnitudes you trust."});
        }
        const auto err = table.column(name + "_err");
        columns.push_back({*band, i, err});
        sequence.bands.push_back(*band);
        if (!err) {
            sequence.remarks.push_back(fmt::format("{}: no column {}_err; {} mag is assumed.", table.source,
                                                   name, assumed_catalogue_err_mag));
        }
    }
    if (columns.empty()) {
        return fail({.what = "The table has no magnitudes.",
                     .where = table.source,
                     .mend = "Add a column for each band, such as V and V_err."});
    }
    return columns;
}

Result<double> number_in(const DelimitedTable& table, const TableRow& row, std::size_t column, double least,
                         double most) {
    const auto value = parse_number(row.fields[column]);
    if (!value || *value < least || *value > most) {
        return fail(
            {.what = fmt::format("'{}' is not a value between {} and {}.", row.fields[column], least, most),
             .where = table.place(row, table.columns[column]),
             .mend = row.fields[column].find(',') != std::string::npos
                         ? "Decimals take a point, not a comma."
                         : "Write a number of magnitudes, or leave the field empty where it is unknown."});
    }
    return *value;
}

Result<Role> role_in(const DelimitedTable& table, const TableRow& row) {
    const auto column = table.column("role");
    if (!column || row.fields[*column].empty()) return Role::comparison;
    const std::string text = lower_case(row.fields[*column]);
    for (const Role role : {Role::comparison, Role::check, Role::ignore}) {
        if (text == word(role)) return role;
    }
    return fail({.what = fmt::format("'{}' is not a role.", row.fields[*column]),
                 .where = table.place(row, "role"),
                 .mend = "Use comparison, check or ignore."});
}

Result<ComparisonStar> star_in(const DelimitedTable& table, const TableRow& row,
                               const std::vector<BandColumn>& bands) {
    ComparisonStar star{.label = row.fields[*table.column("label")], .line = row.line};
    if (star.label.empty()) {
        return fail({.what = "The star has no label.",
                     .where = table.place(row, "label"),
                     .mend = "Label it as charts do, by its magnitude without the point: 126."});
    }
    // '@' leads the names of groups of frames where the best aperture is chosen.
    if (star.label == photometry::transient_label || star.label.front() == '@') {
        return fail(
            {.what =
                 star.label.front() == '@'
                     ? fmt::format("A star cannot be labelled '{}': no label begins with '@'.", star.label)
                     : fmt::format("A star cannot be labelled '{}': that is the transient's.", star.label),
             .where = table.place(row, "label"),
             .mend = "Label stars as charts do, by magnitude without the point: 126, 131b."});
    }
    const auto ra = parse_right_ascension(row.fields[*table.column("ra")]);
    if (!ra) return fail(at(table.place(row, "ra"), ra.error()));
    const auto dec = parse_declination(row.fields[*table.column("dec")]);
    if (!dec) return fail(at(table.place(row, "dec"), dec.error()));
    star.position = {*ra, *dec};
    const auto role = role_in(table, row);
    if (!role) return fail(role.error());
    star.role = *role;
    for (const BandColumn& column : bands) {
        if (row.fields[column.magnitude].empty()) continue;
        const auto magnitude = number_in(table, row, column.magnitude, -30.0, 40.0);
        if (!magnitude) return fail(magnitude.error());
        double err = 0.0;
        if (column.err && !row.fields[*column.err].empty()) {
            const auto given = number_in(table, row, *column.err, 0.0, 10.0);
            if (!given) return fail(given.error());
            err = *given;
        }
        // An error of exactly zero means "not given" in every table seen; no magnitude is known so well.
        star.magnitudes[column.band] = {*magnitude, err > 0.0 ? err : assumed_catalogue_err_mag};
    }
    return star;
}

// Stars of the field are redder than Vega, all but a few of them: magnitudes in each other's columns turn
// that round. Common practice, no source.
constexpr double least_usual_colour_mag = -0.2;
constexpr std::size_t least_for_colour = 3;

void remark_colours(Sequence& sequence) {
    for (const char* name : {"B-V", "V-Rc", "V-Ic", "g-r", "r-i"}) {
        const auto index = parse_colour_index(name);
        if (!index) continue;
        std::vector<double> colours;
        for (const ComparisonStar& star : sequence.stars) {
            if (const auto colour = star.colour(*index)) colours.push_back(colour->value);
        }
        if (colours.size() < least_for_colour) continue;
        const double middle = numerics::median(std::move(colours));
        if (middle > least_usual_colour_mag) continue;
        sequence.remarks.push_back(
            fmt::format("{}: {} is {:+.2f} for most of its stars, bluer than stars are: are the columns {} "
                        "and {} exchanged?",
                        sequence.source, name, middle, index->blue.name(), index->red.name()));
    }
}

void remark_checks(Sequence& sequence) {
    std::string labels;
    std::size_t checks = 0;
    for (const ComparisonStar& star : sequence.stars) {
        if (star.role != Role::check) continue;
        labels += (checks++ == 0 ? "" : ", ") + star.label;
    }
    if (checks > 1) {
        sequence.remarks.push_back(
            fmt::format("{}: {} stars have the role check, {}: the first is taken, the others "
                        "are not used. Make them comparison.",
                        sequence.source, checks, labels));
    }
}

Result<void> check_against(const Sequence& sequence, const ComparisonStar& star) {
    for (const ComparisonStar& other : sequence.stars) {
        if (other.label == star.label) {
            return fail(
                {.what = fmt::format("The label '{}' stands on line {} already.", star.label, other.line),
                 .where = fmt::format("{}, line {}, column 'label'", sequence.source, star.line),
                 .mend = fmt::format("Call one of them {}b.", star.label)});
        }
        if (separation(other.position, star.position).arcseconds() < same_star_arcsec) {
            return fail({.what = fmt::format("'{}' and '{}' are at the same place.", other.label, star.label),
                         .where = fmt::format("{}, lines {} and {}", sequence.source, other.line, star.line),
                         .mend = "Remove one of them, or mend its position."});
        }
    }
    return {};
}

}  // namespace

std::string_view word(Role role) {
    switch (role) {
        case Role::comparison:
            return "comparison";
        case Role::check:
            return "check";
        case Role::ignore:
            return "ignore";
    }
    return "comparison";
}

std::optional<ValueWithError> ComparisonStar::magnitude(const Band& band) const {
    const auto found = magnitudes.find(band);
    if (found == magnitudes.end()) return std::nullopt;
    return found->second;
}

std::optional<ValueWithError> ComparisonStar::colour(const ColourIndex& index) const {
    const auto blue = magnitude(index.blue);
    const auto red = magnitude(index.red);
    if (!blue || !red) return std::nullopt;
    return ValueWithError{blue->value - red->value, std::hypot(blue->err, red->err)};
}

const ComparisonStar* Sequence::find(std::string_view label) const {
    for (const ComparisonStar& star : stars) {
        if (star.label == label) return &star;
    }
    return nullptr;
}

Result<Sequence> parse_sequence(std::string_view text, std::string source) {
    if (auto slip = table_slip(text, source)) return fail(std::move(*slip));
    const auto table = parse_table(text, std::move(source));
    if (!table) return fail(table.error());
    Sequence sequence{.source = table->source};
    for (const char* needed : {"label", "ra", "dec"}) {
        if (!table->column(needed)) {
            const std::string alike = column_alike(table->columns, needed);
            return fail({.what = fmt::format("The column '{}' is missing.", needed),
                         .where = table->source,
                         .mend = (alike.empty() ? "" : fmt::format("Is it the column '{}'? ", alike)) +
                                 "The first line names the columns: label,ra,dec,V,V_err,role."});
        }
    }
    if (!table->column("role")) {
        sequence.remarks.push_back(table->source + ": no column role; every star is a comparison star.");
    }
    const auto bands = band_columns(*table, sequence);
    if (!bands) return fail(bands.error());
    for (const TableRow& row : table->rows) {
        auto star = star_in(*table, row, *bands);
        if (!star) return fail(star.error());
        if (auto good = check_against(sequence, *star); !good) return fail(good.error());
        sequence.stars.push_back(std::move(*star));
    }
    remark_colours(sequence);
    remark_checks(sequence);
    return sequence;
}

Result<Sequence> read_sequence(const std::string& path) {
    const auto text = read_text_file(path);
    if (!text) return fail(text.error());
    return parse_sequence(*text, path);
}

std::string write_sequence(const Sequence& sequence) {
    std::string text = "label,ra,dec";
    for (const Band& band : sequence.bands)
        text += fmt::format(",{0},{0}_err", band.name());
    text += ",role\n";
    for (const ComparisonStar& star : sequence.stars) {
        // What rounds to a whole turn is 0.
        const std::string ra = fmt::format("{:.6f}", star.position.ra.degrees());
        text += fmt::format("{},{},{:.6f}", quoted_field(star.label), ra == "360.000000" ? "0.000000" : ra,
                            star.position.dec.degrees());
        for (const Band& band : sequence.bands) {
            const auto magnitude = star.magnitude(band);
            text += magnitude ? fmt::format(",{:.3f},{:.3f}", magnitude->value, magnitude->err) : ",,";
        }
        text += fmt::format(",{}\n", word(star.role));
    }
    return text;
}

}  // namespace emberline::standard
