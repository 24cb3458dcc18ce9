// SPDX-License-Identifier: MIT
#include "frame/fits_maker.hpp"

#include <fitsio.h>

#include <filesystem>
#include <fstream>
#include <iterator>
#include <stdexcept>

namespace emberline::frame::testing {

std::string bytes_of(const std::string& path) {
    std::ifstream in(path, std::ios::binary);
    if (!in) throw std::runtime_error("the test cannot read " + path);
    return {std::istreambuf_iterator<char>(in), {}};
}

std::string cards(const std::vector<std::string>& lines) {
    std::string out;
    for (std::string line : lines) {
        line.resize(80, ' ');
        out += line;
    }
    return out;
}

std::string header_block(const std::vector<std::string>& lines) {
    std::string out = cards(lines) + cards({"END"});
    out.resize((out.size() + 2879) / 2880 * 2880, ' ');
    return out;
}

std::string data_block(std::string bytes) {
    bytes.resize((bytes.size() + 2879) / 2880 * 2880, '\0');
    return bytes;
}

std::vector<std::string> plain_solution() {
    return {"CTYPE1  = 'RA---TAN'",           "CTYPE2  = 'DEC--TAN'",
            "CRPIX1  =                  1.0", "CRPIX2  =                  1.0",
            "CRVAL1  =                100.0", "CRVAL2  =                 20.0",
            "CD1_1   =               -0.001", "CD1_2   =                  0.0",
            "CD2_1   =                  0.0", "CD2_2   =                0.001"};
}

double written_pixel(int plane, int x, int y) {
    return (x * 7 + y * 13 + plane * 29) % 127;
}

namespace {

// cfitsio converts no types on the way into tiles.
template <class Pixel>
void write_pixels(fitsfile* file, int type, int planes, int* status) {
    std::vector<Pixel> pixels;
    for (int plane = 0; plane < planes; ++plane) {
        for (int y = 0; y < written_height; ++y) {
            for (int x = 0; x < written_width; ++x)
                pixels.push_back(static_cast<Pixel>(written_pixel(plane, x, y)));
        }
    }
    fits_write_img(file, type, 1, static_cast<LONGLONG>(pixels.size()), pixels.data(), status);
}

void write_pixels(fitsfile* file, const Written& what, int* status) {
    switch (what.type) {
        case BYTE_IMG:
            return write_pixels<std::uint8_t>(file, TBYTE, what.planes, status);
        case SBYTE_IMG:
            return write_pixels<std::int8_t>(file, TSBYTE, what.planes, status);
        case SHORT_IMG:
            return write_pixels<std::int16_t>(file, TSHORT, what.planes, status);
        case USHORT_IMG:
            return write_pixels<std::uint16_t>(file, TUSHORT, what.planes, status);
        case LONG_IMG:
            return write_pixels<std::int32_t>(file, TINT, what.planes, status);
        case ULONG_IMG:
            return write_pixels<std::uint32_t>(file, TUINT, what.planes, status);
        case LONGLONG_IMG:
            return write_pixels<LONGLONG>(file, TLONGLONG, what.planes, status);
        case FLOAT_IMG:
            return write_pixels<float>(file, TFLOAT, what.planes, status);
        default:
            return write_pixels<double>(file, TDOUBLE, what.planes, status);
    }
}

}  // namespace

void write_by_library(const std::string& path, const Written& what) {
    int status = 0;
    fitsfile* file = nullptr;
    // Without the diskfile form: a name that ends with .gz is packed on closing.
    fits_create_file(&file, path.c_str(), &status);
    if (what.in_extension) fits_create_img(file, SHORT_IMG, 0, nullptr, &status);
    constexpr int kinds[] = {0, RICE_1, GZIP_1, GZIP_2, HCOMPRESS_1, PLIO_1};
    if (what.packing != Packing::none) {
        fits_set_compression_type(file, kinds[static_cast<int>(what.packing)], &status);
        fits_set_quantize_level(file, what.packing == Packing::rice ? 64.0F : 0.0F, &status);
    }
    long tile[3] = {what.tile_width, what.tile_height, 1};
    if (what.tile_width > 0) fits_set_tile_dim(file, 3, tile, &status);
    long sides[3] = {written_width, written_height, what.planes};
    fits_create_img(file, what.type, what.planes > 1 ? 3 : 2, sides, &status);
    for (const char* card :
         {"OBJECT  = 'O''Brien''s nova' / invented", "EXPTIME =                 30.0 / [s] open shutter",
          "DATE-OBS= '2024-02-03T21:04:05'"})
        fits_write_record(file, card, &status);
    for (std::string card : plain_solution())
        fits_write_record(file, card.c_str(), &status);
    write_pixels(file, what, &status);
    fits_close_file(file, &status);
    if (status != 0) {
        char why[FLEN_STATUS] = {};
        fits_get_errstatus(status, why);
        throw std::runtime_error("cfitsio cannot write " + path + ": " + why);
    }
}

}  // namespace emberline::frame::testing
