// SPDX-License-Identifier: MIT
#include "page/site_files.hpp"

#include <algorithm>
#include <array>
#include <utility>

#include "page/server.hpp"

namespace emberline::page {

std::string_view SiteFile::type() const {
    static constexpr std::array<std::pair<std::string_view, std::string_view>, 5> known{
        {{".html", "text/html; charset=utf-8"},
         {".js", "text/javascript; charset=utf-8"},
         {".css", "text/css; charset=utf-8"},
         {".svg", "image/svg+xml"},
         {".txt", "text/plain; charset=utf-8"}}};
    for (const auto& [ending, type] : known) {
        if (path.ends_with(ending)) return type;
    }
    return "application/octet-stream";
}

const SiteFile* find_site_file(std::string_view path) {
    const auto files = site_files();
    const auto found =
        std::find_if(files.begin(), files.end(), [&](const SiteFile& file) { return file.path == path; });
    return found == files.end() ? nullptr : &*found;
}

bool has_site() {
    return find_site_file("/index.html") != nullptr;
}

}  // namespace emberline::page
