// SPDX-License-Identifier: MIT
// ledger/solution_rows — which columns the rows of a solution have, and how they are read. Private to this
// room.
#pragma once

#include <fmt/format.h>

#include <functional>
#include <string>
#include <vector>

#include "ledger/columns.hpp"
#include "ledger/connection.hpp"
#include "ledger/ledger.hpp"
#include "ledger/name_lists.hpp"

namespace emberline::ledger {

using night::FrameMeasurement;
using night::NightMeasurement;

template <class Visitor, class M>
void shared_columns(Visitor& visit, M& m) {
    visit("night", m.night);
    visit("band", m.band);
    visit("instrument", m.instrument);
    visit("jd_utc", m.jd_utc);
    visit("bjd_tdb", m.bjd_tdb);
    visit("exposure_s", m.exposure_s);
    visit("airmass", m.airmass);
    visit("flux_e", m.flux_e.value);
    visit("flux_err_e", m.flux_e.err);
    visit("zero_point_mag", m.zero_point_mag);
    visit("zero_point_err_mag", m.zero_point_err_mag);
    visit("is_limit", m.is_limit);
    visit("magnitude_mag", m.magnitude_mag);
    visit("random_err_mag", m.random_err_mag);
    visit("common_err_mag", m.common_err_mag);
    visit("limit_mag", m.limit_mag);
    visit.components("common_names", "common_errs_mag", m.common);
    visit("method", m.method);
    visit("transformed", m.transformed);
    visit("n_comparison", m.n_comparison);
    visit.shared("comparison_labels", m.comparison_labels);
    visit("comparison_instrumental_mag", m.comparison_instrumental_mag);
    visit("comparison_catalogue_mag", m.comparison_catalogue_mag);
    visit("colour_mag", m.colour_mag);
    visit("colour_term", m.colour_term);
    visit("colour_index", m.colour_index);
    visit("check_label", m.check.label);
    visit("check_magnitude_mag", m.check.magnitude_mag);
    visit("check_err_mag", m.check.err_mag);
    visit("check_residual_mag", m.check.residual_mag);
    visit("check_instrumental_mag", m.check.instrumental_mag);
    visit("check_catalogue_mag", m.check.catalogue_mag);
    visit("aperture_arcsec", m.aperture_arcsec);
    visit("caveats", m.caveats);
}

// What a table is called, which columns it has, by what its rows are told apart and put in time order.
template <class Row>
struct Table;

template <>
struct Table<FrameMeasurement> {
    static constexpr const char* name = "frame_measurement";
    static constexpr const char* by_time = "jd_utc, position";
    template <class Visitor, class M>
    static void columns(Visitor& visit, M& m) {
        shared_columns(visit, m);
        visit("frame", m.frame);
        visit("plane", m.plane);
        visit("fingerprint", m.fingerprint);
        visit("fwhm_px", m.fwhm_px);
        visit("aperture_px", m.aperture_px);
        visit("used", m.used);
        visit("reason", m.reason);
        visit("relative_transparency", m.relative_transparency);
    }
};

template <>
struct Table<NightMeasurement> {
    static constexpr const char* name = "night_measurement";
    static constexpr const char* by_time = "jd_utc, position";
    template <class Visitor, class M>
    static void columns(Visitor& visit, M& m) {
        shared_columns(visit, m);
        visit("n_frames", m.n_frames);
        visit("n_rejected", m.n_rejected);
        visit("chi2", m.chi2);
    }
};

template <>
struct Table<StarVerdict> {
    static constexpr const char* name = "star_verdict";
    static constexpr const char* by_time = "position";
    template <class Visitor, class M>
    static void columns(Visitor& visit, M& m) {
        visit("instrument", m.instrument);
        visit("band", m.band);
        visit("label", m.label);
        visit("offset_mag", m.offset_mag);
        visit("offset_err_mag", m.offset_err_mag);
        visit("scatter_mag", m.scatter_mag);
        visit("expected_scatter_mag", m.expected_scatter_mag);
        visit("suspect", m.suspect);
        visit("why", m.why);
    }
};

template <class Row>
ColumnNames column_names() {
    ColumnNames names;
    const Row any{};
    Table<Row>::columns(names, any);
    return names;
}

// The rows of the newest solution; `further`: " AND …", whose one parameter is `value`.
template <class Row>
std::vector<Row> newest_rows(Connection& connection, NameLists& lists, const std::string& further = {},
                             std::string_view value = {}) {
    Statement stored(connection,
                     fmt::format("SELECT {} FROM {} WHERE last_solution IS NULL{} ORDER BY position",
                                 column_names<Row>().list(), Table<Row>::name, further));
    if (!further.empty()) stored.bind_text(0, value);
    std::vector<Row> rows;
    while (stored.step()) {
        ColumnReader read(stored, 0, lists);
        Table<Row>::columns(read, rows.emplace_back());
    }
    return rows;
}

}  // namespace emberline::ledger
