// SPDX-License-Identifier: MIT
// exchange/xml_reader — XML 1.0 piece by piece from a stream: only a piece of it is in memory.
// Well-formedness is checked as far as elements, attributes and references go. A document type is refused
// whole, since its entities could name other files or fill any memory. Private to this room. Source: W3C
// XML 1.0 (fifth edition), sections 2 and 4.1.
#pragma once

#include <cstddef>
#include <istream>
#include <optional>
#include <string>
#include <string_view>
#include <utility>
#include <vector>

namespace emberline::exchange {

class XmlReader {
  public:
    enum class Kind { open, close, text, end, broken };

    explicit XmlReader(std::istream& in) : in_(in) {}

    // The next piece. <A/> gives open and close; comments and instructions are passed over; a long text comes
    // in several pieces. After `end` or `broken` there is no other.
    Kind next();

    [[nodiscard]] std::string_view name() const { return name_; }  // of open and close, without its prefix
    // Of open; empty where there is none of that name.
    [[nodiscard]] std::string_view attribute(std::string_view name) const;
    [[nodiscard]] bool holds(std::string_view value) const;          // whether any attribute has this value
    [[nodiscard]] const std::string& text() const { return text_; }  // entities resolved, lines end with LF
    [[nodiscard]] const std::string& problem() const { return problem_; }  // of broken: a sentence
    [[nodiscard]] std::size_t line() const { return line_of_piece_; }      // at which the piece begins
    [[nodiscard]] bool had_mark() const { return had_mark_; }              // a byte-order mark

  private:
    static constexpr int at_end = -1;
    [[nodiscard]] int peek();
    int take();
    [[nodiscard]] bool take_word(std::string_view word);  // takes it whole or stops within it
    void pass_blanks();
    [[nodiscard]] bool pass_until(std::string_view end);
    Kind broken(std::string problem);
    Kind cut();
    Kind read_text();
    std::optional<Kind> read_markup();
    std::optional<Kind> read_declared();  // after "<!"
    Kind read_cdata();
    std::optional<Kind> read_instruction();
    Kind read_open();
    Kind read_close();
    [[nodiscard]] bool read_name(std::string& name);
    [[nodiscard]] bool read_attributes(bool& empty);
    [[nodiscard]] bool read_value(std::string& value);
    [[nodiscard]] bool read_reference(std::string& into);  // after '&'; false: `problem_` says why

    std::istream& in_;
    std::string buffer_;
    std::size_t at_ = 0;
    std::size_t line_ = 1, line_of_piece_ = 1;
    std::vector<std::string> inside_;  // the names of the elements that are open
    std::string name_, text_, problem_;
    std::string brackets_;  // at the end of a piece of CDATA: they may begin its end
    std::vector<std::pair<std::string, std::string>> attributes_;
    bool begun_ = false, in_cdata_ = false, close_due_ = false, had_mark_ = false, over_ = false;
    bool root_seen_ = false;
};

}  // namespace emberline::exchange
