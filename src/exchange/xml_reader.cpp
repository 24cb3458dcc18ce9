// SPDX-License-Identifier: MIT
#include "exchange/xml_reader.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <charconv>
#include <utility>

#include "quantities/text.hpp"

namespace emberline::exchange {
namespace {

using Kind = XmlReader::Kind;

constexpr std::size_t piece_bytes = std::size_t{64} << 10U;
constexpr std::size_t longest_text = piece_bytes, longest_value = piece_bytes, longest_name = 256,
                      longest_reference = 16, most_attributes = 64, deepest = 64;

bool is_blank(int c) {
    return c == ' ' || c == '\t' || c == '\n';
}

bool ends_name(int c) {
    return c < 0 || is_blank(c) || c == '/' || c == '>' || c == '=' || c == '<' || c == '"' || c == '\'' ||
           c == '&';
}

// Of a name with a prefix: "v:TD" → "TD".
std::string_view local(std::string_view name) {
    return name.substr(name.find(':') + 1);
}

std::string utf8(unsigned code) {
    std::string out;
    if (code < 0x80) {
        out += static_cast<char>(code);
    } else if (code < 0x800) {
        out += static_cast<char>(0xC0U | (code >> 6U));
        out += static_cast<char>(0x80U | (code & 0x3FU));
    } else if (code < 0x10000) {
        out += static_cast<char>(0xE0U | (code >> 12U));
        out += static_cast<char>(0x80U | ((code >> 6U) & 0x3FU));
        out += static_cast<char>(0x80U | (code & 0x3FU));
    } else {
        out += static_cast<char>(0xF0U | (code >> 18U));
        out += static_cast<char>(0x80U | ((code >> 12U) & 0x3FU));
        out += static_cast<char>(0x80U | ((code >> 6U) & 0x3FU));
        out += static_cast<char>(0x80U | (code & 0x3FU));
    }
    return out;
}

// What "#x41", "#65" or "lt" stand for; nothing where it is none of XML's own.
std::optional<std::string> meaning_of(std::string_view reference) {
    if (reference == "lt") return "<";
    if (reference == "gt") return ">";
    if (reference == "amp") return "&";
    if (reference == "quot") return "\"";
    if (reference == "apos") return "'";
    if (!reference.starts_with('#')) return std::nullopt;
    reference.remove_prefix(1);
    const bool hexadecimal = reference.starts_with('x');
    if (hexadecimal) reference.remove_prefix(1);
    unsigned code = 0;
    const char* end = reference.data() + reference.size();
    const auto [stopped, error] = std::from_chars(reference.data(), end, code, hexadecimal ? 16 : 10);
    if (error != std::errc() || stopped != end) return std::nullopt;
    // Section 2.2: the characters that XML has.
    const bool good = code == 0x9 || code == 0xA || code == 0xD || (code >= 0x20 && code < 0xD800) ||
                      (code >= 0xE000 && code < 0xFFFE) || (code >= 0x10000 && code <= 0x10FFFF);
    if (!good) return std::nullopt;
    return utf8(code);
}

// The value of encoding="…" in the declaration; empty where it says nothing.
std::string encoding_of(std::string_view declaration) {
    const auto at = declaration.find("encoding");
    if (at == std::string_view::npos) return {};
    const auto opened = declaration.find_first_of("\"'", at);
    if (opened == std::string_view::npos) return {};
    const auto closed = declaration.find(declaration[opened], opened + 1);
    if (closed == std::string_view::npos) return {};
    return upper_case(declaration.substr(opened + 1, closed - opened - 1));
}

}  // namespace

// Lines end with LF here, whatever the file has (section 2.11).
int XmlReader::peek() {
    if (at_ >= buffer_.size()) {
        if (!in_.good()) return at_end;
        buffer_.resize(piece_bytes);
        in_.read(buffer_.data(), static_cast<std::streamsize>(buffer_.size()));
        buffer_.resize(static_cast<std::size_t>(in_.gcount()));
        at_ = 0;
        if (buffer_.empty()) return at_end;
    }
    const auto c = static_cast<unsigned char>(buffer_[at_]);
    return c == '\r' ? '\n' : c;
}

int XmlReader::take() {
    const int c = peek();
    if (c == at_end) return c;
    const bool carriage_return = buffer_[at_] == '\r';
    ++at_;
    if (c == '\n') {
        ++line_;
        if (carriage_return && peek() == '\n' && buffer_[at_] == '\n') ++at_;
    }
    return c;
}

bool XmlReader::take_word(std::string_view word) {
    for (const char c : word) {
        if (peek() != static_cast<unsigned char>(c)) return false;
        take();
    }
    return true;
}

void XmlReader::pass_blanks() {
    while (is_blank(peek()))
        take();
}

bool XmlReader::pass_until(std::string_view end) {
    std::string last;
    for (int c = take(); c != at_end; c = take()) {
        last += static_cast<char>(c);
        if (last.size() > end.size()) last.erase(0, 1);
        if (last == end) return true;
    }
    return false;
}

Kind XmlReader::broken(std::string problem) {
    over_ = true;
    problem_ = std::move(problem);
    return Kind::broken;
}

Kind XmlReader::cut() {
    line_of_piece_ = line_;
    if (inside_.empty())
        return broken(root_seen_ ? "The file ends within a tag." : "The file holds no element.");
    return broken(fmt::format("The file ends inside <{}>: it was cut.", inside_.back()));
}

std::string_view XmlReader::attribute(std::string_view name) const {
    for (const auto& [key, value] : attributes_) {
        if (local(key) == name) return value;
    }
    return {};
}

bool XmlReader::holds(std::string_view value) const {
    return std::any_of(attributes_.begin(), attributes_.end(),
                       [&](const auto& a) { return a.second == value; });
}

Kind XmlReader::next() {
    if (over_) return problem_.empty() ? Kind::end : Kind::broken;
    line_of_piece_ = line_;
    if (!begun_) {
        begun_ = true;
        const int first = peek();
        if (first == 0xEF) {
            had_mark_ = true;
            if (!take_word("\xEF\xBB\xBF")) return broken("The file does not begin as text.");
        }
        if (first == 0xFE || first == 0xFF) return broken("The file is UTF-16. Save it as UTF-8.");
    }
    if (close_due_) {  // of <A/>
        close_due_ = false;
        inside_.pop_back();
        return Kind::close;
    }
    while (true) {
        if (in_cdata_) return read_cdata();
        const int c = peek();
        if (c == at_end) {
            if (!inside_.empty() || !root_seen_) return cut();
            over_ = true;
            return Kind::end;
        }
        if (c == '<') {
            line_of_piece_ = line_;
            if (const auto piece = read_markup()) return *piece;
        } else if (!inside_.empty()) {
            return read_text();
        } else {
            pass_blanks();
            if (peek() != '<' && peek() != at_end)
                return broken("Text stands outside the document's element.");
        }
    }
}

Kind XmlReader::read_text() {
    text_.clear();
    while (text_.size() < longest_text) {
        const int c = peek();
        if (c == at_end) return text_.empty() ? cut() : Kind::text;
        if (c == '<') break;
        const std::size_t plain = std::min(buffer_.find_first_of("<&\r\n", at_), buffer_.size()) - at_;
        text_.append(buffer_, at_, plain);
        at_ += plain;
        if (plain > 0) continue;
        take();
        if (c == '\n') {
            text_ += '\n';
        } else if (!read_reference(text_)) {
            return broken(problem_);
        }
    }
    return Kind::text;
}

// Nothing: a comment, an instruction or the beginning of a CDATA section, which give no piece.
std::optional<Kind> XmlReader::read_markup() {
    take();
    const int c = peek();
    if (c == '!') {
        take();
        return read_declared();
    }
    if (c == '?') {
        take();
        return read_instruction();
    }
    if (c == '/') {
        take();
        return read_close();
    }
    if (c == at_end) return cut();
    return read_open();
}

std::optional<Kind> XmlReader::read_declared() {
    if (peek() == '-') {
        if (!take_word("--")) return broken("'<!-' begins nothing that XML has.");
        if (!pass_until("-->")) return cut();
        return std::nullopt;
    }
    if (peek() == '[') {
        if (inside_.empty() || !take_word("[CDATA["))
            return broken("'<![' begins nothing that can stand here.");
        in_cdata_ = true;
        return std::nullopt;
    }
    return broken(
        "A document type is declared. Its entities could name other files or fill any memory, so that "
        "such a file is not read; take the declaration out.");
}

Kind XmlReader::read_cdata() {
    // A long one comes in pieces. What may begin the three characters that end it all waits for the next.
    text_ = std::exchange(brackets_, {});
    while (text_.size() < longest_text) {
        const int c = take();
        if (c == at_end) return cut();
        text_ += static_cast<char>(c);
        if (text_.ends_with("]]>")) {
            text_.resize(text_.size() - 3);
            in_cdata_ = false;
            return Kind::text;
        }
    }
    while (brackets_.size() < 2 && text_.ends_with(']')) {
        text_.pop_back();
        brackets_ += ']';
    }
    return Kind::text;
}

std::optional<Kind> XmlReader::read_instruction() {
    std::string instruction;
    while (!instruction.ends_with("?>")) {
        const int c = take();
        if (c == at_end) return cut();
        instruction += static_cast<char>(c);
        if (instruction.size() > longest_value) return broken("An instruction '<?' does not end.");
    }
    if (!instruction.starts_with("xml ")) return std::nullopt;
    const std::string encoding = encoding_of(instruction);
    if (!encoding.empty() && encoding != "UTF-8" && encoding != "US-ASCII" && encoding != "ASCII")
        return broken(fmt::format("The file is {}. Save it as UTF-8.", encoding));
    return std::nullopt;
}

Kind XmlReader::read_open() {
    std::string name;
    bool empty = false;
    attributes_.clear();
    if (inside_.empty() && root_seen_) return broken("A second element stands beside the document's own.");
    if (!read_name(name) || !read_attributes(empty)) return peek() == at_end ? cut() : broken(problem_);
    if (inside_.size() >= deepest) return broken(fmt::format("Elements nest deeper than {}.", deepest));
    root_seen_ = true;
    name_ = local(name);
    inside_.push_back(std::move(name));
    close_due_ = empty;
    return Kind::open;
}

Kind XmlReader::read_close() {
    std::string name;
    if (!read_name(name)) return peek() == at_end ? cut() : broken(problem_);
    pass_blanks();
    if (peek() == at_end) return cut();
    if (take() != '>') return broken(fmt::format("'</{}' does not end with '>'.", name));
    if (inside_.empty() || inside_.back() != name) {
        return broken(inside_.empty()
                          ? fmt::format("</{}> closes nothing.", name)
                          : fmt::format("</{}> stands where </{}> is due.", name, inside_.back()));
    }
    inside_.pop_back();
    name_ = local(name);
    return Kind::close;
}

bool XmlReader::read_name(std::string& name) {
    name.clear();
    while (!ends_name(peek()) && name.size() < longest_name)
        name += static_cast<char>(take());
    const bool good = !name.empty() && is_plain_text(name) &&
                      std::string_view("0123456789-.").find(name.front()) == std::string_view::npos;
    if (!good) problem_ = "'<' stands where no element begins; as text it is written &lt;.";
    return good;
}

bool XmlReader::read_attributes(bool& empty) {
    while (true) {
        const bool apart = is_blank(peek());
        pass_blanks();
        const int c = peek();
        if (c == '>') {
            take();
            return true;
        }
        if (c == '/') {
            take();
            empty = true;
            problem_ = "'/' stands in a tag that does not end with '/>'.";
            return peek() == '>' && take() == '>';
        }
        std::string name, value;
        problem_ = "A tag holds something that is no attribute.";
        if (c == at_end || !apart || attributes_.size() >= most_attributes || !read_name(name)) return false;
        pass_blanks();
        problem_ = fmt::format("The attribute '{}' has no value.", name);
        if (peek() != '=') return false;
        take();
        pass_blanks();
        if (!read_value(value)) return false;
        const bool again = std::any_of(attributes_.begin(), attributes_.end(),
                                       [&](const auto& a) { return a.first == name; });
        problem_ = fmt::format("The attribute '{}' stands twice in one tag.", name);
        if (again) return false;
        attributes_.emplace_back(std::move(name), std::move(value));
    }
}

bool XmlReader::read_value(std::string& value) {
    const int quote = peek();
    if (quote != '"' && quote != '\'') return false;
    take();
    while (value.size() < longest_value) {
        const int c = take();
        if (c == at_end) return false;
        if (c == quote) {
            problem_ = "An attribute holds bytes that are not text.";
            std::string printed = value;
            std::erase(printed, '\n');  // &#10; may stand there
            std::erase(printed, '\r');
            return is_plain_text(printed);
        }
        if (c == '<') {
            problem_ = "An attribute holds '<': a quotation mark is missing, or it is written &lt;.";
            return false;
        }
        if (c == '&') {
            if (!read_reference(value)) return false;
        } else {
            value += is_blank(c) ? ' ' : static_cast<char>(c);  // section 3.3.3
        }
    }
    problem_ = "An attribute is longer than any of ours could be: a quotation mark is missing.";
    return false;
}

bool XmlReader::read_reference(std::string& into) {
    std::string reference;
    while (peek() != ';' && !ends_name(peek()) && reference.size() < longest_reference)
        reference += static_cast<char>(take());
    const auto meaning = peek() == ';' ? meaning_of(reference) : std::nullopt;
    if (!meaning) {
        problem_ = fmt::format("'&{}' begins no reference that XML has by itself; an '&' is written &amp;.",
                               is_plain_text(reference) ? reference : std::string());
        return false;
    }
    take();
    into += *meaning;
    return true;
}

}  // namespace emberline::exchange
