// SPDX-License-Identifier: MIT
#include "frame/file_kind.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <array>

#include "frame/file_marks.hpp"
#include "quantities/text.hpp"

namespace emberline::frame {
namespace {

using namespace std::string_view_literals;

constexpr const char* save_as_fits =
    "Save the frame as FITS in the program that took it, as the camera gave it: pictures like this one hold "
    "too few steps of brightness, and no header.";
constexpr const char* convert_raw =
    "Convert it to FITS in a program that leaves the mosaic as it is: no interpolated colours, no "
    "stretching.";

struct Kind {
    std::string_view head;  // of the file
    std::string_view name;
    const char* mend;
};
// The formats' own marks; RAW files of cameras are TIFFs by their heads.
constexpr std::array kinds = {
    Kind{"\xff\xd8\xff"sv, "a JPEG picture", save_as_fits},
    Kind{"\x89PNG"sv, "a PNG picture", save_as_fits},
    Kind{"BM"sv, "a bitmap picture", save_as_fits},
    Kind{"GIF8"sv, "a GIF picture", save_as_fits},
    Kind{"RIFF"sv, "a video", "Save single frames as FITS, or a stack of them."},
    Kind{"PK\x03\x04"sv, "a packed folder", "Unpack it, and name the frames in it."},
    Kind{"7z\xbc\xaf"sv, "a packed folder", "Unpack it, and name the frames in it."},
    Kind{gzip_mark, "a file packed by gzip twice", "Unpack it once; .gz and .fz are read as they are."},
    Kind{"BZh"sv, "a file packed by bzip2", "Unpack it first; .gz and .fz are read as they are."},
    Kind{"\xfd"
         "7zXZ"sv,
         "a file packed by xz", "Unpack it first; .gz and .fz are read as they are."},
    Kind{"SQLite format 3"sv, "a ledger or another database", "Name the frames, or the folder they lie in."},
    Kind{"%PDF"sv, "a PDF", "Name the frames, or the folder they lie in."}};

constexpr std::array raw_endings = {".cr2"sv, ".cr3"sv, ".nef"sv, ".arw"sv, ".dng"sv,
                                    ".raf"sv, ".orf"sv, ".rw2"sv, ".pef"sv, ".srw"sv};

bool is_raw_name(std::string_view path) {
    const std::string name = lower_case(path);
    return std::any_of(raw_endings.begin(), raw_endings.end(),
                       [&](std::string_view end) { return name.ends_with(end); });
}

}  // namespace

Problem not_fits(std::string_view start, std::string path) {
    const auto as = [&](std::string_view name, const char* mend) {
        return Problem{
            .what = fmt::format("This is not a FITS file but {}.", name), .where = path, .mend = mend};
    };
    const bool tiff = start.starts_with("II*\0"sv) || start.starts_with("MM\0*"sv);
    if (is_raw_name(path)) return as("a camera's raw file", convert_raw);
    if (tiff) return as("a TIFF picture", save_as_fits);
    for (const Kind& kind : kinds) {
        if (start.starts_with(kind.head)) return as(kind.name, kind.mend);
    }
    const std::string head = lower_case(trimmed(start));
    if (head.starts_with("<!doctype html") || head.starts_with("<html"))
        return as("a web page", "Fetch the frame itself: what was saved is the page about it.");
    // A cut-off letter of several bytes at the end is no reason to call it something else.
    const std::string_view whole = start.substr(0, start.find_last_of('\n'));
    const auto lines = split(whole, '\n');
    const bool text = !whole.empty() && std::all_of(lines.begin(), lines.end(), [](std::string_view line) {
        return is_plain_text(trimmed(line));
    });
    if (text) return as("a text or a table", "Name the frames, or the folder they lie in.");
    return {.what = "This is not a FITS file: it does not begin with SIMPLE.",
            .where = std::move(path),
            .mend = "Save the picture as FITS; other formats lose what photometry needs."};
}

}  // namespace emberline::frame
