// SPDX-License-Identifier: MIT
// picture/finder_image — the field as one frame saw it, turned so that north is up and east left, with all
// that was measured in it marked (design, section 6): the transient in a four-tick reticle with its aperture
// and annulus, comparison stars by squares, the check star by a triangle, the host's nucleus by a thin cross.
// Needs: a frame and its fluxes.  Feeds: night_sheet.
#pragma once

#include <optional>
#include <string>
#include <vector>

#include "frame/frame.hpp"
#include "photometry/frame_record.hpp"
#include "picture/sheet_drawing.hpp"
#include "quantities/problem.hpp"

namespace emberline::picture {

// From the transient, in the tangent plane.
struct FieldPlace {
    double east_arcsec = 0.0, north_arcsec = 0.0;
};

enum class StarMark { comparison, check, unused };

struct FieldStar {
    std::string label;
    FieldPlace place;
    StarMark mark = StarMark::comparison;
    std::optional<double> magnitude_mag;  // where there is no picture, the size of its dot
};

struct FieldAperture {
    double radius_arcsec = 0.0, inner_arcsec = 0.0, outer_arcsec = 0.0;
    bool psf = false;  // the radius is that of a circle with as much sky noise as the fit
};

// Square cut-outs about the transient, north up.
struct FieldPictures {
    GreyPicture field, close;
};

struct FinderImage {
    std::vector<FieldStar> stars;
    std::optional<FieldPlace> nucleus;
    std::optional<FieldAperture> aperture;
    double half_field_arcsec = 300.0, half_close_arcsec = 30.0;
    std::optional<FieldPictures> pictures;  // absent: the frame is gone, positions alone are drawn
};

// Between the sky and a frame's pixels, about the transient: by where the stars were measured, so that it
// needs no plate solution and follows the frame's own registration.
class FieldMap {
  public:
    // Where fewer than two other stars were measured: by the scale and the turn that the ledger keeps.
    // Nothing without the transient, or without a scale.
    static std::optional<FieldMap> of(const photometry::FrameFluxes& frame);
    [[nodiscard]] frame::PixelPosition pixel(const FieldPlace& place) const;
    [[nodiscard]] FieldPlace place(const frame::PixelPosition& pixel) const;
    [[nodiscard]] double scale_arcsec_per_px() const;

  private:
    frame::PixelPosition origin_;
    double x_east_ = 0.0, x_north_ = 0.0, y_east_ = 0.0, y_north_ = 0.0;  // pixels an arcsecond
};

// The half width of the field that shows all these stars, and of the close-up that shows the annulus and,
// where it is near, the nucleus.
void choose_fields(FinderImage& finder);

// Only the part that is seen is read, a strip at a time, and averaged where it has more pixels than the
// picture. Problem: the frame cannot be read, or shows nothing of the field.
[[nodiscard]] Result<FieldPictures> field_pictures(const frame::Frame& frame, const FieldMap& map,
                                                   double half_field_arcsec, double half_close_arcsec);

[[nodiscard]] Drawing draw_finder(const FinderImage& finder);

}  // namespace emberline::picture
