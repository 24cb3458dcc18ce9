// SPDX-License-Identifier: MIT
#include "ledger/fluxes.hpp"

#include <fmt/format.h>

#include <map>
#include <set>

#include "ledger/columns.hpp"
#include "ledger/frame_names.hpp"
#include "ledger/host_lights.hpp"
#include "ledger/provenance.hpp"
#include "ledger/seen_places.hpp"

namespace emberline::ledger {
namespace {

using photometry::FrameFluxes;
using photometry::StarFlux;

template <class Visitor, class Frame>
void frame_columns(Visitor& visit, Frame& f) {
    visit("frame", f.frame);
    visit("fingerprint", f.fingerprint);
    visit("plane", f.plane);
    visit("night", f.night);
    visit("band", f.band);
    visit("instrument", f.instrument);
    visit("filter", f.filter);
    visit("mid_jd_day", f.mid_exposure.day);
    visit("mid_jd_fraction", f.mid_exposure.fraction);
    visit("mid_time_scale", f.mid_exposure.scale);
    visit("bjd_tdb", f.bjd_tdb);
    visit("exposure_s", f.exposure_s);
    visit("airmass", f.airmass);
    visit("gain_e_per_adu", f.gain_e_per_adu);
    visit("read_noise_e", f.read_noise_e);
    visit("scintillation", f.scintillation);
    visit("flat_err", f.flat_err);
    visit("fwhm_px", f.fwhm_px);
    visit("elongation", f.elongation);
    visit("direction_deg", f.direction_deg);
    visit("scale_arcsec_per_px", f.scale_arcsec_per_px);
    visit("mirrored", f.mirrored);
    visit("rotation_deg", f.rotation_deg);
    visit("shift_x_px", f.shift_x_px);
    visit("shift_y_px", f.shift_y_px);
    visit("shift_scatter_px", f.shift_scatter_px);
    visit("stars_expected", f.stars_expected);
    visit("stars_found", f.stars_found);
    visit("apertures", f.apertures);
    visit("caveats", f.caveats);
    visit("remarks", f.remarks);
    visit("plate", f.plate);
    visit("plate_stars", f.plate_stars);
    visit("plate_rms_arcsec", f.plate_rms_arcsec);
    visit("middle_ra_deg", f.middle_ra_deg);
    visit("middle_dec_deg", f.middle_dec_deg);
    visit("stack_of", f.stack_of);
}

template <class Visitor, class Star>
void star_columns(Visitor& visit, Star& s) {
    visit("label", s.label);
    visit("ra_rad", s.place.ra);
    visit("dec_rad", s.place.dec);
    visit("x_px", s.position.x);
    visit("y_px", s.position.y);
    visit("position_err_px", s.position_err_px);
    visit("forced", s.forced);
    visit("flux_e", s.flux_e);
    visit("area_px", s.area_px);
    visit("sky_e_per_px", s.sky_e_per_px);
    visit("sky_err_e_per_px", s.sky_err_e_per_px);
    visit("sky_scatter_e", s.sky_scatter_e);
    visit("sky_pixels", s.sky_pixels);
    visit("sky_factor", s.sky_factor);
    visit("sky_unevenness", s.sky_unevenness);
    visit("peak_adu", s.peak_adu);
    visit("fwhm_px", s.fwhm_px);
    visit("airmass", s.airmass);
    visit("caveats", s.caveats);
    visit("place_err", s.place_err);
}

ColumnNames frame_column_names() {
    ColumnNames names;
    const FrameFluxes any;
    frame_columns(names, any);
    return names;
}

ColumnNames star_column_names() {
    ColumnNames names;
    const StarFlux any;
    star_columns(names, any);
    return names;
}

class FluxRecorder {
  public:
    FluxRecorder(Connection& connection, const Provenance& provenance)
        : settings_(provenance.settings),
          provenance_(provenance_id(connection, provenance)),
          time_(now_utc()),
          lists_(connection),
          find_(connection,
                "SELECT f.id, p.settings = ?, f.frame FROM frame_fluxes f JOIN provenance p ON p.id = "
                "f.provenance_id "
                "WHERE f.fingerprint = ? AND f.plane = ? AND f.superseded_by IS NULL"),
          supersede_(connection, "UPDATE frame_fluxes SET superseded_by = ? WHERE id = ?"),
          insert_frame_(connection,
                        fmt::format("INSERT INTO frame_fluxes (id, provenance_id, recorded_at, {}) "
                                    "VALUES (?, ?, ?, {})",
                                    frame_column_names().list(), frame_column_names().places())),
          insert_star_(connection,
                       fmt::format("INSERT INTO star_flux (frame_fluxes_id, position, {}) VALUES (?, ?, {})",
                                   star_column_names().list(), star_column_names().places())),
          names_(connection),
          hosts_(connection, lists_),
          places_(connection, lists_),
          next_id_(connection.integer("SELECT coalesce(max(id), 0) + 1 FROM frame_fluxes")) {}

    // `planes`: of its file, that are recorded with it.
    Recorded record(const FrameFluxes& frame, const std::set<int>& planes) {
        find_.bind_text(0, settings_);
        find_.bind_text(1, frame.fingerprint);
        find_.bind(2, std::int64_t{frame.plane});
        std::optional<std::int64_t> earlier;
        std::string earlier_path;
        if (find_.step()) {
            const bool same_settings = find_.integer(1) != 0;
            earlier = find_.integer(0);
            earlier_path = find_.text(2);
            find_.reset();
            if (same_settings) return Recorded::unchanged;
        }
        find_.reset();
        if (earlier) {
            // Before the insertion: only one row of a frame may have no successor.
            supersede_.bind(0, next_id_);
            supersede_.bind(1, *earlier);
            supersede_.run();
            if (earlier_path != frame.frame) names_.carry_exclusion(earlier_path, frame.frame);
        }
        const bool overwrites =
            names_.supersede_others(next_id_, {frame.frame, frame.night, frame.fingerprint, frame.plane},
                                    [&](std::string_view, int plane) { return !planes.contains(plane); });
        insert(frame);
        return earlier || overwrites ? Recorded::superseding : Recorded::fresh;
    }

  private:
    void insert(const FrameFluxes& frame) {
        const std::int64_t id = next_id_++;
        insert_frame_.bind(0, id);
        insert_frame_.bind(1, provenance_);
        insert_frame_.bind_text(2, time_);
        ColumnWriter write_frame(insert_frame_, 3, lists_);
        frame_columns(write_frame, frame);
        insert_frame_.run();
        for (std::size_t i = 0; i < frame.stars.size(); ++i) {
            insert_star_.bind(0, id);
            insert_star_.bind(1, static_cast<std::int64_t>(i));
            ColumnWriter write_star(insert_star_, 2, lists_);
            star_columns(write_star, frame.stars[i]);
            insert_star_.run();
        }
        hosts_.insert(id, frame);
        places_.insert(id, frame);
    }

    std::string settings_;
    std::int64_t provenance_;
    std::string time_;
    NameLists lists_;
    Statement find_, supersede_, insert_frame_, insert_star_;
    FrameNames names_;
    HostRecorder hosts_;
    PlaceRecorder places_;
    std::int64_t next_id_;
};

bool all_known(Connection& connection, const std::vector<FrameFluxes>& frames, const std::string& settings) {
    for (const FrameFluxes& frame : frames) {
        if (!has_fluxes(connection, frame.fingerprint, frame.plane, settings)) return false;
    }
    return true;
}

}  // namespace

std::vector<Recorded> record_fluxes(Connection& connection, const std::vector<FrameFluxes>& frames,
                                    const Provenance& provenance) {
    Transaction transaction(connection, Transaction::Kind::write);
    if (all_known(connection, frames, provenance.settings)) return {frames.size(), Recorded::unchanged};
    std::vector<Recorded> recorded;
    {
        std::map<std::string, std::set<int>> planes;
        for (const FrameFluxes& frame : frames)
            planes[frame.fingerprint].insert(frame.plane);
        FluxRecorder recorder(connection, provenance);
        for (const FrameFluxes& frame : frames)
            recorded.push_back(recorder.record(frame, planes.at(frame.fingerprint)));
    }
    transaction.commit();
    return recorded;
}

bool has_fluxes(Connection& connection, std::string_view fingerprint, int plane, std::string_view settings) {
    Statement find(connection,
                   "SELECT 1 FROM frame_fluxes f JOIN provenance p ON p.id = f.provenance_id "
                   "WHERE f.fingerprint = ? AND f.plane = ? AND f.superseded_by IS NULL AND p.settings = ?");
    find.bind_text(0, fingerprint);
    find.bind(1, std::int64_t{plane});
    find.bind_text(2, settings);
    return find.step();
}

void visit_fluxes(Connection& connection, const std::function<bool(const FrameFluxes&)>& visit,
                  std::optional<std::string_view> night) {
    const ColumnNames of_frame = frame_column_names();
    const ColumnNames of_star = star_column_names();
    // One statement, hence one state of the ledger throughout, whatever others write meanwhile.
    Statement rows(
        connection,
        fmt::format("SELECT f.id, s.position, {}, {} FROM frame_fluxes f "
                    "LEFT JOIN star_flux s ON s.frame_fluxes_id = f.id WHERE f.superseded_by IS NULL{} "
                    "ORDER BY f.mid_jd_day + f.mid_jd_fraction, f.id, s.position",
                    of_frame.list_of("f"), of_star.list_of("s"), night ? " AND f.night = ?" : ""));
    if (night) rows.bind_text(0, *night);
    NameLists lists(connection);
    HostFinder hosts(connection, lists);
    PlaceFinder places(connection, lists);
    FrameFluxes frame;
    std::optional<std::int64_t> current;
    while (rows.step()) {
        const std::int64_t id = rows.integer(0);
        if (id != current) {
            if (current && !visit(frame)) return;
            frame = FrameFluxes();
            hosts.fill(id, frame);
            places.fill(id, frame);
            ColumnReader read_frame(rows, 2, lists);
            frame_columns(read_frame, frame);
            current = id;
        }
        if (rows.is_null(1)) continue;  // a frame without stars
        StarFlux& star = frame.stars.emplace_back();
        ColumnReader read_star(rows, 2 + of_frame.size(), lists);
        star_columns(read_star, star);
    }
    if (current) visit(frame);
}

std::vector<FrameFluxes> all_fluxes(Connection& connection, std::optional<std::string_view> night) {
    std::vector<FrameFluxes> frames;
    visit_fluxes(
        connection,
        [&](const FrameFluxes& frame) {
            frames.push_back(frame);
            return true;
        },
        night);
    return frames;
}

}  // namespace emberline::ledger
