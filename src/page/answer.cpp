// SPDX-License-Identifier: MIT
#include <fmt/format.h>

#include <cmath>
#include <nlohmann/json.hpp>

#include "page/route.hpp"
#include "quantities/text.hpp"

namespace emberline::page {
namespace {

constexpr int deepest = 16;  // of a change's body

}  // namespace

Problem malformed(std::string_view name, std::string_view what) {
    return {.what = fmt::format("'{}' {}.", name, what),
            .where = "the request",
            .mend = "API.md says what each request takes.",
            .kind = ProblemKind::request};
}

std::string Query::part(const std::string& name) const {
    const auto found = path.find(name);
    return found == path.end() ? std::string() : found->second;
}

std::optional<std::string> Query::text(const std::string& name) const {
    const auto found = query.find(name);
    if (found == query.end() || found->second.empty()) return std::nullopt;
    return found->second;
}

std::vector<std::string> Query::texts(const std::string& name) const {
    std::vector<std::string> all;
    const auto [first, last] = query.equal_range(name);
    for (auto one = first; one != last; ++one) {
        if (!one->second.empty()) all.push_back(one->second);
    }
    return all;
}

bool Query::flag(const std::string& name) const {
    const auto value = text(name);
    return value && *value != "0";
}

Result<std::optional<double>> Query::number(const std::string& name, double least, double most) const {
    const auto given = text(name);
    if (!given) return std::nullopt;
    const auto value = parse_number(*given);
    if (!value || !std::isfinite(*value) || *value < least || *value > most)
        return fail(malformed(name, fmt::format("is not a number from {:g} to {:g}", least, most)));
    return value;
}

Result<int> Query::whole_part(const std::string& name, int least, int most) const {
    const auto value = parse_number(part(name));
    if (!value || *value != std::floor(*value) || *value < least || *value > most)
        return fail(malformed(name, fmt::format("is not a whole number from {} to {}", least, most)));
    return static_cast<int>(*value);
}

Result<Json> Query::object() const {
    const auto too_deep = [](int depth, Json::parse_event_t, Json&) { return depth <= deepest; };
    Json json = Json::parse(body, too_deep, false);
    if (json.is_object()) return json;
    return fail(malformed("body", "is no object of JSON"));
}

Answer answer(const Json& json) {
    // File names may hold bytes that are no UTF-8.
    return {.body = json.dump(-1, ' ', false, Json::error_handler_t::replace)};
}

Answer refusal(int status, const Problem& problem) {
    Answer refused = answer({{"problem", tasks::document(problem)}});
    refused.status = status;
    return refused;
}

Result<std::string> text_member(const Json& object, const std::string& name,
                                std::optional<std::string> otherwise) {
    const auto found = object.find(name);
    if (found != object.end() && found->is_string()) return found->get<std::string>();
    if (otherwise && (found == object.end() || found->is_null())) return *otherwise;
    return fail(malformed(name, "is missing from the body, or no text"));
}

}  // namespace emberline::page
