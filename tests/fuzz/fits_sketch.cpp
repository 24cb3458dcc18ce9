// SPDX-License-Identifier: MIT
#include "fuzz/fits_sketch.hpp"

#include <algorithm>

#include "frame/gzipped.hpp"
#include "quantities/text.hpp"

namespace emberline::fuzz {
namespace {

constexpr std::size_t block = 2880, card = 80;

void fill_block(std::string& file, char with) {
    file.append((block - file.size() % block) % block, with);
}

std::size_t count_in(std::string_view line, std::size_t most) {
    const auto value = parse_integer(line);
    return value && *value > 0 ? std::min(static_cast<std::size_t>(*value), most) : 0;
}

// Counts of a plausible sky in two bytes, high byte first.
char pattern_byte(std::size_t i) {
    return static_cast<char>(i % 2 == 0 ? (i / 2 % 97 == 0 ? 0x20 : 0x04) : (i * 37 + i / 256) & 0xffU);
}

std::string fits_of_lines(std::string_view input) {
    constexpr std::string_view mark = "#fits\n";
    if (!input.starts_with(mark)) return std::string(input);
    input.remove_prefix(mark.size());
    std::string file;
    std::size_t short_by = 0;
    while (!input.empty()) {
        const auto end = std::min(input.find('\n'), input.size());
        std::string_view line = input.substr(0, end);
        input.remove_prefix(std::min(end + 1, input.size()));
        if (line.starts_with("#data ")) {
            const std::size_t n = count_in(line.substr(6), input.size());
            file += input.substr(0, n);
            input.remove_prefix(std::min(n + 1, input.size()));
        } else if (line.starts_with("#fill ")) {
            const std::size_t n =
                count_in(line.substr(6), most_filled_bytes - std::min(file.size(), most_filled_bytes));
            for (std::size_t i = 0; i < n; ++i)
                file += pattern_byte(i);
        } else if (line.starts_with("#short ")) {
            short_by = count_in(line.substr(7), block);
        } else {
            if (file.size() % card != 0) fill_block(file, '\0');
            line = line.substr(0, card);
            file += line;
            file.append(card - line.size(), ' ');
            if (trimmed(line) == "END") fill_block(file, ' ');
        }
    }
    fill_block(file, '\0');
    file.resize(file.size() - std::min(short_by, file.size()));
    return file;
}

}  // namespace

std::string fits_of(std::string_view input) {
    constexpr std::string_view packed = "#gzip\n";
    if (!input.starts_with(packed)) return fits_of_lines(input);
    return frame::testing::gzipped(fits_of_lines(input.substr(packed.size())));
}

}  // namespace emberline::fuzz
