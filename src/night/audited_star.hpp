// SPDX-License-Identifier: MIT
// night/audited_star — what the frames say of one comparison star, in one band of one instrument, against the
// other stars.
#pragma once

#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "quantities/band.hpp"
#include "quantities/value_with_error.hpp"

namespace emberline::night {

enum class StarFault { fine, varies, blended, catalogue_value, cannot_tell };
[[nodiscard]] std::string_view word(StarFault fault);  // "catalogue value"

struct StarNight {
    std::string night;
    double jd_utc = 0.0;  // of the middle of its frames
    ValueWithError
        residual_mag;  // measured − catalogue, against the others; what nights vary by is in the error
    std::size_t frames = 0;
};

// How much of its light comes in between two circles, in magnitudes beyond what the other stars gain there.
struct GrowthExcess {
    double narrow_fwhm = 0.0, wide_fwhm = 0.0;  // radii
    ValueWithError excess_mag;                  // the others' scatter is in the error
    double sigma = 0.0;
};

struct AuditedStar {
    std::string label;
    Band band;
    std::string instrument;
    double catalogue_mag = 0.0, catalogue_err_mag = 0.0;
    std::optional<double> colour_mag;  // of the catalogue
    bool check = false;
    bool set_aside = false;  // by the observer: judged, and no witness
    std::size_t frames = 0;
    std::vector<StarNight> nights;  // by time

    // Measured − catalogue, against what the others and their colours make expect; the error is of that
    // comparison: the star's catalogue error, the others', and how much the others scatter beyond them.
    std::optional<ValueWithError> offset_mag;
    // The same before colours are reckoned with, on a zero point that all stars of band and instrument share.
    std::optional<ValueWithError> offset_before_colour_mag;
    double measured_err_mag =
        0.0;  // of the measured magnitude alone: frames, and the others' catalogue errors
    double frame_scatter_mag = 0.0, expected_frame_scatter_mag = 0.0;  // of a frame about its night's mean
    double night_scatter_mag = 0.0, expected_night_scatter_mag = 0.0;  // of a night about the mean of nights
    std::optional<ValueWithError> trend_mag_per_day;
    std::optional<ValueWithError> seeing_slope_mag;  // d(mag) / d ln(FWHM)
    std::vector<GrowthExcess> growth;
    double blended_share = 0.0;  // of its frames that were flagged so when they were measured

    // How improbable each misfit is by chance, as sigma of a Gaussian; see SequenceAudit::accused_from.
    double varies_sigma = 0.0, blended_sigma = 0.0, catalogue_sigma = 0.0;
    double varies_sigma_without_seeing = 0.0;  // with the change with the seeing taken away
    StarFault fault = StarFault::cannot_tell;
    std::string why;  // one sentence with the numbers

    [[nodiscard]] bool accused() const { return fault != StarFault::fine && fault != StarFault::cannot_tell; }
};

}  // namespace emberline::night
