// SPDX-License-Identifier: MIT
// ledger/bytes — lists as the ledger keeps them: the same bytes on every machine.
#pragma once

#include <cstdint>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

namespace emberline::ledger {

class ByteWriter {
  public:
    void put(double value);           // 8 bytes, IEEE 754, least significant first
    void put(float value);            // 4 bytes, likewise
    void put(std::uint64_t value);    // 7 bits a byte, least significant first: small numbers are short
    void put(std::string_view text);  // its size, then itself
    [[nodiscard]] const std::string& bytes() const { return bytes_; }

  private:
    std::string bytes_;
};

// Nothing where the bytes end too early or are not what the writer makes.
class ByteReader {
  public:
    explicit ByteReader(std::string_view bytes) : rest_(bytes) {}
    std::optional<double> number();
    std::optional<float> short_number();
    std::optional<std::uint64_t> count();
    [[nodiscard]] bool at_end() const { return rest_.empty(); }

  private:
    std::string_view rest_;
};

// One line a text, each ended by a line feed; a line feed inside becomes "\n", a backslash "\\".
[[nodiscard]] std::string join_lines(const std::vector<std::string>& texts);
[[nodiscard]] std::optional<std::vector<std::string>> split_lines(std::string_view lines);

}  // namespace emberline::ledger
