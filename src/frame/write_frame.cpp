// SPDX-License-Identifier: MIT
#include "frame/write_frame.hpp"

#include <fitsio.h>
#include <fmt/format.h>
#include <unistd.h>

#include <filesystem>

namespace emberline::frame {

std::string card_text(const Card& card) {
    std::string value = card.value;
    if (card.is_string) {
        std::string quoted;
        for (const char c : card.value)
            quoted += c == '\'' ? std::string("''") : std::string(1, c);
        value = fmt::format("'{:<8}'", quoted);
    } else {
        value = fmt::format("{:>20}", value);
    }
    std::string text = fmt::format("{:<8}= {}", card.keyword, value);
    if (!card.comment.empty()) text += " / " + card.comment;
    text.resize(80, ' ');
    return text;
}

Result<void> write_frame(const std::string& path, int width, int height, std::span<const std::uint16_t> adu,
                         const std::vector<Card>& cards, Packing packing) {
    const std::string beside = fmt::format("{}.{}.part", path, ::getpid());
    std::error_code ignored;
    std::filesystem::remove(beside, ignored);
    int status = 0;
    fitsfile* file = nullptr;
    fits_create_diskfile(&file, beside.c_str(), &status);
    if (packing == Packing::tiles) fits_set_compression_type(file, RICE_1, &status);
    long sides[2] = {width, height};
    fits_create_img(file, USHORT_IMG, 2, sides, &status);
    for (const Card& card : cards)
        fits_write_record(file, card_text(card).c_str(), &status);
    // cfitsio takes a pointer to non-const, and only reads.
    fits_write_img(file, TUSHORT, 1, static_cast<LONGLONG>(adu.size()),
                   const_cast<std::uint16_t*>(adu.data()), &status);
    if (file != nullptr) {
        int closing = 0;
        fits_close_file(file, &closing);
        if (status == 0) status = closing;
    }
    std::error_code error;
    if (status == 0) std::filesystem::rename(beside, path, error);
    if (status == 0 && !error) return {};
    char why[FLEN_STATUS] = {};
    fits_get_errstatus(status, why);
    fits_clear_errmsg();
    std::filesystem::remove(beside, ignored);
    return fail({.what = fmt::format("The frame cannot be written: {}.", status != 0 ? why : error.message()),
                 .where = path,
                 .mend = "Check the free space and the permissions there.",
                 .kind = ProblemKind::storage});
}

}  // namespace emberline::frame
