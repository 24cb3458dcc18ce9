// SPDX-License-Identifier: MIT
// standard/zero_points — one linear least-squares problem per band and instrument over the whole campaign.
// Source: Honeycutt 1992, PASP 104, 435, extended by catalogue priors, a colour term and extinction.
// Notation: m = −2.5 log10(F/e⁻); z_f zero point of frame f; δ_i offset of star i from its catalogue
// magnitude M_i; T colour term; C_i colour, C̄ the sequence's mean; k extinction, X airmass.
//   M_i + δ_i = m_if + z_f + T (C_i − C̄) − k (X_if − X_f) + noise
// where X_f is the transient's own airmass in that frame, so that z_f needs no correction for it.
// Zero points include the exposure time: m is not per second.
// A catalogue's error of V sits in its B−V as well. Left alone it pulls T by −σ_V²/var(C) (for σ_V = 0.03 and
// colours that spread by 0.2 mag: by −0.02). So with the sequence's colours drawn from a Gaussian of variance
// S² about C̄, each star's expected true colour C̄ + (1 − σ_C²/S²)(C − C̄) takes the place of C, and its
// expected offset −Cov(e_M, e_C)(C − C̄)/S² is the mean of δ's prior (regression calibration; Fuller 1987,
// Measurement Error Models, ch. 1).
#pragma once

#include <optional>
#include <string>
#include <vector>

#include "numerics/matrix.hpp"
#include "photometry/noise.hpp"
#include "quantities/problem.hpp"
#include "quantities/value_with_error.hpp"

namespace emberline::standard {

struct SolveStar {
    std::string label;
    double catalogue_mag = 0.0;
    double catalogue_err_mag = 0.0;    // width of the core of δ's heavy-tailed prior
    std::optional<double> colour_mag;  // absent: takes no part in the colour term, sits at C̄
    double colour_err_mag = 0.0;       // of the catalogue's colour
    // Covariance of the catalogue's errors of magnitude and colour: −σ_V² for V and B−V, +σ_B² for B and B−V.
    double colour_covariance_mag2 = 0.0;
};

struct SolveObservation {
    std::size_t frame = 0, star = 0;  // indices
    double flux_e = 0.0;
    photometry::NoiseTerms noise;
    double airmass_difference = 0.0;  // X_if − X_f
};

struct SolveInput {
    std::size_t frames = 0;
    std::vector<SolveStar> stars;
    std::vector<SolveObservation> observations;
    ValueWithError colour_term_prior{0.0, 0.1};  // from earlier campaigns of the instrument, or wide
    // false: T = 0, exactly. true: T is fitted where four stars or more span 0.3 mag of colour, or where the
    // prior is 0.05 mag or narrower, that is, a term known from before.
    bool fit_colour_term = false;
    // What T is about: a catalogue's error of the colour and of the magnitude come into M − T C together. 0
    // is near enough for a filter made for its band; solve_zero_points() finds it where T is large.
    double expected_colour_term = 0.0;
    ValueWithError extinction_prior{0.15, 0.06};  // mag per airmass
};

struct FrameZeroPoint {
    bool determined = false;       // false: no usable star, or all together below three sigma
    double zero_point_mag = 0.0;   // z_f
    double random_err_mag = 0.0;   // given the globals: noise and scatter floor of its stars
    std::vector<double> gradient;  // d z_f / d globals, see ZeroPoints::global_names
    std::size_t stars = 0;         // that carry weight
    double scatter_mag = 0.0;      // robust, of its stars' residuals
    // Of this frame alone, beyond noise and floor: uneven cloud; in its error.
    double extra_scatter_mag = 0.0;
    double chi2 = 0.0;  // of its stars, noise and floor, robustly weighted
    std::size_t dof = 0;
};

struct StarOffset {
    ValueWithError offset_mag;          // δ_i
    double prior_weight = 1.0;          // near 1: obeyed; near 0: the catalogue is not believed
    bool suspect = false;               // δ far outside its prior, or varying from frame to frame
    double scatter_mag = 0.0;           // robust, over its frames
    double expected_scatter_mag = 0.0;  // from the noise
    std::size_t frames = 0;
    std::string why;  // one sentence where suspect
};

struct ZeroPoints {
    std::vector<FrameZeroPoint> frames;
    std::vector<StarOffset> stars;
    ValueWithError colour_term;  // T
    bool colour_term_fitted = false;
    double mean_colour_mag = 0.0;                        // C̄
    double colour_low_mag = 0.0, colour_high_mag = 0.0;  // range of the stars' colours
    ValueWithError extinction;                           // k
    double scatter_floor_mag = 0.0;  // σ₀: per star and frame beyond the noise; the transient's too. One star
                                     // alone cannot tell it: 0
    std::vector<std::string> global_names;  // "star 126", …, "extinction", "colour term" (last, where fitted)
    numerics::Matrix global_covariance;     // posterior
    std::vector<double> prior_variance;     // of each global, with the weight its prior had in the end
    std::vector<double> residuals_mag;  // one an observation: measured − model, in magnitudes to first order
    std::vector<double> weights;        // robust weight of each observation in [0, 1]
    std::size_t iterations = 0;
};

// Problem: no star with a catalogue magnitude, no observation at all. Frames without a usable star stay
// undetermined and are no Problem. Observations that are not finite numbers take no part (weight 0).
[[nodiscard]] Result<ZeroPoints> solve_zero_points(const SolveInput& input);

// The colour term at work for a star of that colour; not applied where the term or the colour is not known.
struct ColourShift {
    double shift_mag = 0.0;     // T (C − C̄)
    double distance_mag = 0.0;  // C − C̄: d(magnitude)/dT
    bool applied = false;
};
[[nodiscard]] ColourShift colour_shift(const ZeroPoints& solution, std::optional<double> colour_mag);

// The magnitude of a flux above zero measured in frame f, which must be determined, and the common part of
// its error.
struct StandardMagnitude {
    double magnitude_mag = 0.0;
    // d(magnitude)/d(globals): z_f's gradient, and (C − C̄) for the colour term when it is applied.
    std::vector<double> gradient;
};
[[nodiscard]] StandardMagnitude standard_magnitude(const ZeroPoints& solution, std::size_t frame,
                                                   double flux_e, std::optional<double> colour_mag);

// The posterior covariance P of the globals in two parts, with prior variances Q: P = P Q⁻¹ P + (P − P Q⁻¹
// P). The first is what the catalogue's errors do, one vector a prior, so that solutions of other bands on
// the same sequence, or of other instruments, share it by name; the second is what the frames' noise did to
// the solution.
struct CommonErrors {
    numerics::Matrix from_priors;  // column j: P_·j / √Q_jj
    numerics::Matrix from_frames;  // lower triangular, L Lᵀ = P − P Q⁻¹ P
};
[[nodiscard]] CommonErrors split_common_errors(const ZeroPoints& solution);

// The common errors as named vectors: column k of the result belongs to global k (lower-triangular factor L
// of the posterior covariance; v = gradient · L), so that Σ v_k v_kᵀ is the exact common covariance.
[[nodiscard]] std::vector<double> common_components(const numerics::Matrix& lower,
                                                    const std::vector<double>& gradient);

}  // namespace emberline::standard
