// SPDX-License-Identifier: MIT
#include "standard/yaml_part.hpp"

#include <algorithm>
#include <cstddef>
#include <optional>
#include <utility>

#include "quantities/text.hpp"

namespace emberline::standard {
namespace {

constexpr int deepest = 40;

std::size_t indent_of(std::string_view line) {
    return std::min(line.find_first_not_of(' '), line.size());
}

// "!!omap rest", "&id001 rest" → "rest".
std::string_view without_tags(std::string_view text) {
    text = trimmed(text);
    while (!text.empty() && (text.front() == '!' || text.front() == '&')) {
        const auto end = text.find(' ');
        text = end == std::string_view::npos ? std::string_view{} : trimmed(text.substr(end));
    }
    return text;
}

// What follows the opening quotation mark, up to the closing one, which `at` then stands behind.
std::optional<std::string> quoted(std::string_view text, std::size_t& at) {
    const char mark = text[at++];
    std::string out;
    while (at < text.size()) {
        const char c = text[at++];
        if (c == mark && mark == '\'' && at < text.size() && text[at] == '\'') {
            out += text[at++];
        } else if (c == mark) {
            return out;
        } else if (c == '\\' && mark == '"' && at < text.size()) {
            out += text[at++];
        } else {
            out += c;
        }
    }
    return std::nullopt;
}

// {key: value, …}, [value, …] and words.
class BracketReader {
  public:
    explicit BracketReader(std::string_view text) : text_(text) {}
    std::optional<YamlNode> read() {
        auto node = value(0);
        skip();
        return at_ == text_.size() ? node : std::nullopt;
    }

  private:
    void skip() {
        while (at_ < text_.size() && (text_[at_] == ' ' || text_[at_] == '\t'))
            ++at_;
    }
    void skip_tags() {
        for (skip(); at_ < text_.size() && (text_[at_] == '!' || text_[at_] == '&'); skip()) {
            while (at_ < text_.size() &&
                   std::string_view(" ,{}[]").find(text_[at_]) == std::string_view::npos)
                ++at_;
        }
    }
    [[nodiscard]] bool next_is(char c) const { return at_ < text_.size() && text_[at_] == c; }

    std::optional<std::string> word(bool as_key) {
        if (next_is('"') || next_is('\'')) return quoted(text_, at_);
        const std::size_t start = at_;
        while (at_ < text_.size()) {
            const char c = text_[at_];
            if (c == ',' || c == '}' || c == ']' || c == '{' || c == '[') break;
            const bool ends_key = c == ':' && (at_ + 1 == text_.size() || text_[at_ + 1] == ' ');
            if (ends_key && !as_key) return std::nullopt;
            if (ends_key) break;
            ++at_;
        }
        return std::string(trimmed(text_.substr(start, at_ - start)));
    }

    std::optional<YamlNode> value(int depth) {
        if (depth > deepest) return std::nullopt;
        skip_tags();
        if (!next_is('{') && !next_is('[')) {
            auto text = word(false);
            if (!text) return std::nullopt;
            return YamlNode{.word = std::move(*text), .map = {}, .list = {}};
        }
        const bool is_map = text_[at_] == '{';
        const char end = is_map ? '}' : ']';
        YamlNode node;
        ++at_;
        for (;;) {
            skip();
            if (next_is(end)) {
                ++at_;
                return node;
            }
            std::string key;
            if (is_map) {
                skip_tags();
                auto name = word(true);
                skip();
                if (!name || !next_is(':')) return std::nullopt;
                ++at_;
                key = std::move(*name);
            }
            auto inner = value(depth + 1);
            if (!inner) return std::nullopt;
            if (is_map) {
                node.map.push_back({std::move(key), std::move(*inner)});
            } else {
                node.list.push_back(std::move(*inner));
            }
            skip();
            if (next_is(',')) {
                ++at_;
            } else if (!next_is(end)) {
                return std::nullopt;
            }
        }
    }

    std::string_view text_;
    std::size_t at_ = 0;
};

// Lines that belong together by how far they are set in.
class LineReader {
  public:
    explicit LineReader(const std::vector<std::string_view>& lines) {
        for (const std::string_view line : lines) {
            const std::string_view text = trimmed(line);
            if (text.empty() || text.starts_with('#') || text == "---" || text == "...") continue;
            lines_.emplace_back(line.substr(0, indent_of(line) + text.size()));
        }
    }
    std::optional<YamlNode> read() {
        if (lines_.empty()) return YamlNode{};
        auto node = block(indent_of(lines_[0]), 0);
        return next_ == lines_.size() ? node : std::nullopt;
    }

  private:
    static bool is_item(std::string_view text) { return text == "-" || text.starts_with("- "); }

    // Where "key: value" parts; nothing for a word.
    static std::optional<std::size_t> colon(std::string_view text) {
        std::size_t at = 0;
        if (!text.empty() && (text[0] == '"' || text[0] == '\'')) {
            if (!quoted(text, at)) return std::nullopt;
            return at < text.size() && text[at] == ':' ? std::optional(at) : std::nullopt;
        }
        if (!text.empty() && (text[0] == '{' || text[0] == '[')) return std::nullopt;
        for (; at < text.size(); ++at) {
            if (text[at] == ':' && (at + 1 == text.size() || text[at + 1] == ' ')) return at;
        }
        return std::nullopt;
    }

    std::optional<YamlNode> block(std::size_t indent, int depth, bool only_items = false) {
        if (depth > deepest) return std::nullopt;
        YamlNode node;
        while (next_ < lines_.size() && indent_of(lines_[next_]) == indent) {
            const std::string line = lines_[next_];
            const std::string_view text = std::string_view(line).substr(indent);
            if (only_items && !is_item(text)) break;
            if (is_item(text)) {
                const std::string_view rest = without_tags(text.substr(1));
                std::optional<YamlNode> inner;
                if (!rest.empty() && (colon(rest) || is_item(rest))) {
                    // "- key: value": a map that begins beside its dash.
                    const auto inside = static_cast<std::size_t>(rest.data() - line.data());
                    lines_[next_] = std::string(inside, ' ') + std::string(rest);
                    inner = block(inside, depth + 1);
                } else {
                    inner = value(rest, indent, depth);
                }
                if (!inner) return std::nullopt;
                node.list.push_back(std::move(*inner));
                continue;
            }
            const auto parting = colon(text);
            if (!parting) {
                if (!node.map.empty() || !node.list.empty()) return std::nullopt;
                ++next_;
                return YamlNode{.word = std::string(text), .map = {}, .list = {}};
            }
            std::string_view key = trimmed(text.substr(0, *parting));
            if (key.size() > 1 && (key.front() == '"' || key.front() == '\''))
                key = key.substr(1, key.size() - 2);
            auto inner = value(without_tags(text.substr(*parting + 1)), indent, depth);
            if (!inner) return std::nullopt;
            node.map.push_back({std::string(key), std::move(*inner)});
        }
        return node;
    }

    // What follows a dash or a colon, with the lines below that belong to it.
    std::optional<YamlNode> value(std::string_view first, std::size_t indent, int depth) {
        const bool dash = is_item(std::string_view(lines_[next_]).substr(indent));
        std::string text(first);
        ++next_;
        const auto goes_on = [&] { return next_ < lines_.size() && indent_of(lines_[next_]) > indent; };
        if (text.empty()) {
            if (goes_on()) return block(indent_of(lines_[next_]), depth + 1);
            const bool list_below = !dash && next_ < lines_.size() && indent_of(lines_[next_]) == indent &&
                                    is_item(std::string_view(lines_[next_]).substr(indent));
            // A list may stand as far out as the key that it belongs to.
            return list_below ? block(indent, depth + 1, true) : YamlNode{};
        }
        while (goes_on())
            text += ' ' + std::string(trimmed(lines_[next_++]));
        const char mark = text.front();
        if (mark == '{' || mark == '[' || mark == '"' || mark == '\'') return BracketReader(text).read();
        return YamlNode{.word = std::move(text), .map = {}, .list = {}};
    }

    std::vector<std::string> lines_;
    std::size_t next_ = 0;
};

}  // namespace

const YamlNode* YamlNode::find(std::string_view key) const {
    for (const auto& [name, node] : map) {
        if (name == key) return &node;
    }
    return nullptr;
}

std::string YamlNode::text(std::string_view key) const {
    const YamlNode* node = find(key);
    return node == nullptr ? "" : node->word;
}

Result<YamlNode> parse_yaml(const std::vector<std::string_view>& lines) {
    auto node = LineReader(lines).read();
    if (node) return std::move(*node);
    return fail({.what = "The header of the table is no YAML that can be followed.",
                 .mend = "Save the table as ECSV again, or as CSV without such a header."});
}

}  // namespace emberline::standard
