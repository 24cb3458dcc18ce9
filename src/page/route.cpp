// SPDX-License-Identifier: MIT
#include "page/route.hpp"

#include <nlohmann/json.hpp>

namespace emberline::page {
namespace {

// What lies between the slashes; the first is what follows the leading one.
std::vector<std::string_view> parts_of(std::string_view path) {
    std::vector<std::string_view> parts;
    if (path.starts_with('/')) path.remove_prefix(1);
    while (true) {
        const auto slash = path.find('/');
        parts.push_back(path.substr(0, slash));
        if (slash == std::string_view::npos) return parts;
        path.remove_prefix(slash + 1);
    }
}

}  // namespace

std::optional<std::map<std::string, std::string>> match(std::string_view pattern, std::string_view path) {
    const auto wanted = parts_of(pattern), given = parts_of(path);
    if (wanted.size() != given.size()) return std::nullopt;
    std::map<std::string, std::string> named;
    for (std::size_t i = 0; i < wanted.size(); ++i) {
        if (!wanted[i].starts_with('{')) {
            if (wanted[i] != given[i]) return std::nullopt;
            continue;
        }
        if (given[i].empty() || given[i] == ".." || given[i] == "." ||
            given[i].find('\0') != std::string_view::npos)
            return std::nullopt;
        named.emplace(wanted[i].substr(1, wanted[i].size() - 2), given[i]);
    }
    return named;
}

std::vector<Route> all_routes() {
    std::vector<Route> all;
    for (const auto& topic : {campaign_routes, frame_routes, look_routes, curve_routes, star_routes,
                              change_routes, report_routes, watch_routes}) {
        for (Route& route : topic())
            all.push_back(std::move(route));
    }
    return all;
}

}  // namespace emberline::page
