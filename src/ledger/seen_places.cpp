// SPDX-License-Identifier: MIT
#include "ledger/seen_places.hpp"

#include <fmt/format.h>

#include "ledger/columns.hpp"

namespace emberline::ledger {
namespace {

template <class Visitor, class Seen>
void columns(Visitor& visit, Seen& s) {
    visit("ra_rad", s.place.ra);
    visit("dec_rad", s.place.dec);
    visit("east_err_arcsec", s.east_err_arcsec);
    visit("north_err_arcsec", s.north_err_arcsec);
    visit("plate_err_arcsec", s.plate_err_arcsec);
    visit("plate_noise_arcsec", s.plate_noise_arcsec);
    visit("plate_rms_arcsec", s.plate_rms_arcsec);
    visit("host_err_arcsec", s.host_err_arcsec);
    visit("stars", s.stars);
    visit("method", s.method);
}

ColumnNames names() {
    ColumnNames names;
    const photometry::SeenPlace any;
    columns(names, any);
    return names;
}

}  // namespace

PlaceRecorder::PlaceRecorder(Connection& connection, NameLists& lists)
    : lists_(lists),
      insert_(connection, fmt::format("INSERT INTO seen_place (frame_fluxes_id, {}) VALUES (?, {})",
                                      names().list(), names().places())) {}

void PlaceRecorder::insert(std::int64_t frame_fluxes_id, const photometry::FrameFluxes& frame) {
    if (!frame.seen) return;
    insert_.bind(0, frame_fluxes_id);
    ColumnWriter write(insert_, 1, lists_);
    columns(write, *frame.seen);
    insert_.run();
}

PlaceFinder::PlaceFinder(Connection& connection, NameLists& lists)
    : lists_(lists),
      find_(connection, fmt::format("SELECT {} FROM seen_place WHERE frame_fluxes_id = ?", names().list())) {}

void PlaceFinder::fill(std::int64_t frame_fluxes_id, photometry::FrameFluxes& frame) {
    find_.bind(0, frame_fluxes_id);
    if (find_.step()) {
        frame.seen.emplace();
        ColumnReader read(find_, 0, lists_);
        columns(read, *frame.seen);
    }
    find_.reset();
}

}  // namespace emberline::ledger
