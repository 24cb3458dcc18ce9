// SPDX-License-Identifier: MIT
#include "exchange/fits_table.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "exchange/fits_table_form.hpp"
#include "frame/fits_table.hpp"
#include "quantities/text.hpp"

namespace emberline::exchange {
namespace {

using frame::Card;
using frame::CellKind;

Card word_card(std::string keyword, std::string value, std::string comment) {
    return {std::move(keyword), std::move(value), std::move(comment), true};
}
Card number_card(std::string keyword, std::string value, std::string comment) {
    return {std::move(keyword), std::move(value), std::move(comment), false};
}

CellKind cell_kind(ColumnKind kind) {
    switch (kind) {
        case ColumnKind::text:
            return CellKind::text;
        case ColumnKind::number:
            return CellKind::number;
        case ColumnKind::whole:
            return CellKind::whole;
        case ColumnKind::truth:
            return CellKind::truth;
    }
    return CellKind::text;
}

// The value of the column is the time itself: reference pixel and value 0, a step of 1 (section 9.2 with
// table 22 of section 8: a column that is its own coordinate).
std::vector<Card> time_cards(const TimeForm& time, bool site_known) {
    std::vector<Card> cards{word_card("TCTYP", std::string(time.scale), "time scale"),
                            word_card("TCUNI", "d", "days"),
                            number_card("TCRPX", "0.0", "the column holds the time itself"),
                            number_card("TCRVL", "0.0", ""), number_card("TCDLT", "1.0", "")};
    if (time.barycentric) {
        cards.push_back(word_card("TRPOS", "BARYCENTER", "where the clock is"));
        cards.push_back(word_card("TRDIR", std::string(direction_keywords), "of the light time"));
    } else if (site_known) {  // the standard wants the place with it; without the word it is the default
        cards.push_back(word_card("TRPOS", "TOPOCENTER", "where the clock is"));
    }
    return cards;
}

void add_words(std::vector<Card>& cards, const TableMeta& meta, TableLevel level) {
    struct Known {
        std::string_view key, keyword;
    };
    constexpr Known known[] = {
        {"transient", "OBJECT"},  {"observer", "OBSCODE"},  {"observer_name", "OBSERVER"},
        {"software", "CREATOR"},  {"level", level_keyword}, {"campaign", "CAMPAIGN"},
        {"solution", "SOLUTION"}, {"chart", "CHART"},       {"magnitude_system", "MAGSYS"}};
    for (const MetaEntry& entry : entries_of(meta, level)) {
        const auto at = std::find_if(std::begin(known), std::end(known),
                                     [&](const Known& k) { return k.key == entry.key; });
        const std::string value = fits_text(entry.value);
        if (at == std::end(known)) {
            cards.push_back({"COMMENT", "", fmt::format("{}: {}", entry.key, value), false});
        } else {
            const bool fits = value.size() + entry.description.size() < 62;
            cards.push_back(
                word_card(std::string(at->keyword), value, fits ? std::string(entry.description) : ""));
        }
    }
    for (std::size_t i = 0; i < meta.bands.size(); ++i) {
        cards.push_back(word_card(fmt::format("BAND{}", i + 1), meta.bands[i].name(), "passband"));
        cards.push_back(word_card(fmt::format("PHOTID{}", i + 1), calibration_identifier(meta.bands[i]),
                                  "its calibration"));
    }
}

std::vector<Card> header_cards(const TableMeta& meta, TableLevel level,
                               const std::optional<sky::Site>& site) {
    std::vector<Card> cards{
        word_card("TIMESYS", "UTC", "of times without a scale of their own"),
        number_card("JDREF", "0.0", "times are Julian dates"),
        word_card("TIMEUNIT", "d", "days"),
    };
    if (site) {
        const sky::Geocentric place = sky::geocentric(*site);
        cards.push_back(word_card("TREFPOS", "TOPOCENTER", "where the clock is"));
        cards.push_back(number_card("OBSGEO-X", fmt::format("{:.3f}", place.x_m), "[m] of the site, WGS84"));
        cards.push_back(number_card("OBSGEO-Y", fmt::format("{:.3f}", place.y_m), "[m]"));
        cards.push_back(number_card("OBSGEO-Z", fmt::format("{:.3f}", place.z_m), "[m]"));
    }
    if (meta.position) {
        cards.push_back(word_card("RADESYS", "ICRS", "of RA and DEC"));
        cards.push_back(
            number_card("RA", fmt::format("{:.8f}", meta.position->ra.degrees()), "[deg] of the transient"));
        cards.push_back(number_card("DEC", fmt::format("{:.8f}", meta.position->dec.degrees()),
                                    "[deg] of the transient"));
    }
    cards.push_back(word_card(std::string(text_keyword), std::string(text_coding),
                              "in texts, bytes beyond ASCII as %XX"));
    add_words(cards, meta, level);
    return cards;
}

frame::TableForm form_of(TableLevel level, const TableMeta& meta, const std::optional<sky::Site>& site) {
    frame::TableForm form;
    form.name = "LIGHTCURVE";
    for (const TableColumn& column : columns_of(level)) {
        frame::ColumnForm one;
        one.name = column.name;
        one.kind = cell_kind(column.kind);
        one.unit = column.unit;
        one.description = column.description;
        one.ucd = ucd_in(column, meta.bands);
        if (column.kind == ColumnKind::number)
            one.display = fmt::format("F{}.{}", column.decimals + 9, column.decimals);
        if (const auto time = time_form(column)) {
            // Without a position there is no direction to point to.
            one.cards = time_cards(*time, site.has_value());
            if (!meta.position) std::erase_if(one.cards, [](const Card& c) { return c.keyword == "TRDIR"; });
        }
        form.columns.push_back(std::move(one));
    }
    form.cards = header_cards(meta, level, site);
    return form;
}

int hexadecimal(char c) {
    if (c >= '0' && c <= '9') return c - '0';
    if (c >= 'A' && c <= 'F') return c - 'A' + 10;
    if (c >= 'a' && c <= 'f') return c - 'a' + 10;
    return -1;
}

// One row of a block, in the order of the contract.
Cell cell_of(const frame::FitsColumn& column, ColumnKind kind, std::size_t row, bool coded) {
    if (kind == ColumnKind::text) return coded ? text_of_fits(column.texts[row]) : column.texts[row];
    const double number = column.numbers[row];
    if (!std::isfinite(number)) return {};
    if (kind == ColumnKind::truth) return number != 0.0;
    if (kind == ColumnKind::number) return number;
    if (!column.texts.empty()) return parse_integer(column.texts[row]).value_or(0);
    return static_cast<long long>(std::llround(number));
}

}  // namespace

std::string fits_text(std::string_view text) {
    std::string out;
    for (std::size_t i = 0; i < text.size(); ++i) {
        const char c = text[i];
        const bool outer_blank = c == ' ' && (i == 0 || i + 1 == text.size());
        if (c >= ' ' && c <= '~' && c != '%' && !outer_blank) {
            out += c;
        } else {
            out += fmt::format("%{:02X}", static_cast<unsigned>(static_cast<unsigned char>(c)));
        }
    }
    return out;
}

std::string text_of_fits(std::string_view text) {
    std::string out;
    for (std::size_t i = 0; i < text.size(); ++i) {
        const int high = text[i] == '%' && i + 2 < text.size() ? hexadecimal(text[i + 1]) : -1;
        const int low = high >= 0 ? hexadecimal(text[i + 2]) : -1;
        if (low < 0) {
            out += text[i];
        } else {
            out += static_cast<char>(high * 16 + low);
            i += 2;
        }
    }
    return out;
}

template <class Row>
Result<FitsTableWriter<Row>> FitsTableWriter<Row>::create(const std::string& path, const TableMeta& meta,
                                                          const std::optional<sky::Site>& site) {
    auto table = frame::TableWriter::create(path, form_of(level_of<Row>, meta, site));
    if (!table) return fail(table.error());
    return FitsTableWriter(std::move(*table));
}

template <class Row>
Result<void> FitsTableWriter<Row>::write(const Row& row) {
    read_cells(row, cells_);
    for (Cell& cell : cells_) {
        if (auto* text = std::get_if<std::string>(&cell)) *text = fits_text(*text);
    }
    return table_->append(cells_);
}

template class FitsTableWriter<night::NightMeasurement>;
template class FitsTableWriter<night::FrameMeasurement>;

Result<FitsTableFile> read_fits_rows(const std::string& path,
                                     const std::function<bool(TableLevel, std::span<const Cell>)>& visit) {
    FitsTableFile file;
    std::optional<Problem> problem;
    std::vector<Cell> cells;
    const auto read = frame::for_each_fits_block(path, [&](const frame::FitsTable& block, std::size_t first) {
        auto places = find_columns(block);
        if (!places) {
            problem = at(path, places.error());
            return false;
        }
        if (first == 0) {
            file.level = places->level;
            file.header = block.header;
        }
        const auto wanted = columns_of(file.level);
        const bool coded = is_text_coded(block.header);
        for (std::size_t row = 0; row < block.rows; ++row) {
            cells.clear();
            for (std::size_t i = 0; i < wanted.size(); ++i)
                cells.push_back(cell_of(block.columns[places->columns[i]], wanted[i].kind, row, coded));
            ++file.rows;
            if (!visit(file.level, cells)) return false;
        }
        return true;
    });
    if (problem) return fail(std::move(*problem));
    if (!read) return fail(read.error());
    return file;
}

}  // namespace emberline::exchange
