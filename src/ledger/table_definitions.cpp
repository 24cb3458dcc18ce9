// SPDX-License-Identifier: MIT
#include "ledger/table_definitions.hpp"

#include <fmt/format.h>

namespace emberline::ledger {
namespace {

// Nothing is ever deleted. A flux row that was measured again points at its successor; a row of a solution is
// valid from its first to its last solution, and in the newest one while it has no last.
// Names end in their units as in the headers. A list of names is kept once, in name_list.
constexpr const char* tables = R"sql(
CREATE TABLE provenance (
    id INTEGER PRIMARY KEY,
    software TEXT NOT NULL,
    settings TEXT NOT NULL,
    campaign TEXT NOT NULL,
    since TEXT NOT NULL,
    UNIQUE (settings, software, campaign)
);
CREATE TABLE name_list (
    id INTEGER PRIMARY KEY,
    names TEXT NOT NULL UNIQUE
);
CREATE TABLE frame_fluxes (
    id INTEGER PRIMARY KEY,
    provenance_id INTEGER NOT NULL REFERENCES provenance (id),
    recorded_at TEXT NOT NULL,
    superseded_by INTEGER REFERENCES frame_fluxes (id) DEFERRABLE INITIALLY DEFERRED,
    frame TEXT NOT NULL,
    fingerprint TEXT NOT NULL,
    plane INTEGER NOT NULL,
    night TEXT NOT NULL,
    band TEXT NOT NULL,
    instrument TEXT NOT NULL,
    filter TEXT NOT NULL,
    mid_jd_day REAL NOT NULL,
    mid_jd_fraction REAL NOT NULL,
    mid_time_scale TEXT NOT NULL,
    bjd_tdb REAL NOT NULL,
    exposure_s REAL NOT NULL,
    airmass REAL,
    gain_e_per_adu REAL NOT NULL,
    read_noise_e REAL NOT NULL,
    scintillation REAL NOT NULL,
    flat_err REAL NOT NULL,
    fwhm_px REAL NOT NULL,
    elongation REAL NOT NULL,
    direction_deg REAL NOT NULL,
    scale_arcsec_per_px REAL NOT NULL,
    mirrored INTEGER NOT NULL,
    rotation_deg REAL NOT NULL,
    shift_x_px REAL NOT NULL,
    shift_y_px REAL NOT NULL,
    shift_scatter_px REAL NOT NULL,
    stars_expected INTEGER NOT NULL,
    stars_found INTEGER NOT NULL,
    apertures BLOB NOT NULL,
    caveats INTEGER NOT NULL,
    remarks TEXT NOT NULL,
    plate TEXT NOT NULL DEFAULT 'header',
    plate_stars INTEGER NOT NULL DEFAULT 0,
    plate_rms_arcsec REAL NOT NULL DEFAULT 0,
    middle_ra_deg REAL,
    middle_dec_deg REAL,
    stack_of TEXT NOT NULL DEFAULT ''
);
CREATE UNIQUE INDEX current_frame ON frame_fluxes (fingerprint, plane) WHERE superseded_by IS NULL;
CREATE INDEX current_frame_by_time ON frame_fluxes (mid_jd_day + mid_jd_fraction) WHERE superseded_by IS NULL;
CREATE INDEX superseded_frame ON frame_fluxes (superseded_by) WHERE superseded_by IS NOT NULL;
CREATE TABLE star_flux (
    frame_fluxes_id INTEGER NOT NULL REFERENCES frame_fluxes (id),
    position INTEGER NOT NULL,
    label TEXT NOT NULL,
    ra_rad REAL NOT NULL,
    dec_rad REAL NOT NULL,
    x_px REAL NOT NULL,
    y_px REAL NOT NULL,
    position_err_px REAL NOT NULL,
    forced INTEGER NOT NULL,
    flux_e BLOB NOT NULL,
    area_px BLOB NOT NULL,
    sky_e_per_px REAL NOT NULL,
    sky_err_e_per_px REAL NOT NULL,
    sky_scatter_e REAL NOT NULL,
    sky_pixels REAL NOT NULL,
    sky_factor REAL NOT NULL,
    sky_unevenness REAL NOT NULL,
    peak_adu REAL NOT NULL,
    fwhm_px REAL,
    airmass REAL,
    caveats BLOB NOT NULL,
    place_err BLOB NOT NULL DEFAULT x'',
    PRIMARY KEY (frame_fluxes_id, position)
) WITHOUT ROWID;
CREATE TABLE exclusion (
    id INTEGER PRIMARY KEY,
    kind TEXT NOT NULL,
    key TEXT NOT NULL,
    reason TEXT NOT NULL,
    since TEXT NOT NULL,
    ended_at TEXT
);
CREATE UNIQUE INDEX current_exclusion ON exclusion (kind, key) WHERE ended_at IS NULL;
CREATE TABLE solution (
    id INTEGER PRIMARY KEY,
    provenance_id INTEGER NOT NULL REFERENCES provenance (id),
    stored_at TEXT NOT NULL
);
CREATE TABLE frame_measurement (
    id INTEGER PRIMARY KEY,
    first_solution INTEGER NOT NULL REFERENCES solution (id),
    last_solution INTEGER REFERENCES solution (id),
    position INTEGER NOT NULL,
    {measurement}
    frame TEXT NOT NULL,
    plane INTEGER NOT NULL,
    fingerprint TEXT NOT NULL,
    fwhm_px REAL NOT NULL,
    aperture_px REAL NOT NULL,
    used INTEGER NOT NULL,
    reason TEXT NOT NULL,
    relative_transparency REAL NOT NULL
);
CREATE INDEX current_frame_measurement ON frame_measurement (jd_utc, position) WHERE last_solution IS NULL;
CREATE TABLE night_measurement (
    id INTEGER PRIMARY KEY,
    first_solution INTEGER NOT NULL REFERENCES solution (id),
    last_solution INTEGER REFERENCES solution (id),
    position INTEGER NOT NULL,
    {measurement}
    n_frames INTEGER NOT NULL,
    n_rejected INTEGER NOT NULL,
    chi2 REAL NOT NULL
);
CREATE INDEX current_night_measurement ON night_measurement (jd_utc, position) WHERE last_solution IS NULL;
CREATE TABLE star_verdict (
    id INTEGER PRIMARY KEY,
    first_solution INTEGER NOT NULL REFERENCES solution (id),
    last_solution INTEGER REFERENCES solution (id),
    position INTEGER NOT NULL,
    instrument TEXT NOT NULL,
    band TEXT NOT NULL,
    label TEXT NOT NULL,
    offset_mag REAL NOT NULL,
    offset_err_mag REAL NOT NULL,
    scatter_mag REAL NOT NULL,
    expected_scatter_mag REAL NOT NULL,
    suspect INTEGER NOT NULL,
    why TEXT NOT NULL
);
CREATE INDEX current_star_verdict ON star_verdict (position) WHERE last_solution IS NULL;
)sql";

// Since version 2: the host's light, and the pixels that it is taken away from.
constexpr const char* host_tables = R"sql(
CREATE TABLE surroundings (
    frame_fluxes_id INTEGER PRIMARY KEY REFERENCES frame_fluxes (id),
    box_x0 INTEGER NOT NULL,
    box_y0 INTEGER NOT NULL,
    box_width INTEGER NOT NULL,
    box_height INTEGER NOT NULL,
    adu BLOB NOT NULL,
    x_px REAL NOT NULL,
    y_px REAL NOT NULL,
    px_per_arcsec BLOB NOT NULL,
    sky_adu REAL NOT NULL,
    sky_err_adu REAL NOT NULL,
    sky_scatter_adu REAL NOT NULL,
    gain_e_per_adu REAL NOT NULL,
    saturation_adu REAL NOT NULL,
    psf BLOB NOT NULL,
    difference_adu BLOB NOT NULL,
    difference_psf BLOB NOT NULL
);
CREATE TABLE host_light (
    frame_fluxes_id INTEGER NOT NULL REFERENCES frame_fluxes (id),
    position INTEGER NOT NULL,
    method TEXT NOT NULL,
    flux_e BLOB NOT NULL,
    host_e BLOB NOT NULL,
    variance_e2 BLOB NOT NULL,
    common_err_e BLOB NOT NULL,
    template_light_e REAL NOT NULL,
    template_light_err_e REAL NOT NULL,
    caveats INTEGER NOT NULL,
    remarks TEXT NOT NULL,
    PRIMARY KEY (frame_fluxes_id, position)
) WITHOUT ROWID;
)sql";

// Since version 3: what a star's light varies by with its place on the pixels.
constexpr const char* place_errors = "ALTER TABLE star_flux ADD COLUMN place_err BLOB NOT NULL DEFAULT x''";

// Since version 4: where plate solutions come from, and what a stack is made of.
constexpr const char* plate_columns = R"sql(
ALTER TABLE frame_fluxes ADD COLUMN plate TEXT NOT NULL DEFAULT 'header';
ALTER TABLE frame_fluxes ADD COLUMN plate_stars INTEGER NOT NULL DEFAULT 0;
ALTER TABLE frame_fluxes ADD COLUMN plate_rms_arcsec REAL NOT NULL DEFAULT 0;
ALTER TABLE frame_fluxes ADD COLUMN middle_ra_deg REAL;
ALTER TABLE frame_fluxes ADD COLUMN middle_dec_deg REAL;
ALTER TABLE frame_fluxes ADD COLUMN stack_of TEXT NOT NULL DEFAULT '';
)sql";

// Since version 4 too: the solutions made here, the stars they are matched with, and files that change names.
constexpr const char* plate_tables = R"sql(
CREATE TABLE plate_solution (
    id INTEGER PRIMARY KEY,
    fingerprint TEXT NOT NULL,
    cards TEXT NOT NULL,
    sip_order INTEGER NOT NULL,
    stars INTEGER NOT NULL,
    rms_arcsec REAL NOT NULL,
    false_probability REAL NOT NULL,
    log_odds REAL NOT NULL,
    against TEXT NOT NULL,
    since TEXT NOT NULL
);
CREATE INDEX plate_of_frame ON plate_solution (fingerprint, id);
CREATE TABLE field_reference (
    id INTEGER PRIMARY KEY,
    fingerprint TEXT NOT NULL,
    frame TEXT NOT NULL,
    scale_arcsec_per_px REAL NOT NULL,
    mirrored INTEGER NOT NULL,
    labels TEXT NOT NULL,
    stars BLOB NOT NULL,
    since TEXT NOT NULL
);
CREATE TABLE former_frame_name (
    id INTEGER PRIMARY KEY,
    fingerprint TEXT NOT NULL,
    frame TEXT NOT NULL,
    until TEXT NOT NULL
);
CREATE INDEX current_frame_by_name ON frame_fluxes (frame) WHERE superseded_by IS NULL;
)sql";

// Since version 5: where the transient's light stood on the sky, colour and extinction terms found here, and
// what went out in which file.
constexpr const char* report_tables = R"sql(
CREATE TABLE seen_place (
    frame_fluxes_id INTEGER PRIMARY KEY REFERENCES frame_fluxes (id),
    ra_rad REAL NOT NULL,
    dec_rad REAL NOT NULL,
    east_err_arcsec REAL NOT NULL,
    north_err_arcsec REAL NOT NULL,
    plate_err_arcsec REAL NOT NULL,
    plate_noise_arcsec REAL NOT NULL,
    plate_rms_arcsec REAL NOT NULL,
    host_err_arcsec REAL NOT NULL,
    stars INTEGER NOT NULL,
    method TEXT NOT NULL
);
CREATE TABLE transformation (
    id INTEGER PRIMARY KEY,
    instrument TEXT NOT NULL,
    band TEXT NOT NULL,
    colour_index TEXT NOT NULL,
    colour_term REAL NOT NULL,
    colour_term_err REAL NOT NULL,
    extinction REAL,
    extinction_err REAL,
    colour_low_mag REAL NOT NULL,
    colour_high_mag REAL NOT NULL,
    scatter_mag REAL NOT NULL,
    stars INTEGER NOT NULL,
    frames INTEGER NOT NULL,
    night TEXT NOT NULL,
    against TEXT NOT NULL,
    since TEXT NOT NULL
);
CREATE INDEX transformation_of ON transformation (instrument, band, colour_index, id);
CREATE TABLE reported (
    id INTEGER PRIMARY KEY,
    format TEXT NOT NULL,
    subject TEXT NOT NULL,
    content TEXT NOT NULL,
    file TEXT NOT NULL,
    since TEXT NOT NULL
);
CREATE INDEX reported_subject ON reported (format, subject, id);
)sql";

constexpr const char* measurement_columns = R"sql(night TEXT NOT NULL,
    band TEXT NOT NULL,
    instrument TEXT NOT NULL,
    jd_utc REAL NOT NULL,
    bjd_tdb REAL NOT NULL,
    exposure_s REAL NOT NULL,
    airmass REAL,
    flux_e REAL NOT NULL,
    flux_err_e REAL NOT NULL,
    zero_point_mag REAL NOT NULL,
    zero_point_err_mag REAL NOT NULL,
    is_limit INTEGER NOT NULL,
    magnitude_mag REAL,
    random_err_mag REAL,
    common_err_mag REAL,
    limit_mag REAL,
    common_names INTEGER NOT NULL REFERENCES name_list (id),
    common_errs_mag BLOB NOT NULL,
    method TEXT NOT NULL,
    transformed INTEGER NOT NULL,
    n_comparison INTEGER NOT NULL,
    comparison_labels INTEGER NOT NULL REFERENCES name_list (id),
    comparison_instrumental_mag REAL,
    comparison_catalogue_mag REAL,
    colour_mag REAL,
    colour_term REAL,
    colour_index TEXT NOT NULL,
    check_label TEXT NOT NULL,
    check_magnitude_mag REAL,
    check_err_mag REAL,
    check_residual_mag REAL,
    check_instrumental_mag REAL,
    check_catalogue_mag REAL,
    aperture_arcsec REAL NOT NULL,
    caveats INTEGER NOT NULL,)sql";

// Since version 6: one night is found, and the nights are counted, without reading the others. (The last
// column is there so that the index holds all that the counting asks for.)
constexpr const char* night_indexes = R"sql(
CREATE INDEX current_frame_of_night ON frame_fluxes (night, mid_jd_day + mid_jd_fraction)
    WHERE superseded_by IS NULL;
CREATE INDEX current_frame_measurement_of_night ON frame_measurement (night, band, used, last_solution)
    WHERE last_solution IS NULL;
CREATE INDEX current_night_measurement_of_night ON night_measurement (night) WHERE last_solution IS NULL;
)sql";

}  // namespace

std::vector<std::string> statements_of_new_ledger() {
    return {fmt::format(fmt::runtime(tables), fmt::arg("measurement", measurement_columns)), host_tables,
            plate_tables, report_tables, night_indexes};
}

std::span<const Migration> migrations() {
    static const Migration steps[] = {{2, host_tables},
                                      {3, place_errors},
                                      {4, std::string(plate_columns) + plate_tables},
                                      {5, report_tables},
                                      {6, night_indexes}};
    return steps;
}

}  // namespace emberline::ledger
