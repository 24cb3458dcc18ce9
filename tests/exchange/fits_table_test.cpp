// SPDX-License-Identifier: MIT
#include "exchange/fits_table.hpp"

#include <sys/wait.h>
#include <unistd.h>

#include <array>
#include <catch2/catch.hpp>
#include <cmath>
#include <cstdio>
#include <cstdlib>
#include <filesystem>
#include <fstream>
#include <iterator>
#include <numeric>
#include <random>

#include "exchange/measurement_samples.hpp"
#include "frame/fits_table.hpp"

namespace emberline::exchange {
namespace {

namespace fs = std::filesystem;

class Place {
  public:
    explicit Place(const fs::path& root = fs::temp_directory_path())
        : folder_(root / ("emberline_fits_table_" + std::to_string(::getpid()))) {
        fs::create_directories(folder_);
    }
    ~Place() { fs::remove_all(folder_); }
    Place(const Place&) = delete;
    Place& operator=(const Place&) = delete;
    [[nodiscard]] std::string path(const std::string& name) const { return (folder_ / name).string(); }
    [[nodiscard]] std::string file(const std::string& name, const std::string& bytes) const {
        std::ofstream(folder_ / name, std::ios::binary) << bytes;
        return path(name);
    }

  private:
    fs::path folder_;
};

std::string bytes_of(const std::string& path) {
    std::ifstream in(path, std::ios::binary);
    return {std::istreambuf_iterator<char>(in), {}};
}

TableMeta sample_meta() {
    TableMeta meta;
    meta.transient = "DEMO SN 1";
    meta.position = SkyPosition{Angle::degrees(201.338), Angle::degrees(37.27)};
    meta.observer_code = "XYZ";
    meta.observer_name = "Ödön Observer, 100 %";
    meta.chart = "X00000";
    meta.software = "Emberline 0.1.0";
    meta.campaign = "demo";
    meta.bands = {parse_band("B").value(), parse_band("V").value(), parse_band("Rc").value()};
    return meta;
}

const std::optional<sky::Site> sample_site = sky::Site{Angle::degrees(51.1), Angle::degrees(-1.2), 95.0};

// Three bands, a limit, a transformed night.
std::vector<night::NightMeasurement> nights() {
    auto transformed = test::sample_night("2024-02-05", "B");
    transformed.transformed = true;
    transformed.caveats = Caveats{Caveat::cloud, Caveat::no_check_star};
    transformed.airmass.reset();
    return {test::sample_night(), test::as_limit(test::sample_night("2024-02-04")), transformed,
            test::sample_night("2024-02-05", "Rc")};
}

std::vector<night::FrameMeasurement> frames() {
    auto hostile = test::sample_frame();
    hostile.frame = " frames/Ödön, \"100%\" #1.fits ";
    night::FrameMeasurement unused;
    unused.frame = "f";
    unused.night = "2024-02-03";
    unused.band = parse_band("V").value();
    unused.jd_utc = 2460344.6;
    unused.used = false;
    return {test::sample_frame(), hostile, test::as_limit(test::sample_frame()), unused};
}

template <class Row>
void write_table(const std::string& path, const std::vector<Row>& rows, const TableMeta& meta = sample_meta(),
                 const std::optional<sky::Site>& site = sample_site) {
    auto writer = FitsTableWriter<Row>::create(path, meta, site);
    REQUIRE(writer);
    for (const Row& row : rows)
        REQUIRE(writer->write(row));
    REQUIRE(writer->finish());
}

template <class Row>
std::vector<Cell> cells_of(const Row& row) {
    std::vector<Cell> cells;
    for (const auto& column : columns_of<Row>())
        cells.push_back(column.value(row));
    return cells;
}

// Bit by bit: FITS holds doubles whole.
template <class Row>
bool comes_back(const std::string& path, const std::vector<Row>& rows) {
    std::size_t i = 0;
    bool same = true;
    const auto read = read_fits_rows(path, [&](TableLevel level, std::span<const Cell> cells) {
        const auto expected = i < rows.size() ? cells_of(rows[i]) : std::vector<Cell>();
        same = same && level == level_of<Row> &&
               std::equal(cells.begin(), cells.end(), expected.begin(), expected.end());
        ++i;
        return true;
    });
    return read && same && i == rows.size() && read->rows == rows.size();
}

int run(const std::string& command) {
    const int ended = std::system(command.c_str());
    return WIFEXITED(ended) ? WEXITSTATUS(ended) : -1;
}

TEST_CASE("Frame and night tables come back from FITS bit by bit, hostile names among them",
          "[fits_export]") {
    const Place place;
    write_table(place.path("frames.fits"), frames());
    write_table(place.path("nights.fits"), nights());
    CHECK(comes_back(place.path("frames.fits"), frames()));
    CHECK(comes_back(place.path("nights.fits"), nights()));
    CHECK(check_fits_table(place.path("frames.fits")).empty());
    CHECK(check_fits_table(place.path("nights.fits")).empty());
    // No site, no position, no rows: still a table that says what it is.
    write_table<night::NightMeasurement>(place.path("bare.fits"), {}, {}, std::nullopt);
    const auto findings = check_fits_table(place.path("bare.fits"));
    REQUIRE(findings.size() == 1);
    CHECK_FALSE(findings[0].error);
    CHECK(findings[0].what.find("TRDIR4 is missing") != std::string::npos);
}

TEST_CASE("Text in FITS: bytes beyond ASCII, per cent signs and outer blanks come back", "[fits_export]") {
    CHECK(fits_text("frames/v_001.fits") == "frames/v_001.fits");
    CHECK(fits_text("Ödön") == "%C3%96d%C3%B6n");
    CHECK(fits_text(" 100 % ") == "%20100 %25%20");
    CHECK(text_of_fits("50%") == "50%");  // no code: as it stands
    CHECK(text_of_fits("%4") == "%4");
    CHECK(text_of_fits("%zz") == "%zz");
    std::string every;
    for (int c = 1; c < 256; ++c)
        every += static_cast<char>(c);
    CHECK(text_of_fits(fits_text(every)) == every);
}

TEST_CASE("The verifier of FITS files finds nothing in a table", "[fits_export]") {
    // fitsverify 4.20, the FITS support office's own.
    const Place place;
    if (run("fitsverify -h >/dev/null 2>&1") == 127) {
        WARN("SKIPPED: fitsverify is not installed; install the package of that name.");
        return;
    }
    write_table(place.path("frames.fits"), frames());
    write_table(place.path("nights.fits"), nights());
    write_table<night::NightMeasurement>(place.path("bare.fits"), {}, {}, std::nullopt);
    for (const char* name : {"frames.fits", "nights.fits", "bare.fits"}) {
        const std::string said = place.path("said.txt");
        CHECK(run("fitsverify '" + place.path(name) + "' > '" + said + "' 2>&1") == 0);
        const std::string verdict = bytes_of(said);
        INFO(verdict);
        CHECK(verdict.find(" 0 warning(s) and 0 error(s)") != std::string::npos);
    }
}

TEST_CASE("astropy takes the columns of times for times, in their scales and places", "[fits_export]") {
    // The reader, its units, its time scales and its place on the Earth are astropy's own.
    const std::string python = "/usr/bin/python3";
    if (run(python + " -c 'import astropy' 2>/dev/null") != 0) {
        WARN("SKIPPED: astropy is not installed, so nobody outside has read the FITS tables.");
        return;
    }
    const Place place;
    write_table(place.path("frames.fits"), frames());
    write_table(place.path("nights.fits"), nights());
    (void)place.file("check.py", R"(import sys, warnings
import numpy as np
from astropy import units as u
from astropy.coordinates import EarthLocation
from astropy.io import fits
from astropy.table import QTable, Table
from astropy.time import Time
from astropy.timeseries import TimeSeries
from astropy.utils import iers
iers.conf.auto_download = False
warnings.simplefilter('ignore')  # its table of leap seconds ages
flux_unit = sys.argv.pop()
for path in sys.argv[1:]:
    with fits.open(path, checksum=True) as file:
        file.verify('exception')
        assert file[1].header['RADESYS'] == 'ICRS' and abs(file[1].header['RA'] - 201.338) < 1e-7
    with warnings.catch_warnings():
        warnings.simplefilter('error')
        t = Table.read(path, astropy_native=True)
    assert isinstance(t['jd_utc'], Time) and t['jd_utc'].scale == 'utc' and t['jd_utc'].format == 'jd', t['jd_utc']
    assert isinstance(t['bjd_tdb'], Time) and t['bjd_tdb'].scale == 'tdb' and t['bjd_tdb'].format == 'jd'
    assert t['bjd_tdb'].location is None
    site = EarthLocation.from_geodetic(-1.2 * u.deg, 51.1 * u.deg, 95 * u.m)
    off = np.sqrt((t['jd_utc'].location.x - site.x)**2 + (t['jd_utc'].location.y - site.y)**2
                  + (t['jd_utc'].location.z - site.z)**2)
    assert np.all(off < 1 * u.mm), off
    right = Time(2460344.512345678, format='jd', scale='utc')
    assert abs((t['jd_utc'][0] - right).to_value(u.s)) < 1e-4
    assert abs((t['bjd_tdb'][0] - Time(2460344.515812345, format='jd', scale='tdb')).to_value(u.s)) < 1e-4
    q = QTable.read(path)
    assert str(q['mag'].unit) == 'mag' and str(q['jd_utc'].unit) == 'd'
frames = Table.read(sys.argv[1])
assert len(frames) == 4 and len(frames.columns) == 24
assert frames['n_comparison'].dtype.kind == 'i' and frames['n_comparison'].dtype.itemsize == 8
assert frames['is_limit'].dtype == bool
assert frames['flux_e'].unit == u.Unit(flux_unit, format='fits') and frames['fwhm_px'].unit == u.pix
assert frames['mag'].mask[2] and not frames['mag'].mask[0] and abs(frames['limit_mag'][2] - 19.5) < 1e-12
nights = Table.read(sys.argv[2], astropy_native=True)
assert list(nights['band']) == ['V', 'V', 'B', 'Rc'] and list(nights['transformed']) == [False, False, True, False]
series = TimeSeries(data={'mag': nights['mag']}, time=nights['bjd_tdb'])
assert series.time.scale == 'tdb' and len(series) == 4
)");
    CHECK(run(python + " '" + place.path("check.py") + "' '" + place.path("frames.fits") + "' '" +
              place.path("nights.fits") + "' " + std::string(columns_of(TableLevel::frame)[22].unit)) == 0);
}

template <class Row>
Row random_row(std::mt19937_64& random) {
    std::uniform_real_distribution<double> real(0.0, 1.0);
    const auto some = [&](double value) { return real(random) < 0.2 ? std::optional<double>() : value; };
    const char* bands[] = {"B", "V", "Rc", "g", "TG", "CV"};
    auto m =
        test::sample_measurement<Row>("2024-02-0" + std::to_string(1 + random() % 9), bands[random() % 6]);
    m.jd_utc = 2440000.5 + 30000.0 * real(random);
    m.bjd_tdb = m.jd_utc + 0.006 * (real(random) - 0.5);
    m.magnitude_mag = some(-2.0 + 25.0 * real(random));
    m.random_err_mag = some(real(random));
    m.common_err_mag = some(real(random));
    m.limit_mag = some(20.0 * real(random));
    m.airmass = some(1.0 + real(random));
    m.flux_e = {1e6 * (real(random) - 0.1), 1e3 * real(random)};
    m.is_limit = real(random) < 0.2;
    m.transformed = real(random) < 0.5;
    m.n_comparison = static_cast<int>(random() % 100);
    std::string label;
    for (auto length = random() % 12; label.size() < length;)
        label += static_cast<char>(1 + random() % 255);
    m.method = label;
    if (real(random) < 0.3) m.caveats = Caveats{Caveat::cloud};
    return m;
}

TEST_CASE("A thousand random light curves come back from FITS with every bit", "[fits_export]") {
    constexpr std::uint64_t seed = 20240203;
    CAPTURE(seed);
    std::mt19937_64 random(seed);
    // Every file is flushed to its disk: in memory that takes no time.
    const Place place(::access("/dev/shm", W_OK) == 0 ? fs::path("/dev/shm") : fs::temp_directory_path());
    const std::string path = place.path("curve.fits");
    int same = 0;
    for (int i = 0; i < 500; ++i) {
        std::vector<night::NightMeasurement> by_night(random() % 30);
        for (auto& row : by_night)
            row = random_row<night::NightMeasurement>(random);
        write_table(path, by_night);
        same += comes_back(path, by_night) ? 1 : 0;
        std::vector<night::FrameMeasurement> by_frame(random() % 30);
        for (auto& row : by_frame)
            row = random_row<night::FrameMeasurement>(random);
        write_table(path, by_frame);
        same += comes_back(path, by_frame) ? 1 : 0;
    }
    CHECK(same == 1000);
}

// The sample with one card replaced, and its checksum therefore wrong.
std::string with_card(const std::string& bytes, const std::string& keyword, std::string card) {
    std::string padded = keyword;
    padded.resize(8, ' ');
    for (std::size_t at = 0; at + 80 <= bytes.size(); at += 80) {
        if (bytes.compare(at, 8, padded) != 0) continue;
        std::string changed = bytes;
        card.resize(80, ' ');
        return changed.replace(at, 80, card);
    }
    FAIL("no card " << keyword);
    return bytes;
}

TEST_CASE("The validator names what is wrong with a table, by keyword and column", "[fits_export]") {
    const Place place;
    write_table(place.path("nights.fits"), nights());
    const std::string whole = bytes_of(place.path("nights.fits"));
    const auto finds = [&](const std::string& keyword, const std::string& card, const std::string& field,
                           const std::string& saying) {
        INFO(keyword << ": " << card);
        const auto findings = check_fits_table(place.file("changed.fits", with_card(whole, keyword, card)));
        const bool found = std::any_of(findings.begin(), findings.end(), [&](const Finding& f) {
            return f.field == field && f.what.find(saying) != std::string::npos && f.what.ends_with('.');
        });
        for (const Finding& f : findings)
            UNSCOPED_INFO(f.field << ": " << f.what);
        CHECK(found);
        CHECK(any_error(findings));
    };
    finds("TTYPE5", "TTYPE5  = 'magnitud'", "mag", "missing");
    finds("TTYPE5", "TTYPE5  = 'magnitud'", "magnitud", "none of this table's");
    finds("TUNIT5", "TUNIT5  = 'Jy'", "mag", "'Jy'");
    finds("TCTYP4", "TCTYP4  = 'UTC'", "bjd_tdb", "should be 'TDB'");
    finds("TCTYP3", "COMMENT", "jd_utc", "TCTYP3 is missing");
    finds("TCUNI3", "TCUNI3  = 's'", "jd_utc", "days");
    finds("TCRVL4", "TCRVL4  = 2400000.5", "bjd_tdb", "0, 0 and 1");
    finds("TRPOS4", "TRPOS4  = 'TOPOCENTER'", "bjd_tdb", "BARYCENTER");
    finds("TRDIR4", "TRDIR4  = 'RA_X,DEC_X'", "bjd_tdb", "no keyword here");
    finds("TIMESYS", "TIMESYS = 'TT'", "TIMESYS", "should be 'UTC'");
    finds("JDREF", "JDREF   = 2400000.5", "JDREF", "must be 0");
    finds("JDREF", "MJDREF  = 0.0", "MJDREF", "shifted");
    finds("RA", "RA      = 400.0", "RA", "0 to 360");
    finds("RADESYS", "RADESYS = 'FK4'", "RADESYS", "ICRS");
    finds("OBSGEO-X", "OBSGEO-X= 0.0", "OBSGEO-X", "not on the Earth");
    finds("TFORM11", "TFORM11 = '1D'", "n_rejected", "whole numbers");
    finds("TFORM11", "TFORM11 = '8A'", "n_rejected", "whole numbers");
    finds("OBSERVER", "OBSERVER= 'someone else'", "CHECKSUM", "changed");
}

TEST_CASE("A table cut anywhere is refused in a sentence", "[fits_export]") {
    const Place place;
    write_table(place.path("nights.fits"), nights());
    const std::string whole = bytes_of(place.path("nights.fits"));
    for (std::size_t length = 0; length + 2880 <= whole.size(); length += 411) {
        const std::string path = place.file("cut.fits", whole.substr(0, length));
        const auto read = read_fits_rows(path, [](TableLevel, std::span<const Cell>) { return true; });
        REQUIRE_FALSE(read);
        CHECK(read.error().what.ends_with('.'));
        CHECK(any_error(check_fits_table(path)));
    }
    for (const std::string text : {"", "SIMPLE", "night,band\n2024-02-03,V\n", "\xEF\xBB\xBF{}"})
        CHECK(any_error(check_fits_table(place.file("none.fits", text))));
    CHECK(any_error(check_fits_table(place.path("missing.fits"))));
}

}  // namespace
}  // namespace emberline::exchange
