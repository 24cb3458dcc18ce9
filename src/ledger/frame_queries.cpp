// SPDX-License-Identifier: MIT
#include "ledger/frame_queries.hpp"

#include <fmt/format.h>

#include "ledger/columns.hpp"

namespace emberline::ledger {
namespace {

template <class Visitor, class Frame>
void columns(Visitor& visit, Frame& f) {
    visit("fingerprint", f.fingerprint);
    visit("plane", f.plane);
    visit("frame", f.frame);
    visit("night", f.night);
    visit("band", f.band);
    visit("instrument", f.instrument);
    visit("jd_utc", f.jd_utc);
    visit("exposure_s", f.exposure_s);
    visit("used", f.used);
    visit("reason", f.reason);
}

// `measured`: rows of frame_measurement. Seeing and scale are of the fluxes: a refused frame has them too.
std::vector<ListedFrame> frames_of(Connection& connection, const std::string& measured,
                                   std::optional<std::string_view> value) {
    ColumnNames names;
    const ListedFrame any;
    columns(names, any);
    Statement rows(connection,
                   fmt::format("SELECT f.fwhm_px * f.scale_arcsec_per_px, {} FROM ({}) m "
                               "JOIN frame_fluxes f ON f.fingerprint = m.fingerprint AND f.plane = m.plane "
                               "AND f.superseded_by IS NULL ORDER BY m.jd_utc, m.position",
                               names.list_of("m"), measured));
    if (value) rows.bind_text(0, *value);
    NameLists lists(connection);
    std::vector<ListedFrame> frames;
    while (rows.step()) {
        ListedFrame& frame = frames.emplace_back();
        frame.fwhm_arcsec = rows.number(0);
        ColumnReader read(rows, 1, lists);
        columns(read, frame);
    }
    return frames;
}

}  // namespace

std::vector<ListedFrame> list_frames(Connection& connection, std::string_view night) {
    return frames_of(connection, "SELECT * FROM frame_measurement WHERE last_solution IS NULL AND night = ?",
                     night);
}

std::vector<ListedFrame> list_deepest(Connection& connection) {
    // Beside a lone max() the other columns are of the row that has it (SQLite, "Bare columns in an aggregate
    // query"). What is no number is kept as bytes, which would be more than any number.
    return frames_of(connection,
                     "SELECT *, max(CASE typeof(limit_mag) WHEN 'real' THEN limit_mag END) "
                     "FROM frame_measurement WHERE last_solution IS NULL AND used GROUP BY night, band",
                     std::nullopt);
}

}  // namespace emberline::ledger
