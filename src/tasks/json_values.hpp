// SPDX-License-Identifier: MIT
// tasks/json_values — small pieces of the documents.
#pragma once

#include <cmath>
#include <nlohmann/json.hpp>
#include <optional>
#include <string>

#include "quantities/caveat.hpp"
#include "quantities/value_with_error.hpp"

namespace emberline::tasks {

// null where there is no value.
template <class T>
nlohmann::ordered_json maybe(const std::optional<T>& value) {
    return value ? nlohmann::ordered_json(*value) : nlohmann::ordered_json(nullptr);
}

// JSON knows neither infinity nor NaN: null.
inline nlohmann::ordered_json finite_or_null(double value) {
    return std::isfinite(value) ? nlohmann::ordered_json(value) : nlohmann::ordered_json(nullptr);
}

inline nlohmann::ordered_json with_err(const ValueWithError& v) {
    return {{"value", finite_or_null(v.value)}, {"err", finite_or_null(v.err)}};
}

inline nlohmann::ordered_json maybe_with_err(const std::optional<ValueWithError>& v) {
    return v ? with_err(*v) : nlohmann::ordered_json(nullptr);
}

// Their words.
inline nlohmann::ordered_json flags(const Caveats& caveats) {
    auto list = nlohmann::ordered_json::array();
    for (const Caveat c : caveats.list())
        list.push_back(std::string(word(c)));
    return list;
}

}  // namespace emberline::tasks
