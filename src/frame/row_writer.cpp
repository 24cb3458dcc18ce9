// SPDX-License-Identifier: MIT
#include "frame/row_writer.hpp"

#include <fcntl.h>
#include <fmt/format.h>
#include <unistd.h>

#include <algorithm>
#include <bit>
#include <cerrno>
#include <cmath>
#include <cstdint>
#include <cstring>
#include <filesystem>

#include "frame/parse_header.hpp"
#include "frame/unpack_pixels.hpp"
#include "frame/write_frame.hpp"
#include "quantities/new_file.hpp"

namespace emberline::frame {
namespace {

constexpr long long block_bytes = 2880;

long long whole_blocks(long long bytes) {
    return (bytes + block_bytes - 1) / block_bytes * block_bytes;
}

Card number_card(const char* keyword, long long value, const char* comment) {
    return {keyword, fmt::format("{}", value), comment, false};
}

std::vector<Card> cards_of(const FitsPart& part, bool first, bool more_follow, int width, int height) {
    std::vector<Card> cards;
    if (first)
        cards.push_back({"SIMPLE", "T", "FITS standard", false});
    else
        cards.push_back({"XTENSION", "IMAGE", "image extension", true});
    cards.push_back(number_card("BITPIX", part.bits, "bits of a pixel, negative: floating point"));
    cards.push_back(number_card("NAXIS", 2, "axes"));
    cards.push_back(number_card("NAXIS1", width, "columns"));
    cards.push_back(number_card("NAXIS2", height, "rows"));
    if (!first) {
        cards.push_back(number_card("PCOUNT", 0, "nothing beside the pixels"));
        cards.push_back(number_card("GCOUNT", 1, "one group"));
    } else if (more_follow) {
        cards.push_back({"EXTEND", "T", "extensions follow", false});
    }
    if (!part.name.empty()) cards.push_back({"EXTNAME", part.name, "", true});
    cards.insert(cards.end(), part.cards.begin(), part.cards.end());
    return cards;
}

std::string header_text(const std::vector<Card>& cards) {
    std::string text;
    for (const Card& card : cards)
        text += card_text(card);
    text += fmt::format("{:<80}", "END");
    text.resize(static_cast<std::size_t>(whole_blocks(static_cast<long long>(text.size()))), ' ');
    return text;
}

std::int16_t whole_number(float v) {
    if (!std::isfinite(v)) return 0;
    return static_cast<std::int16_t>(std::lround(std::clamp(v, -32768.0F, 32767.0F)));
}

}  // namespace

Problem RowWriter::problem(const std::string& why) const {
    return {.what = fmt::format("The file cannot be written: {}.", why),
            .where = path_,
            .mend = "Check the free space and the permissions there.",
            .kind = ProblemKind::storage};
}

Result<std::shared_ptr<RowWriter>> RowWriter::create(const std::string& path, int width, int height,
                                                     const std::vector<FitsPart>& parts) {
    const std::shared_ptr<RowWriter> writer(new RowWriter());
    writer->path_ = path;
    writer->beside_ = name_beside(path);
    writer->width_ = width;
    writer->height_ = height;
    writer->descriptor_ = ::open(writer->beside_.c_str(), O_RDWR | O_CREAT | O_TRUNC | O_CLOEXEC, 0666);
    if (writer->descriptor_ < 0) return fail(writer->problem(std::strerror(errno)));
    long long end = 0;
    for (std::size_t i = 0; i < parts.size(); ++i) {
        const auto cards = cards_of(parts[i], i == 0, parts.size() > 1, width, height);
        const std::string text = header_text(cards);
        if (auto good = writer->put(text.data(), text.size(), end); !good) return fail(good.error());
        Place place{parts[i].bits, end, end + static_cast<long long>(text.size()), {}};
        for (const Card& card : cards)
            place.keywords.push_back(card.keyword);
        end =
            place.data + whole_blocks(static_cast<long long>(width) * height * (std::abs(parts[i].bits) / 8));
        writer->places_.push_back(std::move(place));
    }
    const int refused = ::posix_fallocate(writer->descriptor_, 0, end);
    if (refused != 0) return fail(writer->problem(std::strerror(refused)));
    return writer;
}

RowWriter::~RowWriter() {
    if (descriptor_ < 0) return;
    ::close(descriptor_);
    std::error_code ignored;
    std::filesystem::remove(beside_, ignored);
}

Result<void> RowWriter::put(const void* bytes, std::size_t n, long long offset) {
    const auto* at = static_cast<const char*>(bytes);
    while (n > 0) {
        const ssize_t done = ::pwrite(descriptor_, at, n, offset);
        if (done < 0 && errno == EINTR) continue;
        if (done <= 0) return fail(problem(done < 0 ? std::strerror(errno) : "the disk takes no more"));
        at += done;
        offset += done;
        n -= static_cast<std::size_t>(done);
    }
    return {};
}

Result<void> RowWriter::write(std::size_t part, int y, std::span<const float> rows) {
    const Place& place = places_[part];
    const auto pixel_bytes = static_cast<std::size_t>(std::abs(place.bits) / 8);
    bytes_.resize(rows.size() * pixel_bytes);
    for (std::size_t i = 0; i < rows.size(); ++i) {
        if (place.bits == 16) {
            const auto bits = __builtin_bswap16(static_cast<std::uint16_t>(whole_number(rows[i])));
            std::memcpy(bytes_.data() + 2 * i, &bits, 2);
        } else {
            const std::uint32_t bits = __builtin_bswap32(std::bit_cast<std::uint32_t>(rows[i]));
            std::memcpy(bytes_.data() + 4 * i, &bits, 4);
        }
    }
    const long long pixel = static_cast<long long>(y) * width_;
    return put(bytes_.data(), bytes_.size(), place.data + pixel * static_cast<long long>(pixel_bytes));
}

Result<void> RowWriter::read(std::size_t part, int y, std::span<float> rows) const {
    const Place& place = places_[part];
    const auto pixel_bytes = static_cast<std::size_t>(std::abs(place.bits) / 8);
    bytes_.resize(rows.size() * pixel_bytes);
    const long long offset =
        place.data + static_cast<long long>(y) * width_ * static_cast<long long>(pixel_bytes);
    std::size_t have = 0;
    while (have < bytes_.size()) {
        const ssize_t got = ::pread(descriptor_, bytes_.data() + have, bytes_.size() - have,
                                    offset + static_cast<long long>(have));
        if (got < 0 && errno == EINTR) continue;
        if (got <= 0) return fail(problem(got < 0 ? std::strerror(errno) : "it was cut short meanwhile"));
        have += static_cast<std::size_t>(got);
    }
    unpack_pixels(place.bits, bytes_.data(), rows.size(), {}, rows.data());
    return {};
}

Result<void> RowWriter::change(std::size_t part, const Card& card) {
    const Place& place = places_[part];
    const auto at = std::find(place.keywords.begin(), place.keywords.end(), card.keyword);
    if (at == place.keywords.end()) return fail(problem("it has no card " + card.keyword));
    const std::string text = card_text(card);
    return put(text.data(), text.size(),
               place.header +
                   static_cast<long long>(at - place.keywords.begin()) * static_cast<long long>(card_length));
}

Result<void> RowWriter::finish() {
    const bool closed = ::close(descriptor_) == 0;
    descriptor_ = -1;
    if (closed && take_name(beside_, path_)) return {};
    const int why = errno;
    std::error_code ignored;
    std::filesystem::remove(beside_, ignored);
    return fail(problem(std::strerror(why)));
}

}  // namespace emberline::frame
