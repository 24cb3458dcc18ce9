// SPDX-License-Identifier: MIT
#include "ledger/host_lights.hpp"

#include <fmt/format.h>

#include "ledger/columns.hpp"

namespace emberline::ledger {
namespace {

using photometry::FrameFluxes;
using photometry::HostLight;
using photometry::Surroundings;

template <class Visitor, class Around>
void surroundings_columns(Visitor& visit, Around& s) {
    visit("box_x0", s.cutout.box.x0);
    visit("box_y0", s.cutout.box.y0);
    visit("box_width", s.cutout.box.width);
    visit("box_height", s.cutout.box.height);
    visit("adu", s.cutout.adu);
    visit("x_px", s.transient.x);
    visit("y_px", s.transient.y);
    visit("px_per_arcsec", s.px_per_arcsec);
    visit("sky_adu", s.sky_adu);
    visit("sky_err_adu", s.sky_err_adu);
    visit("sky_scatter_adu", s.sky_scatter_adu);
    visit("gain_e_per_adu", s.gain_e_per_adu);
    visit("saturation_adu", s.saturation_adu);
    visit("psf", s.psf);
    visit("difference_adu", s.difference_adu);
    visit("difference_psf", s.difference_psf);
}

template <class Visitor, class Light>
void light_columns(Visitor& visit, Light& l) {
    visit("method", l.method);
    visit("flux_e", l.flux_e);
    visit("host_e", l.host_e);
    visit("variance_e2", l.variance_e2);
    visit("common_err_e", l.common_err_e);
    visit("template_light_e", l.template_light_e);
    visit("template_light_err_e", l.template_light_err_e);
    visit("caveats", l.caveats);
    visit("remarks", l.remarks);
}

ColumnNames surroundings_names() {
    ColumnNames names;
    const Surroundings any;
    surroundings_columns(names, any);
    return names;
}

ColumnNames light_names() {
    ColumnNames names;
    const HostLight any;
    light_columns(names, any);
    return names;
}

bool fits(std::size_t pixels, const frame::PixelBox& box) {
    return box.width >= 0 && box.height >= 0 && pixels == box.pixels();
}

}  // namespace

HostRecorder::HostRecorder(Connection& connection, NameLists& lists)
    : lists_(lists),
      insert_surroundings_(connection,
                           fmt::format("INSERT INTO surroundings (frame_fluxes_id, {}) VALUES (?, {})",
                                       surroundings_names().list(), surroundings_names().places())),
      insert_light_(connection,
                    fmt::format("INSERT INTO host_light (frame_fluxes_id, position, {}) VALUES (?, ?, {})",
                                light_names().list(), light_names().places())) {}

void HostRecorder::insert(std::int64_t frame_fluxes_id, const FrameFluxes& frame) {
    if (frame.surroundings) {
        insert_surroundings_.bind(0, frame_fluxes_id);
        ColumnWriter write(insert_surroundings_, 1, lists_);
        surroundings_columns(write, *frame.surroundings);
        insert_surroundings_.run();
    }
    for (std::size_t i = 0; i < frame.host_lights.size(); ++i) {
        insert_light_.bind(0, frame_fluxes_id);
        insert_light_.bind(1, static_cast<std::int64_t>(i));
        ColumnWriter write(insert_light_, 2, lists_);
        light_columns(write, frame.host_lights[i]);
        insert_light_.run();
    }
}

HostFinder::HostFinder(Connection& connection, NameLists& lists)
    : lists_(lists),
      surroundings_(connection, fmt::format("SELECT {} FROM surroundings WHERE frame_fluxes_id = ?",
                                            surroundings_names().list())),
      lights_(connection, fmt::format("SELECT {} FROM host_light WHERE frame_fluxes_id = ? ORDER BY position",
                                      light_names().list())) {}

void HostFinder::fill(std::int64_t frame_fluxes_id, FrameFluxes& frame) {
    surroundings_.bind(0, frame_fluxes_id);
    if (surroundings_.step()) {
        Surroundings& around = frame.surroundings.emplace();
        ColumnReader read(surroundings_, 0, lists_);
        surroundings_columns(read, around);
        // A list of another length would be read beyond its end.
        if (!fits(around.cutout.adu.size(), around.cutout.box) ||
            (!around.difference_adu.empty() && around.difference_adu.size() != around.cutout.adu.size()))
            surroundings_.connection().raise_damaged("the pixels about the transient cannot be read");
    }
    surroundings_.reset();
    lights_.bind(0, frame_fluxes_id);
    while (lights_.step()) {
        ColumnReader read(lights_, 0, lists_);
        light_columns(read, frame.host_lights.emplace_back());
    }
    lights_.reset();
}

}  // namespace emberline::ledger
