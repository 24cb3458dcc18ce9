// SPDX-License-Identifier: MIT
// page/site_files — the page's own files, as the build put them into this program. Private to this room.
#pragma once

#include <span>
#include <string_view>

namespace emberline::page {

struct SiteFile {
    std::string_view path;  // "/page.js"
    std::string_view bytes;
    [[nodiscard]] std::string_view type() const;
};

// Empty where the program was built without npm. Made by the build (src/cmake/EmbedSite.cmake).
[[nodiscard]] std::span<const SiteFile> site_files();

// nullptr: there is no such file.
[[nodiscard]] const SiteFile* find_site_file(std::string_view path);

}  // namespace emberline::page
