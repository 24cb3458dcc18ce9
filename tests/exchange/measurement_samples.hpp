// SPDX-License-Identifier: MIT
// An invented night and frame, with magnitudes that belong together: Z the zero point before a colour term.
#pragma once

#include <cmath>
#include <string>

#include "night/campaign.hpp"
#include "night/measurement.hpp"

namespace emberline::test {

inline night::Campaign sample_campaign() {
    night::Campaign campaign;
    campaign.folder = "demo";
    campaign.name = "DEMO SN 1";
    campaign.observer_code = "XYZ";
    campaign.chart = "X00000";
    campaign.instruments = {frame::Instrument{}};
    return campaign;
}

template <class M>
M sample_measurement(const std::string& night, const std::string& band) {
    constexpr double zero_point_mag = 23.4567;  // Z
    M m;
    m.night = night;
    m.band = parse_band(band).value();
    m.instrument = "main";
    m.jd_utc = 2460344.512345678;
    m.bjd_tdb = 2460344.515812345;
    m.exposure_s = 720.0;
    m.airmass = 1.23456;
    m.flux_e = {2345.678, 20.0};
    m.zero_point_mag = zero_point_mag;
    m.zero_point_err_mag = 0.004;
    m.magnitude_mag = zero_point_mag - 2.5 * std::log10(m.flux_e.value);
    m.random_err_mag = 1.0857 * 20.0 / 2345.678;
    m.common_err_mag = 0.008;
    m.limit_mag = 19.5;
    m.method = "aperture";
    m.n_comparison = 3;
    m.comparison_labels = {"118", "126", "129"};
    m.comparison_catalogue_mag = 12.43333;
    m.comparison_instrumental_mag = *m.comparison_catalogue_mag - zero_point_mag;
    m.check.label = "131";
    m.check.instrumental_mag = -10.34549;
    m.check.magnitude_mag = zero_point_mag + *m.check.instrumental_mag;
    m.check.err_mag = 0.005;
    m.check.catalogue_mag = 13.105;
    m.check.residual_mag = *m.check.magnitude_mag - 13.105;
    m.aperture_arcsec = 7.5;
    return m;
}

inline night::NightMeasurement sample_night(const std::string& night = "2024-02-03",
                                            const std::string& band = "V") {
    auto m = sample_measurement<night::NightMeasurement>(night, band);
    m.n_frames = 12;
    m.n_rejected = 1;
    return m;
}

inline night::FrameMeasurement sample_frame(const std::string& night = "2024-02-03",
                                            const std::string& band = "V") {
    auto m = sample_measurement<night::FrameMeasurement>(night, band);
    m.frame = "frames/v_001.fits";
    m.fwhm_px = 3.2104;
    m.aperture_px = 5.5;
    return m;
}

template <class M>
M as_limit(M m) {
    m.is_limit = true;
    m.magnitude_mag.reset();
    m.random_err_mag.reset();
    m.common_err_mag.reset();
    m.flux_e = {-3.0, 20.0};
    return m;
}

}  // namespace emberline::test
