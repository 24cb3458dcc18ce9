// SPDX-License-Identifier: MIT
#include "frame/write_frame.hpp"

#include <fitsio.h>
#include <fmt/format.h>

#include <cerrno>
#include <cstring>
#include <filesystem>
#include <string_view>

#include "frame/parse_header.hpp"
#include "frame/prepare_cfitsio.hpp"
#include "quantities/new_file.hpp"

namespace emberline::frame {

namespace {

constexpr std::size_t longest_string = 68;  // between the quotes of one card; longer ones go on in CONTINUE

// Quotes doubled, and '?' for what no header may hold.
std::string quotable(std::string_view text) {
    std::string out;
    for (const char c : text) {
        const bool printable = c >= ' ' && c <= '~';
        out += printable ? c : '?';
        if (c == '\'') out += c;
    }
    return out;
}

Problem unwritable(const std::string& path, std::string why) {
    return {.what = fmt::format("The frame cannot be written: {}.", why),
            .where = path,
            .mend = "Check the free space and the permissions there.",
            .kind = ProblemKind::storage};
}

}  // namespace

std::string card_text(const Card& card) {
    std::string text;
    if (card.keyword.empty() || card.keyword == "COMMENT" || card.keyword == "HISTORY") {
        text = fmt::format("{:<8}{}", card.keyword, card.comment);
    } else {
        text = card.keyword.size() <= 8 ? fmt::format("{:<8}= ", card.keyword)
                                        : fmt::format("HIERARCH {} = ", card.keyword);
        if (card.is_string) {
            std::string value = quotable(card.value);
            const std::size_t room = text.size() + 2 < card_length ? card_length - 2 - text.size() : 0;
            // Never half of a doubled quote.
            if (value.size() > room) value = quotable(card.value.substr(0, room / 2));
            text += fmt::format("'{:<8}'", value);
        } else {
            text += fmt::format("{:>20}", card.value);
        }
        if (!card.comment.empty()) text += " / " + card.comment;
    }
    text.resize(card_length, ' ');
    for (char& c : text) {
        if (c < ' ' || c > '~') c = '?';
    }
    return text;
}

namespace {

// The pixels as cfitsio takes them.
struct Pixels {
    int image_type, data_type;
    std::size_t count;
    const void* data;
    int planes = 1;
};

Result<void> write_image(const std::string& path, int width, int height, const Pixels& pixels,
                         const std::vector<Card>& cards, Packing packing) {
    if (width < 1 || height < 1 || pixels.planes < 1 ||
        pixels.count != static_cast<std::size_t>(width) * static_cast<std::size_t>(height) *
                            static_cast<std::size_t>(pixels.planes)) {
        return fail({.what = fmt::format("{} pixels do not make {} image{} of {} × {}.", pixels.count,
                                         pixels.planes == 1 ? "an" : std::to_string(pixels.planes),
                                         pixels.planes == 1 ? "" : "s", width, height),
                     .where = path,
                     .mend = "Hand over as many pixels as width times height times planes.",
                     .kind = ProblemKind::request});
    }
    const std::string beside = name_beside(path);
    std::error_code ignored;
    std::filesystem::remove(beside, ignored);
    int status = 0;
    fitsfile* file = nullptr;
    prepare_cfitsio();
    fits_create_diskfile(&file, beside.c_str(), &status);
    if (packing == Packing::tiles) fits_set_compression_type(file, RICE_1, &status);
    long sides[3] = {width, height, pixels.planes};
    fits_create_img(file, pixels.image_type, pixels.planes == 1 ? 2 : 3, sides, &status);
    for (const Card& card : cards) {
        if (card.is_string && quotable(card.value).size() > longest_string) {
            // cfitsio doubles the quotes itself.
            fits_write_key_longstr(file, card.keyword.c_str(), card.value.c_str(), card.comment.c_str(),
                                   &status);
        } else {
            fits_write_record(file, card_text(card).c_str(), &status);
        }
    }
    // cfitsio takes a pointer to non-const, and only reads.
    fits_write_img(file, pixels.data_type, 1, static_cast<LONGLONG>(pixels.count),
                   const_cast<void*>(pixels.data), &status);
    if (file != nullptr) {
        int closing = 0;
        fits_close_file(file, &closing);
        if (status == 0) status = closing;
    }
    if (status == 0 && take_name(beside, path)) return {};
    const std::string unnamed = std::strerror(errno);
    char why[FLEN_STATUS] = {};
    fits_get_errstatus(status, why);
    fits_clear_errmsg();
    std::filesystem::remove(beside, ignored);
    return fail(unwritable(path, status != 0 ? std::string(why) : unnamed));
}

}  // namespace

Result<void> write_frame(const std::string& path, int width, int height, std::span<const std::uint16_t> adu,
                         const std::vector<Card>& cards, Packing packing) {
    return write_image(path, width, height, {USHORT_IMG, TUSHORT, adu.size(), adu.data()}, cards, packing);
}

Result<void> write_frame(const std::string& path, int width, int height, std::span<const float> adu,
                         const std::vector<Card>& cards) {
    return write_image(path, width, height, {FLOAT_IMG, TFLOAT, adu.size(), adu.data()}, cards,
                       Packing::plain);
}

Result<void> write_cube(const std::string& path, int width, int height, int planes,
                        std::span<const std::uint16_t> adu, const std::vector<Card>& cards) {
    return write_image(path, width, height, {USHORT_IMG, TUSHORT, adu.size(), adu.data(), planes}, cards,
                       Packing::plain);
}

Result<void> write_cube(const std::string& path, int width, int height, int planes,
                        std::span<const float> adu, const std::vector<Card>& cards) {
    return write_image(path, width, height, {FLOAT_IMG, TFLOAT, adu.size(), adu.data(), planes}, cards,
                       Packing::plain);
}

Result<void> write_bytes(const std::string& path, int width, int height, int planes,
                         std::span<const std::uint8_t> levels, const std::vector<Card>& cards) {
    return write_image(path, width, height, {BYTE_IMG, TBYTE, levels.size(), levels.data(), planes}, cards,
                       Packing::plain);
}

}  // namespace emberline::frame
