// SPDX-License-Identifier: MIT
// quantities/line_reader — a text line by line, however long the text: only a piece of it is in memory.
#pragma once

#include <cstddef>
#include <istream>
#include <optional>
#include <string>
#include <string_view>

namespace emberline {
inline namespace quantities {

// Lines end with LF, CR LF or CR; a last line without an end counts. A byte-order mark before the first is
// skipped and remembered.
class LineReader {
  public:
    explicit LineReader(std::istream& in, std::size_t longest_bytes = std::size_t{1} << 20U)
        : in_(in), longest_(longest_bytes) {}

    // Without its end; good until the next call. Nothing: no more lines, or the stream failed, which its
    // bad() tells.
    [[nodiscard]] std::optional<std::string_view> next();
    [[nodiscard]] std::size_t number() const { return number_; }  // of the line that next() gave, from 1
    // That line was longer than allowed: what came beyond is not in it.
    [[nodiscard]] bool cut() const { return cut_; }
    [[nodiscard]] bool had_mark() const { return had_mark_; }
    // That line's end was CR LF or CR alone.
    [[nodiscard]] bool had_carriage_return() const { return carriage_return_; }
    [[nodiscard]] bool had_end() const { return had_end_; }  // false: the text stopped within the line

  private:
    [[nodiscard]] bool fill();

    std::istream& in_;
    std::size_t longest_;
    std::string buffer_, line_;
    std::size_t at_ = 0, number_ = 0;
    bool cut_ = false, had_mark_ = false, carriage_return_ = false, had_end_ = false;
};

}  // namespace quantities
}  // namespace emberline
