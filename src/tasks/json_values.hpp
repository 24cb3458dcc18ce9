// SPDX-License-Identifier: MIT
// tasks/json_values — small pieces of the documents.
#pragma once

#include <nlohmann/json.hpp>
#include <optional>
#include <string>

#include "quantities/caveat.hpp"

namespace emberline::tasks {

// null where there is no value.
template <class T>
nlohmann::ordered_json maybe(const std::optional<T>& value) {
    return value ? nlohmann::ordered_json(*value) : nlohmann::ordered_json(nullptr);
}

// Their words.
inline nlohmann::ordered_json flags(const Caveats& caveats) {
    auto list = nlohmann::ordered_json::array();
    for (const Caveat c : caveats.list())
        list.push_back(std::string(word(c)));
    return list;
}

}  // namespace emberline::tasks
