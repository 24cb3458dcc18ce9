// SPDX-License-Identifier: MIT
// tasks/json_values — small pieces of the documents.
#pragma once

#include <nlohmann/json.hpp>
#include <optional>

namespace emberline::tasks {

// null where there is no value.
template <class T>
nlohmann::ordered_json maybe(const std::optional<T>& value) {
    return value ? nlohmann::ordered_json(*value) : nlohmann::ordered_json(nullptr);
}

}  // namespace emberline::tasks
