// SPDX-License-Identifier: MIT
#include "examples.hpp"

#include <fmt/format.h>
#include <sqlite3.h>

#include <filesystem>
#include <fstream>
#include <sstream>
#include <stdexcept>

namespace emberline::ledger::testing {

Band band(std::string_view name) {
    return parse_band(name).value();
}

photometry::FrameFluxes with_host(photometry::FrameFluxes frame, bool by_template) {
    frame.apertures.push_back({.radius_px = 2.2, .psf_photon_factor = 4.0 / 3.0, .sky_noise_factor = 0.9});
    photometry::Surroundings around;
    around.cutout = {{-3, 7, 4, 3}, {}};
    for (int i = 0; i < 12; ++i)
        around.cutout.adu.push_back(static_cast<float>(i) / 3.0F - 1e-30F);
    around.transient = {1.0 / 3.0, 8.8};
    around.px_per_arcsec = {0.1, -1.0 / 7.0, 0.2, 0.3};
    around.sky_adu = 1000.1;
    around.sky_err_adu = 0.3;
    around.sky_scatter_adu = 7.7;
    around.gain_e_per_adu = 1.3;
    around.saturation_adu = 60000.0;
    around.psf = {1.0, 2.5, 1.0 / 3.0};
    if (by_template) {
        around.difference_adu.assign(12, -0.25F);
        around.difference_psf = {1.0, 2.0};
        photometry::HostLight light;
        light.method = photometry::HostMethod::difference;
        light.flux_e = {1.0 / 3.0, 2.0};
        light.host_e = {5.0, 6.0};
        light.variance_e2 = {0.1, 0.2};
        light.common_err_e = {-0.3, 0.4};
        light.template_light_e = 12.5;
        light.template_light_err_e = 3.5;
        light.caveats = {Caveat::cosmic_ray};
        light.remarks = {"two\nlines"};
        frame.host_lights = {light, light};
        frame.host_lights[1].method = photometry::HostMethod::smooth;
    }
    frame.surroundings = around;
    return frame;
}

photometry::FrameFluxes frame_fluxes(int number, int stars, int apertures) {
    const double n = number;
    photometry::FrameFluxes f;
    f.frame = fmt::format("frames/Ærøskøbing {:05d} ☄.fits", number);
    f.fingerprint = fmt::format("{:064x}", number * 7919 + 13);
    f.plane = number % 3;
    f.night = "2026-03-01";
    f.band = band(number % 2 == 0 ? "V" : "B");
    f.instrument = "main";
    f.filter = "Grün 'V'";
    f.mid_exposure = {2461101.0, 0.25 + n / 4096.0 / 7.0, TimeScale::utc};
    f.bjd_tdb = f.mid_exposure.jd() + 0.0031;
    f.exposure_s = 60.1 + n;
    f.airmass = 1.1 + n / 3000.0;
    f.gain_e_per_adu = 1.37;
    f.read_noise_e = 7.3;
    f.scintillation = 0.0021;
    f.flat_err = 0.0013;
    f.fwhm_px = 3.1 + n / 7.0;
    f.elongation = 1.07;
    f.direction_deg = 33.3;
    f.scale_arcsec_per_px = 1.0 / 3.0;
    f.mirrored = true;
    f.rotation_deg = -179.9;
    f.shift_x_px = 0.1;
    f.shift_y_px = -0.7;
    f.shift_scatter_px = 0.05;
    f.stars_expected = stars + 2;
    f.stars_found = stars;
    f.plate = "solved";
    f.plate_stars = 37;
    f.plate_rms_arcsec = 0.31;
    f.middle_ra_deg = 201.5 + n / 9.0;
    f.middle_dec_deg = -43.2;
    f.stack_of = {"0a1b", "2c3d"};
    for (int a = 0; a < apertures; ++a) {
        photometry::FrameAperture aperture{.radius_px = 2.0 + a / 3.0};
        if (a % 3 != 1) aperture.fwhm_multiple = 0.7 + a / 10.0;
        if (a % 3 != 0) aperture.angle_arcsec = 1.1 + a / 9.0;
        f.apertures.push_back(aperture);
    }
    for (int s = 0; s < stars; ++s) {
        photometry::StarFlux star;
        star.label = s == 0 ? photometry::transient_label : fmt::format("{}b", 100 + s);
        star.place = {Angle::degrees(201.0 + s / 7.0), Angle::degrees(-43.0 - s / 11.0)};
        star.position = {100.0 + s / 3.0, 200.0 - s / 7.0};
        star.position_err_px = 0.011;
        star.forced = s == 0;
        for (int a = 0; a < apertures; ++a) {
            star.flux_e.push_back(1e5 / 3.0 + n + s * 17.7 - a * 1e5);
            star.area_px.push_back(3.14159 * (a + 1) * (a + 1));
            star.caveats.push_back(Caveats::from_bits(static_cast<std::uint64_t>(s * 100 + a)));
            if (s % 2 == 0) star.place_err.push_back(0.01 / (a + 3.0) + 1e-4 * s);
        }
        star.sky_e_per_px = 101.1;
        star.sky_err_e_per_px = 0.21;
        star.sky_scatter_e = 11.3;
        star.sky_pixels = 412.0;
        star.sky_factor = 1.25;
        star.sky_unevenness = 0.017;
        star.peak_adu = 31234.0;
        if (s % 2 == 1) star.fwhm_px = 3.3;
        if (s % 3 == 1) star.airmass = 1.2;
        f.stars.push_back(star);
    }
    f.caveats = {Caveat::cloud, Caveat::gain_assumed};
    f.remarks = {"two\nlines", "back\\slash", "", "ασтер"};
    if (number % 4 != 3) {
        f.seen =
            photometry::SeenPlace{.place = {Angle::degrees(201.0 + n / 7.0), Angle::degrees(37.0 - n / 9.0)},
                                  .east_err_arcsec = 0.1 / 3.0,
                                  .north_err_arcsec = 0.2 / 3.0,
                                  .plate_err_arcsec = 0.05 / 3.0,
                                  .plate_noise_arcsec = 0.04 / 3.0,
                                  .plate_rms_arcsec = 0.3 / 7.0,
                                  .host_err_arcsec = 0.01 / 3.0,
                                  .stars = 9 + number % 5,
                                  .method = "psf"};
    }
    return f;
}

namespace {

void fill(night::Measurement& m, int number) {
    const double n = number;
    m.night = fmt::format("2026-03-{:02d}", 1 + number % 28);
    m.band = band(number % 2 == 0 ? "V" : "B");
    m.instrument = "main";
    m.jd_utc = 2461101.25 + n / 77.0;
    m.bjd_tdb = 2461101.253 + n / 77.0;
    m.exposure_s = 61.5;
    m.airmass = 1.0 + n / 3000.0;
    m.flux_e = {1e4 / 3.0 + n, 33.0};
    m.zero_point_mag = 23.1;
    m.zero_point_err_mag = 0.004;
    m.is_limit = number % 5 == 4;
    if (!m.is_limit) {
        m.magnitude_mag = 15.0 + n / 999.0;
        m.random_err_mag = 0.012;
        m.common_err_mag = 0.021;
    }
    m.limit_mag = 18.7;
    m.common = {{"V main: star 126", 0.005}, {"V main: colour term", -0.003}};
    m.method = "aperture";
    m.transformed = number % 2 == 0;
    m.n_comparison = 11;
    m.comparison_labels = {"126", "131b", "Ø"};
    m.comparison_instrumental_mag = -7.25;
    m.comparison_catalogue_mag = 13.1;
    m.colour_mag = 0.61;
    m.colour_term = -0.04;
    m.colour_index = "B-V";
    m.check = {"140", 14.01, 0.011, 0.013, -8.5, 13.997};
    m.aperture_arcsec = 4.4;
    m.caveats = {Caveat::spectrum_not_stellar, Caveat::sky_gradient};
}

}  // namespace

night::FrameMeasurement frame_measurement(int number) {
    night::FrameMeasurement m;
    fill(m, number);
    m.frame = fmt::format("frames/{:05d}.fits", number);
    m.plane = number % 3;
    m.fingerprint = fmt::format("{:064x}", number * 7919 + 13);
    m.fwhm_px = 3.1;
    m.aperture_px = 4.9;
    m.used = number % 4 != 3;
    if (!m.used) m.reason = "The frame lost 2.3 mag to cloud.";
    m.relative_transparency = 0.93;
    return m;
}

night::NightMeasurement night_measurement(int number) {
    night::NightMeasurement m;
    fill(m, number);
    m.n_frames = 9;
    m.n_rejected = 2;
    m.chi2 = 7.7;
    return m;
}

StarVerdict star_verdict(int number) {
    return {.instrument = "main",
            .band = band("V"),
            .label = fmt::format("{}", 100 + number),
            .offset_mag = 0.01 + number / 3000.0,
            .offset_err_mag = 0.002,
            .scatter_mag = 0.009,
            .expected_scatter_mag = 0.008,
            .suspect = number % 3 == 2,
            .why = number % 3 == 2 ? "It scatters three times more than its noise." : ""};
}

KeptPlate kept_plate(int number) {
    return {.fingerprint = fmt::format("{:064x}", number * 7919 + 13),
            .cards = fmt::format("{:80}{:80}", "CTYPE1  = 'RA---TAN'", "CRVAL1  = 201.5"),
            .order = 2,
            .stars = 41 + number,
            .rms_arcsec = 1.0 / 3.0,
            .false_probability = 1e-300,
            .log_odds = 700.25,
            .against = "frames/Ærø.fits",
            .since = {}};
}

night::FieldReference field_reference(int stars) {
    night::FieldReference reference{.fingerprint = "f00d",
                                    .frame = "frames/first ☄.fits",
                                    .stars = {},
                                    .places = {},
                                    .scale_arcsec_per_px = 1.0 / 3.0,
                                    .mirrored = true};
    for (int i = 0; i < stars; ++i) {
        stars::ReferenceStar star;
        star.position = {Angle::degrees(201.0 + i / 7.0), Angle::degrees(-43.0 - i / 11.0)};
        star.err_arcsec = 0.05 + i / 3.0;
        if (i % 2 == 1) star.magnitude_mag = 12.0 + i / 9.0;
        star.label = i % 3 == 0 ? "" : fmt::format("star\n{}", i);
        reference.stars.push_back(star);
        reference.places.push_back({i / 3.0, 100.0 - i / 7.0});
    }
    return reference;
}

Solution solution(int frames, int nights, int stars) {
    Solution s;
    for (int i = 0; i < frames; ++i)
        s.frames.push_back(frame_measurement(i));
    for (int i = 0; i < nights; ++i)
        s.nights.push_back(night_measurement(i));
    for (int i = 0; i < stars; ++i)
        s.stars.push_back(star_verdict(i));
    return s;
}

bool same(const Solution& a, const Solution& b) {
    return a.frames == b.frames && a.nights == b.nights && a.stars == b.stars;
}

Provenance provenance(std::string settings) {
    return {"emberline 0.1.0", std::move(settings), "[transient]\nname = \"Probe\"\n"};
}

Folder::Folder() {
    std::filesystem::permissions(path(), std::filesystem::perms::all);
}

Ledger opened(const std::string& path, Ledger::Access access, double wait_s) {
    auto ledger = Ledger::open(path, access, wait_s);
    if (!ledger) throw std::runtime_error(one_line(ledger.error()));
    return std::move(*ledger);
}

std::string contents(const std::string& path) {
    std::ifstream file(path, std::ios::binary);
    std::ostringstream bytes;
    bytes << file.rdbuf();
    return bytes.str();
}

void write_contents(const std::string& path, const std::string& bytes) {
    std::ofstream(path, std::ios::binary) << bytes;
}

namespace {

struct Shell {
    explicit Shell(const std::string& path) {
        if (sqlite3_open(path.c_str(), &handle) != SQLITE_OK) throw std::runtime_error("shell cannot open");
        sqlite3_busy_timeout(handle, 10000);
    }
    ~Shell() { sqlite3_close(handle); }
    Shell(const Shell&) = delete;
    Shell& operator=(const Shell&) = delete;
    sqlite3* handle = nullptr;
};

}  // namespace

std::int64_t ask(const std::string& path, const std::string& sql) {
    const Shell shell(path);
    sqlite3_stmt* statement = nullptr;
    if (sqlite3_prepare_v2(shell.handle, sql.c_str(), -1, &statement, nullptr) != SQLITE_OK ||
        sqlite3_step(statement) != SQLITE_ROW) {
        sqlite3_finalize(statement);
        throw std::runtime_error(sqlite3_errmsg(shell.handle));
    }
    const std::int64_t answer = sqlite3_column_int64(statement, 0);
    sqlite3_finalize(statement);
    return answer;
}

void tell(const std::string& path, const std::string& sql) {
    const Shell shell(path);
    if (sqlite3_exec(shell.handle, sql.c_str(), nullptr, nullptr, nullptr) != SQLITE_OK)
        throw std::runtime_error(sqlite3_errmsg(shell.handle));
}

}  // namespace emberline::ledger::testing
