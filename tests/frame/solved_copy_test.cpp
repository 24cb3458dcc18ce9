// SPDX-License-Identifier: MIT
#include "frame/solved_copy.hpp"

#include <fitsio.h>
#include <sys/wait.h>

#include <array>
#include <catch2/catch.hpp>
#include <cmath>
#include <cstdio>
#include <cstdlib>
#include <filesystem>

#include "frame/fits_maker.hpp"
#include "frame/frame.hpp"

using namespace emberline;
using namespace emberline::frame;
using frame::testing::big_endian;
using frame::testing::bytes_of;
using frame::testing::data_block;
using frame::testing::Folder;
using frame::testing::header_block;
using frame::testing::Packing;
using frame::testing::write_by_library;
using frame::testing::Written;

namespace {

namespace fs = std::filesystem;

Card number(const std::string& keyword, const std::string& value) {
    return {keyword, value, "", false};
}

// TAN with SIP around (201.3°, 37.27°), 1.8″ a pixel, turned by 30°.
std::vector<Card> fresh_solution() {
    return {number("WCSAXES", "2"),
            {"CTYPE1", "RA---TAN-SIP", "", true},
            {"CTYPE2", "DEC--TAN-SIP", "", true},
            number("CRVAL1", "201.3"),
            number("CRVAL2", "37.27"),
            number("CRPIX1", "31.0"),
            number("CRPIX2", "24.0"),
            number("CD1_1", "-0.000433012701892"),
            number("CD1_2", "0.00025"),
            number("CD2_1", "0.00025"),
            number("CD2_2", "0.000433012701892"),
            number("A_ORDER", "2"),
            number("B_ORDER", "2"),
            number("A_2_0", "1.5E-05"),
            number("B_1_1", "-2.5E-05"),
            {"RADESYS", "ICRS", "", true}};
}

const std::vector<std::string> history = {"Plate solution of 41 stars, residuals 0.12 arcsec."};

std::vector<std::string> card_lines(const std::string& header) {
    std::vector<std::string> lines;
    for (std::size_t at = 0; at + 80 <= header.size(); at += 80) {
        lines.push_back(header.substr(at, 80));
        if (lines.back().starts_with("END     ")) break;
    }
    return lines;
}

bool has(const std::vector<std::string>& lines, const std::string& start) {
    return std::any_of(lines.begin(), lines.end(),
                       [&](const std::string& line) { return line.starts_with(start); });
}

// A small picture whose header has these cards besides.
std::string picture(const std::vector<std::string>& cards) {
    std::vector<std::string> lines = {"SIMPLE  =                    T", "BITPIX  =                   16",
                                      "NAXIS   =                    2", "NAXIS1  =                   20",
                                      "NAXIS2  =                   10"};
    lines.insert(lines.end(), cards.begin(), cards.end());
    std::vector<std::int16_t> pixels(200);
    for (std::size_t i = 0; i < pixels.size(); ++i)
        pixels[i] = static_cast<std::int16_t>(i * 37);
    return header_block(lines) + data_block(big_endian(pixels));
}

std::vector<std::string> lines_of_copy(const Folder& folder, const std::vector<std::string>& cards) {
    const std::string from = folder.file("in.fits", picture(cards)), to = folder.path("out.fits");
    fs::remove(to);
    const auto good = write_solved_copy(from, to, fresh_solution(), history);
    INFO((good ? "" : one_line(good.error())));
    REQUIRE(good);
    return card_lines(bytes_of(to));
}

void check_same_pixels(const std::string& from, const std::string& to) {
    const auto before = open_frames(from, {}), after = open_frames(to, {});
    REQUIRE(before);
    REQUIRE(after);
    REQUIRE(before->size() == after->size());
    for (std::size_t i = 0; i < before->size(); ++i) {
        const auto a = (*before)[i].read_whole(), b = (*after)[i].read_whole();
        REQUIRE(a);
        REQUIRE(b);
        CHECK(std::equal(a->adu.begin(), a->adu.end(), b->adu.begin(), b->adu.end(),
                         [](float x, float y) { return x == y || (std::isnan(x) && std::isnan(y)); }));
    }
}

void check_new_plate(const std::string& path) {
    const auto frames = open_frames(path, {});
    REQUIRE(frames);
    const auto& wcs = frames->front().wcs();
    INFO((wcs ? "" : one_line(wcs.error())));
    REQUIRE(wcs);
    CHECK(wcs->scale_arcsec_per_px() == Approx(1.8).epsilon(1e-9));
    const auto middle = wcs->sky({30.0, 23.0});
    REQUIRE(middle);
    CHECK(middle->ra.degrees() == Approx(201.3).epsilon(1e-12));
    CHECK(middle->dec.degrees() == Approx(37.27).epsilon(1e-12));
}

void with_library(const std::string& path, int mode, const std::function<void(fitsfile*, int*)>& work) {
    int status = 0;
    fitsfile* file = nullptr;
    fits_open_diskfile(&file, path.c_str(), mode, &status);
    if (status == 0) work(file, &status);
    int closing = 0;
    if (file != nullptr) fits_close_file(file, &closing);
    REQUIRE(status + closing == 0);
}

struct Sums {
    int data = 0, whole = 0;  // 1 right, −1 wrong, 0 not there
};
Sums sums_of(const std::string& path, int hdu) {
    Sums sums;
    with_library(path, READONLY, [&](fitsfile* file, int* status) {
        fits_movabs_hdu(file, hdu, nullptr, status);
        fits_verify_chksum(file, &sums.data, &sums.whole, status);
    });
    return sums;
}

struct Said {
    int status = -1;
    std::string out;
};
Said say(const std::string& command) {
    Said said;
    std::FILE* pipe = ::popen(command.c_str(), "r");
    REQUIRE(pipe != nullptr);
    std::array<char, 4096> part{};
    while (const std::size_t n = std::fread(part.data(), 1, part.size(), pipe))
        said.out.append(part.data(), n);
    const int raw = ::pclose(pipe);
    said.status = WIFEXITED(raw) ? WEXITSTATUS(raw) : -1;
    return said;
}

const std::vector<Written>& kinds() {
    static const std::vector<Written> all = {{.type = USHORT_IMG},
                                             {.type = FLOAT_IMG, .in_extension = true},
                                             {.type = USHORT_IMG, .planes = 3},
                                             {.type = USHORT_IMG, .packing = Packing::rice},
                                             {.type = FLOAT_IMG, .packing = Packing::gzip}};
    return all;
}

}  // namespace

TEST_CASE("a copy has the frame's bytes but for the cards of its plate solution", "[solved_copy]") {
    const Folder folder;
    const std::vector<std::string> cards = {"OBJECT  = 'O''Brien''s nova' / invented",
                                            "COMMENT   as the camera   left it", "CTYPE1  = 'RA---TAN'",
                                            "EXPTIME =                 30.0", "HISTORY taken by hand"};
    const auto lines = lines_of_copy(folder, cards);
    const auto before = card_lines(bytes_of(folder.path("in.fits")));
    std::vector<std::string> kept;
    for (const std::string& line : lines) {
        if (std::find(before.begin(), before.end(), line) != before.end()) kept.push_back(line);
    }
    std::vector<std::string> expected = before;
    std::erase_if(expected, [](const std::string& line) { return line.starts_with("CTYPE1"); });
    CHECK(kept == expected);
    CHECK(has(lines, "HISTORY Plate solution of 41 stars"));
    // The first of the new ones stands where the first of the old stood.
    CHECK(lines.at(7).starts_with("WCSAXES = "));
    const std::string in = bytes_of(folder.path("in.fits")), out = bytes_of(folder.path("out.fits"));
    CHECK(in.substr(2880) == out.substr(out.size() - (in.size() - 2880)));
    check_new_plate(folder.path("out.fits"));
}

TEST_CASE("every kind of file keeps its pixels, packed as they were, and takes the solution",
          "[solved_copy]") {
    const Folder folder;
    int n = 0;
    for (const Written& kind : kinds()) {
        const std::string from = folder.path("in" + std::to_string(n) + ".fits"),
                          to = folder.path("out" + std::to_string(n) + ".fits");
        INFO(++n);
        write_by_library(from, kind);
        REQUIRE(write_solved_copy(from, to, fresh_solution(), history));
        check_same_pixels(from, to);
        check_new_plate(to);
        CHECK(open_frames(to, {})->front().facts().tile_compressed == (kind.packing != Packing::none));
    }
}

TEST_CASE("a file gzipped as a whole is copied unpacked, or packed where its name says so", "[solved_copy]") {
    const Folder folder;
    const std::string from = folder.path("in.fits.gz");
    write_by_library(from, {.type = USHORT_IMG});
    for (const char* name : {"out.fits", "out.fits.gz"}) {
        const std::string to = folder.path(name);
        REQUIRE(write_solved_copy(from, to, fresh_solution(), history));
        CHECK(bytes_of(to).starts_with(to.ends_with(".gz") ? "\x1f\x8b" : "SIMPLE"));
        check_same_pixels(from, to);
        check_new_plate(to);
    }
}

TEST_CASE("no card of a former solution is left, whatever its dialect", "[solved_copy]") {
    const Folder folder;
    const std::vector<std::string> old = {"WCSAXES =                    3",
                                          "CTYPE1  = 'RA---TPV'",
                                          "CTYPE3  = 'RGB'",
                                          "CRPIX3  =                  1.0",
                                          "CRVAL1  = 1.5D2",
                                          "CDELT1  = 0.1",
                                          "CROTA2  = 12.0",
                                          "PC1_1   = 1.0",
                                          "PC001002= 0.5",
                                          "CD3_3   = 1.0",
                                          "PV1_39  = 1E-9",
                                          "PV2_1   = 1.0",
                                          "LONPOLE = 180.0",
                                          "LATPOLE = 0.0",
                                          "EQUINOX = 1950.0",
                                          "EPOCH   = 1950.0",
                                          "RADECSYS= 'FK4'",
                                          "A_3_0   = 1E-9",
                                          "AP_ORDER= 3",
                                          "BP_0_1  = 1E-9",
                                          "A_DMAX  = 1.0",
                                          "WAT1_001= 'wtype=tnx axtype=ra'",
                                          "WAT1_002= 'more'",
                                          "CPDIS1  = 'LOOKUP'",
                                          "DP1     = 'EXTVER: 1'",
                                          "CRDER1  = 0.1",
                                          "WCSNAME = 'as guessed'",
                                          "AMDX13  = 1E-9",
                                          "PLTRAH  = 14",
                                          "PLTDECSN= '-'",
                                          "CNPIX1  = 5000",
                                          "CUNIT2  = 'deg'"};
    const auto lines = lines_of_copy(folder, old);
    for (const std::string& card : old) {
        INFO(card);
        CHECK(std::none_of(lines.begin(), lines.end(),
                           [&](const std::string& line) { return line.starts_with(card); }));
    }
    check_new_plate(folder.path("out.fits"));
}

TEST_CASE("an alternate description goes when it is of the sky, and stays when it is of the chip",
          "[solved_copy]") {
    const Folder folder;
    const auto lines =
        lines_of_copy(folder, {"CTYPE1A = 'GLON-CAR'", "CRVAL1A = 5.0", "CD1_1A  = 1.0",
                               "WCSNAMEA= 'galactic'", "CTYPE1P = 'DETX    '", "CRVAL1P = 17.0",
                               "WCSNAMEP= 'physical'", "LTV1    = 3.0", "CTYPE1  = 'RA---TAN'"});
    for (const char* gone : {"CTYPE1A", "CRVAL1A", "CD1_1A", "WCSNAMEA"})
        CHECK_FALSE(has(lines, gone));
    for (const char* kept : {"CTYPE1P", "CRVAL1P", "WCSNAMEP", "LTV1"})
        CHECK(has(lines, kept));
    // FITS standard 4.0, section 8.2: WCSAXES precedes everything else about axes.
    const auto first = std::find_if(lines.begin(), lines.end(), [](const std::string& line) {
        return line.starts_with("WCSAXES") || line.starts_with("CTYPE1P");
    });
    CHECK(first->starts_with("WCSAXES"));
}

TEST_CASE("words that only look like a solution's stay", "[solved_copy]") {
    const Folder folder;
    const std::vector<std::string> own = {"CDS-SCAN= 4",       "PVTEMP  = 3.0", "A_GAIN  = 2.0",
                                          "EPOCHS  = 'night'", "CTYPE   = 'x'", "RA      = 201.3",
                                          "MJD-OBS = 60383.9", "DEC     = 37.2"};
    const auto lines = lines_of_copy(folder, own);
    for (const std::string& card : own) {
        INFO(card);
        CHECK(has(lines, card));
    }
}

TEST_CASE("a long text of a former solution goes with what it is continued in", "[solved_copy]") {
    const Folder folder;
    const auto lines =
        lines_of_copy(folder, {"WCSNAME = 'a long name that is continued&'", "CONTINUE  'in the next card'",
                               "LONGSTRN= 'another text&'", "CONTINUE  'of the camera'"});
    CHECK_FALSE(has(lines, "CONTINUE  'in the next card'"));
    CHECK(has(lines, "CONTINUE  'of the camera'"));
}

TEST_CASE("a long line of history is broken between words", "[solved_copy]") {
    const Folder folder;
    const std::string from = folder.file("in.fits", picture({}));
    const std::string word = "residuals ";
    std::string text;
    for (int i = 0; i < 12; ++i)
        text += word;
    REQUIRE(write_solved_copy(from, folder.path("out.fits"), fresh_solution(), {text}));
    std::string said;
    for (const std::string& line : card_lines(bytes_of(folder.path("out.fits")))) {
        if (line.starts_with("HISTORY ")) said += line.substr(8, line.find_last_not_of(' ') - 7) + " ";
    }
    CHECK(said == text);
}

TEST_CASE("a checksum that held holds in the copy, and damaged pixels go on showing", "[solved_copy]") {
    const Folder folder;
    for (const bool packed : {false, true}) {
        const std::string name = packed ? "packed" : "plain";
        INFO(name);
        const std::string from = folder.path(name + ".fits"), to = folder.path(name + "_copy.fits");
        write_by_library(from, {.type = USHORT_IMG, .packing = packed ? Packing::rice : Packing::none});
        const int hdu = packed ? 2 : 1;
        with_library(from, READWRITE, [&](fitsfile* file, int* status) {
            fits_movabs_hdu(file, hdu, nullptr, status);
            fits_write_chksum(file, status);
        });
        REQUIRE(sums_of(from, hdu).whole == 1);
        REQUIRE(write_solved_copy(from, to, fresh_solution(), history));
        CHECK(sums_of(to, hdu).whole == 1);
        CHECK(sums_of(to, hdu).data == 1);

        std::string bytes = bytes_of(from);
        bytes[bytes.size() - 2880] = static_cast<char>(bytes[bytes.size() - 2880] ^ 0x55);
        const std::string spoilt = folder.file(name + "_spoilt.fits", bytes);
        REQUIRE(write_solved_copy(spoilt, folder.path(name + "_spoilt_copy.fits"), fresh_solution(), {}));
        CHECK(sums_of(folder.path(name + "_spoilt_copy.fits"), hdu).whole == -1);
        CHECK(sums_of(folder.path(name + "_spoilt_copy.fits"), hdu).data == -1);
    }
}

TEST_CASE("the original is never written to, by whatever name", "[solved_copy]") {
    const Folder folder;
    const std::string from = folder.file("in.fits", picture({"CTYPE1  = 'RA---TAN'"}));
    const std::string before = bytes_of(from);
    fs::create_symlink("in.fits", folder.path("link.fits"));
    fs::create_hard_link(from, folder.path("same.fits"));
    fs::create_symlink("nothing.fits", folder.path("dangling.fits"));
    const std::string other = folder.file("other.fits", "not to be lost");
    for (const char* name : {"in.fits", "link.fits", "same.fits", "dangling.fits", "other.fits"}) {
        INFO(name);
        const auto refused = write_solved_copy(from, folder.path(name), fresh_solution(), history);
        REQUIRE_FALSE(refused);
        CHECK(refused.error().kind == ProblemKind::request);
        CHECK(refused.error().where == folder.path(name));
    }
    CHECK(bytes_of(from) == before);
    CHECK(bytes_of(other) == "not to be lost");
    CHECK(fs::is_symlink(folder.path("dangling.fits")));
    CHECK(std::distance(fs::directory_iterator(folder.path("")), fs::directory_iterator()) == 5);
}

TEST_CASE("what cannot be read or written is told, and leaves nothing behind", "[solved_copy]") {
    const Folder folder;
    const std::string good = folder.file("in.fits", picture({}));
    const std::string cut = folder.file("cut.fits", picture({}).substr(0, 2980));
    const std::string text = folder.file("text.fits", "no FITS");
    for (const std::string& from : {cut, text, folder.path("absent.fits"), folder.path("")}) {
        INFO(from);
        const auto refused = write_solved_copy(from, folder.path("out.fits"), fresh_solution(), history);
        REQUIRE_FALSE(refused);
        CHECK(refused.error().kind == ProblemKind::input);
        CHECK_FALSE(fs::exists(folder.path("out.fits")));
    }
    const auto nowhere = write_solved_copy(good, folder.path("no/out.fits"), fresh_solution(), history);
    REQUIRE_FALSE(nowhere);
    CHECK(nowhere.error().kind == ProblemKind::storage);
    const auto full = write_solved_copy(good, "/dev/full/out.fits", fresh_solution(), history);
    REQUIRE_FALSE(full);
    CHECK(std::distance(fs::directory_iterator(folder.path("")), fs::directory_iterator()) == 3);
}

TEST_CASE("a copy passes the verifier of FITS files", "[solved_copy]") {
    if (say("fitsverify -h 2>&1").status == 127) {
        WARN("SKIPPED: fitsverify is not installed; install the package of that name.");
        return;
    }
    const Folder folder;
    int n = 0;
    for (const Written& kind : kinds()) {
        const std::string from = folder.path("in" + std::to_string(n) + ".fits"),
                          to = folder.path("out" + std::to_string(n) + ".fits");
        ++n;
        write_by_library(from, kind);
        REQUIRE(write_solved_copy(from, to, fresh_solution(), history));
        const Said verdict = say("fitsverify '" + to + "' 2>&1");
        INFO(verdict.out);
        CHECK(verdict.status == 0);
        CHECK(verdict.out.find(" 0 warning(s) and 0 error(s)") != std::string::npos);
    }
}

namespace {

// Lines for read_copies.py: where we find three places of a copy.
std::string places_of(const std::string& copy) {
    const auto frames = open_frames(copy, {});
    REQUIRE(frames);
    // Of a mosaic, in its stored pixels.
    const auto wcs = Wcs::parse(frames->front().header().raw());
    REQUIRE(wcs);
    std::string table;
    for (const PixelPosition p : {PixelPosition{0, 0}, PixelPosition{60, 0}, PixelPosition{13.25, 40}}) {
        const auto sky = wcs->sky(p);
        REQUIRE(sky);
        std::array<char, 160> place{};
        (void)std::snprintf(place.data(), place.size(), ",%d,%.17g,%.17g,%.17g,%.17g\n",
                            frames->front().facts().hdu, p.x, p.y, sky->ra.degrees(), sky->dec.degrees());
        table += copy + place.data();
    }
    return table;
}

// The most by which another reader differs, both ways, pixels; nothing where there is none.
std::optional<double> difference_of_reader(const Folder& folder, const std::string& table) {
    const std::string list = folder.file("places.csv", table);
    for (const char* python : {"/usr/bin/python3", "python3"}) {
        const Said said = say(std::string(python) + " '" + EMBERLINE_SOURCE_DIR +
                              "/tests/frame/read_copies.py' '" + list + "' 2>&1");
        if (said.status == 77 || said.status == 127) continue;
        INFO(said.out);
        REQUIRE(said.status == 0);
        return std::stod(said.out);
    }
    WARN("SKIPPED: python3 with astropy is not installed; scripts/setup installs it.");
    return std::nullopt;
}

// Of an inverse that is iterated to 1e-10 px; what is left is rounding of degrees.
constexpr double same_px = 1e-6;

}  // namespace

TEST_CASE("another reader finds the same places in a copy, to a millionth of a pixel", "[solved_copy]") {
    const Folder folder;
    std::string table;
    int n = 0;
    for (const Written& kind : kinds()) {
        const std::string from = folder.path("in" + std::to_string(n) + ".fits"),
                          to = folder.path("out" + std::to_string(n) + ".fits");
        ++n;
        write_by_library(from, kind);
        REQUIRE(write_solved_copy(from, to, fresh_solution(), history));
        table += places_of(to);
    }
    if (const auto difference = difference_of_reader(folder, table)) CHECK(*difference < same_px);
}

TEST_CASE("copies of what telescopes and archives wrote are read alike, and verified no worse",
          "[solved_copy][real]") {
    const char* datasets = std::getenv("EMBERLINE_DATASETS");
    if (datasets == nullptr) {
        WARN("SKIPPED: EMBERLINE_DATASETS is not set; no copies of real files are checked.");
        return;
    }
    const auto errors_of = [](const std::string& path) {
        const std::string verdict = say("fitsverify -q '" + path + "' 2>&1").out;
        const std::size_t at = verdict.rfind(" and ");
        return at == std::string::npos ? 0 : std::stoi(verdict.substr(at + 5));
    };
    const bool verifier = say("fitsverify -h 2>&1").status != 127;
    const Folder folder;
    std::string table;
    int n = 0;
    for (const char* part : {"headers/files", "headers/wcs_headers", "mosaic"}) {
        for (const auto& entry : fs::directory_iterator(std::string(datasets) + "/" + part)) {
            const std::string from = entry.path().string();
            if (!entry.is_regular_file() || !open_frames(from, {})) continue;
            const std::string to = folder.path("copy" + std::to_string(n++) + ".fits");
            INFO(from);
            REQUIRE(write_solved_copy(from, to, fresh_solution(), history));
            check_same_pixels(from, to);
            table += places_of(to);
            if (verifier) CHECK(errors_of(to) <= errors_of(from));
        }
    }
    CHECK(n > 20);
    if (const auto difference = difference_of_reader(folder, table)) CHECK(*difference < same_px);
}
