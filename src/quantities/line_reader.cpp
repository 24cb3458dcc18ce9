// SPDX-License-Identifier: MIT
#include "quantities/line_reader.hpp"

#include <algorithm>

namespace emberline {
inline namespace quantities {
namespace {

constexpr std::size_t piece_bytes = std::size_t{64} << 10U;
constexpr std::string_view mark = "\xEF\xBB\xBF";

}  // namespace

bool LineReader::fill() {
    if (!in_.good()) return false;
    buffer_.resize(piece_bytes);
    in_.read(buffer_.data(), static_cast<std::streamsize>(buffer_.size()));
    buffer_.resize(static_cast<std::size_t>(in_.gcount()));
    at_ = 0;
    if (number_ == 0 && line_.empty() && buffer_.starts_with(mark)) {
        had_mark_ = true;
        at_ = mark.size();
    }
    return at_ < buffer_.size();
}

std::optional<std::string_view> LineReader::next() {
    line_.clear();
    cut_ = carriage_return_ = had_end_ = false;
    bool any = false;
    while (!had_end_) {
        if (at_ >= buffer_.size() && !fill()) break;
        any = true;
        const std::size_t end = std::min(buffer_.find_first_of("\r\n", at_), buffer_.size());
        const std::size_t room = longest_ - std::min(longest_, line_.size());
        cut_ = cut_ || end - at_ > room;
        line_.append(buffer_, at_, std::min(end - at_, room));
        at_ = end;
        if (at_ == buffer_.size()) continue;
        had_end_ = true;
        carriage_return_ = buffer_[at_] == '\r';
        ++at_;
        if (carriage_return_ && (at_ < buffer_.size() || fill()) && buffer_[at_] == '\n') ++at_;
    }
    if (!any) return std::nullopt;
    ++number_;
    return line_;
}

}  // namespace quantities
}  // namespace emberline
