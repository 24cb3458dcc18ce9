// SPDX-License-Identifier: MIT
#include "house/house_rules.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <filesystem>
#include <fstream>
#include <iterator>
#include <optional>

#include "quantities/text.hpp"

namespace emberline::test {

namespace {

using Names = std::vector<std::string_view>;

bool holds(const Names& names, std::string_view name) {
    return std::find(names.begin(), names.end(), name) != names.end();
}

// Where a room may see less than all that lies before it on the path of the light.
struct Narrowed {
    std::string_view room;
    Names may_include;
};
const std::vector<Narrowed>& narrowed() {
    static const std::vector<Narrowed> rules{
        {"rehearsal", {"quantities", "numerics", "sky", "frame", "photometry", "standard"}},
        {"ledger", {"quantities", "photometry", "standard", "night"}},
        // Fits take values: they never open a ledger.
        {"lightcurve", {"quantities", "numerics", "sky"}},
    };
    return rules;
}

struct Library {
    std::string_view header;  // begins so
    Names rooms;              // that may see it
};
const std::vector<Library>& libraries() {
    static const std::vector<Library> known{
        {"Eigen/", {"numerics"}},
        {"erfa", {"sky"}},
        {"fitsio", {"frame"}},
        {"longnam.h", {"frame"}},
        {"wcslib/", {"frame"}},
        {"sqlite3", {"ledger"}},
        {"toml++/", {"night"}},
        {"nlohmann/", {"exchange", "tasks", "command", "page"}},
        {"CLI/", {"command"}},
        {"pugixml", {"standard"}},
        {"zlib.h", {"frame", "picture"}},
        {"httplib", {"page"}},
    };
    return known;
}

// Seen everywhere: vocabulary, and what the operating system offers.
bool is_vocabulary(std::string_view header) {
    static const Names everywhere{"fmt/",    "tl/expected.hpp", "sys/",        "unistd.h",  "fcntl.h",
                                  "spawn.h", "signal.h",        "arpa/inet.h", "ifaddrs.h", "netdb.h"};
    return header.find_first_of("./") == std::string_view::npos ||  // the language's own
           std::any_of(everywhere.begin(), everywhere.end(),
                       [&](std::string_view start) { return header.starts_with(start); });
}

struct Include {
    std::string_view file;
    bool quoted = false;
};
std::optional<Include> include_of(std::string_view line) {
    std::string_view rest = trimmed(line);
    if (!rest.starts_with('#')) return std::nullopt;
    rest = trimmed(rest.substr(1));
    if (!rest.starts_with("include")) return std::nullopt;
    rest = trimmed(rest.substr(7));
    if (rest.empty()) return std::nullopt;
    const bool quoted = rest.front() == '"';
    const auto end = rest.find(quoted ? '"' : '>', 1);
    if (end == std::string_view::npos) return Include{rest, quoted};
    return Include{rest.substr(1, end - 1), quoted};
}

// What is wrong with this include in this room; nothing where it is well.
std::optional<std::string> judge(std::string_view room, const Include& include) {
    const std::string_view folder = include.file.substr(0, include.file.find('/'));
    if (include.quoted || holds(rooms(), folder)) {
        if (include.file.find('/') == std::string_view::npos || folder == "." || folder == "..")
            return fmt::format("\"{}\" does not say its room: write \"room/file.hpp\"", include.file);
        if (folder == "embedded" || may_include(room, folder)) return std::nullopt;
        return fmt::format("{} includes {}: the light does not walk that way", room, include.file);
    }
    for (const Library& library : libraries()) {
        if (!include.file.starts_with(library.header)) continue;
        if (holds(library.rooms, room)) return std::nullopt;
        return fmt::format("{} includes <{}>, which belongs to {} alone", room, include.file,
                           fmt::join(library.rooms, " and "));
    }
    if (is_vocabulary(include.file)) return std::nullopt;
    return fmt::format("<{}> has no room: give it one in the rules of the house", include.file);
}

bool is_cpp(std::string_view path) {
    return path.ends_with(".cpp") || path.ends_with(".hpp");
}

}  // namespace

const std::vector<std::string_view>& rooms() {
    static const Names path_of_the_light{
        "quantities", "numerics", "sky",        "frame",    "stars",   "photometry", "standard", "night",
        "rehearsal",  "ledger",   "lightcurve", "exchange", "picture", "tasks",      "page",     "command"};
    return path_of_the_light;
}

bool may_include(std::string_view from, std::string_view to) {
    const auto from_place = std::find(rooms().begin(), rooms().end(), from);
    const auto to_place = std::find(rooms().begin(), rooms().end(), to);
    if (from_place == rooms().end() || to_place == rooms().end()) return false;
    if (from == to) return true;
    if (to_place > from_place) return false;
    for (const Narrowed& rule : narrowed()) {
        if (rule.room == from) return holds(rule.may_include, to);
    }
    // What others read and what is drawn do not know of each other; only the command line rehearses.
    if (from == "picture" && to == "exchange") return false;
    return to != "rehearsal" || from == "command";
}

std::vector<Breach> breaches(const SourceFile& file) {
    std::vector<Breach> found;
    const std::vector<std::string_view> lines = split(file.text, '\n');
    const std::size_t count = lines.empty() || !lines.back().empty() ? lines.size() : lines.size() - 1;
    if (count > most_lines)
        found.push_back({file.path, 0, fmt::format("{} lines, above {}: split it", count, most_lines)});
    if (!is_cpp(file.path)) return found;
    if (lines.empty() || lines.front() != "// SPDX-License-Identifier: MIT")
        found.push_back({file.path, 1, "does not start with the licence: // SPDX-License-Identifier: MIT"});

    const std::vector<std::string_view> folders = split(file.path, '/');
    if (folders.front() != "src") return found;
    const std::string_view room = folders.size() > 2 ? folders[1] : std::string_view{};
    if (!holds(rooms(), room)) {
        found.push_back({file.path, 0, "lies in no room that the rules of the house know"});
        return found;
    }
    for (std::size_t i = 0; i < lines.size(); ++i) {
        const auto include = include_of(lines[i]);
        if (!include) continue;
        if (auto what = judge(room, *include)) found.push_back({file.path, i + 1, std::move(*what)});
    }
    return found;
}

std::vector<SourceFile> read_sources(const std::string& top, const std::string& folder) {
    namespace fs = std::filesystem;
    std::vector<SourceFile> sources;
    for (const auto& entry : fs::recursive_directory_iterator(fs::path(top) / folder)) {
        const std::string path = fs::relative(entry.path(), top).generic_string();
        if (!entry.is_regular_file() ||
            !(is_cpp(path) || path.ends_with(".cmake") || path.ends_with("CMakeLists.txt")))
            continue;
        std::ifstream in(entry.path(), std::ios::binary);
        sources.push_back({path, {std::istreambuf_iterator<char>(in), {}}});
    }
    return sources;
}

std::string in_words(const std::vector<Breach>& breaches) {
    std::string text;
    for (const Breach& breach : breaches)
        text += fmt::format("{}:{}: {}\n", breach.path, breach.line, breach.what);
    return text;
}

}  // namespace emberline::test
