// SPDX-License-Identifier: MIT
// stars/fit_plate — the plate solution through stars whose places on the sky are known.
// Sources: Calabretta & Greisen (2002), A&A 395, 1077 (TAN); Shupe et al. (2005), ASPC 347, 491 (SIP).
#pragma once

#include <vector>

#include "frame/header.hpp"
#include "frame/wcs.hpp"
#include "quantities/problem.hpp"
#include "quantities/sky_position.hpp"
#include "stars/plate_polynomial.hpp"

namespace emberline::stars {

struct PlatePair {
    frame::PixelPosition pixel;
    SkyPosition sky;
    double err_arcsec = 0.1;              // of their difference, one axis
    std::size_t star = 0, reference = 0;  // whence they came
    // Filled by the fit: what is left, the pixel through the solution − the given place, arcseconds.
    double east_arcsec = 0.0, north_arcsec = 0.0;
    bool used = true;  // false: set aside as no partner
};

struct PlateFit {
    std::vector<frame::Card> cards;  // WCSAXES, CTYPE, CRVAL, CRPIX, CD, RADESYS, and SIP with its inverse
    frame::Wcs wcs;                  // of these cards, as a reader of them has it
    int order = 1;                   // 1: TAN; 2 and more: TAN-SIP of that order
    std::vector<PlatePair> pairs;
    std::size_t used = 0;
    double rms_arcsec = 0.0;  // of the used ones, √(Σ(Δe² + Δn²)/n)
    double rms_px = 0.0;
    // One sigma of the solution, one axis, where on the frame it is worst: few stars, or all in one corner.
    double worst_err_px = 0.0;
    PlatePolynomial polynomial;  // what the cards say, as it was fitted
};

// Weighted least squares, outliers set aside; the order is raised only where the number of stars supports it
// and what is left shrinks by more than chance, to `most_order`: first square pixels without shear (four
// parameters), then any TAN (six), then SIP. The reference pixel is the frame's middle. Errors are taken as
// they are where what is left agrees with them, and widened by one common scatter where it does not.
// Problem: fewer than three pairs that agree, pairs on one line.
[[nodiscard]] Result<PlateFit> fit_plate(std::vector<PlatePair> pairs, int width_px, int height_px,
                                         int most_order = 3);

}  // namespace emberline::stars
