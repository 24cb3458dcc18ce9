// SPDX-License-Identifier: MIT
#include "ledger/bytes.hpp"

#include <bit>

namespace emberline::ledger {

void ByteWriter::put(double value) {
    const auto bits = std::bit_cast<std::uint64_t>(value);
    for (int shift = 0; shift < 64; shift += 8)
        bytes_ += static_cast<char>((bits >> shift) & 0xffU);
}

void ByteWriter::put(float value) {
    const auto bits = std::bit_cast<std::uint32_t>(value);
    for (int shift = 0; shift < 32; shift += 8)
        bytes_ += static_cast<char>((bits >> shift) & 0xffU);
}

void ByteWriter::put(std::uint64_t value) {
    while (value >= 0x80U) {
        bytes_ += static_cast<char>((value & 0x7fU) | 0x80U);
        value >>= 7;
    }
    bytes_ += static_cast<char>(value);
}

void ByteWriter::put(std::string_view text) {
    put(std::uint64_t{text.size()});
    bytes_ += text;
}

std::optional<double> ByteReader::number() {
    if (rest_.size() < 8) return std::nullopt;
    std::uint64_t bits = 0;
    for (std::size_t i = 0; i < 8; ++i)
        bits |= std::uint64_t{static_cast<unsigned char>(rest_[i])} << (8 * i);
    rest_.remove_prefix(8);
    return std::bit_cast<double>(bits);
}

std::optional<float> ByteReader::short_number() {
    if (rest_.size() < 4) return std::nullopt;
    std::uint32_t bits = 0;
    for (std::size_t i = 0; i < 4; ++i)
        bits |= std::uint32_t{static_cast<unsigned char>(rest_[i])} << (8 * i);
    rest_.remove_prefix(4);
    return std::bit_cast<float>(bits);
}

std::optional<std::uint64_t> ByteReader::count() {
    std::uint64_t value = 0;
    for (unsigned shift = 0; shift < 64 && !rest_.empty(); shift += 7) {
        const auto byte = static_cast<unsigned char>(rest_.front());
        rest_.remove_prefix(1);
        value |= std::uint64_t{byte & 0x7fU} << shift;
        if ((byte & 0x80U) == 0) return value;
    }
    return std::nullopt;
}

std::string join_lines(const std::vector<std::string>& texts) {
    std::string lines;
    for (const std::string& text : texts) {
        for (const char c : text) {
            if (c == '\\' || c == '\n') lines += '\\';
            lines += c == '\n' ? 'n' : c;
        }
        lines += '\n';
    }
    return lines;
}

std::optional<std::vector<std::string>> split_lines(std::string_view lines) {
    std::vector<std::string> texts;
    std::string text;
    for (std::size_t i = 0; i < lines.size(); ++i) {
        if (lines[i] == '\n') {
            texts.push_back(std::move(text));
            text.clear();
        } else if (lines[i] == '\\') {
            if (++i == lines.size()) return std::nullopt;
            text += lines[i] == 'n' ? '\n' : lines[i];
        } else {
            text += lines[i];
        }
    }
    if (!lines.empty() && lines.back() != '\n') return std::nullopt;
    return texts;
}

}  // namespace emberline::ledger
