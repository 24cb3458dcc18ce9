// SPDX-License-Identifier: MIT
// page/route — what a request asks and what it is answered, without a word of HTTP: so that every answer can
// be had, and tested, without a network. Private to this room. API.md says what each route gives.
#pragma once

#include <functional>
#include <map>
#include <nlohmann/json_fwd.hpp>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "quantities/problem.hpp"
#include "tasks/documents.hpp"

namespace emberline::page {

using tasks::Json;

// What is asked: the named parts of the path, the query, and of a change its body (an object of JSON).
// The getters give nothing where a name is absent, and a Problem (request) naming it where it is malformed.
class Query {
  public:
    std::map<std::string, std::string> path;
    std::multimap<std::string, std::string> query;
    std::string body;

    [[nodiscard]] std::string part(const std::string& name) const;  // of the path; it is always there
    [[nodiscard]] std::optional<std::string> text(const std::string& name) const;
    [[nodiscard]] std::vector<std::string> texts(const std::string& name) const;
    [[nodiscard]] bool flag(const std::string& name) const;  // there, and not "0"
    [[nodiscard]] Result<std::optional<double>> number(const std::string& name, double least,
                                                       double most) const;
    [[nodiscard]] Result<int> whole_part(const std::string& name, int least, int most) const;
    // Problem (request): no object of JSON, or nested too deep.
    [[nodiscard]] Result<Json> object() const;
};

struct Answer {
    std::string body;
    std::string type = "application/json";
    std::string file_name;  // not empty: to be saved under that name
    bool lasting = false;   // never changes under its address: the browser may keep it
    int status = 200;       // another one for a refusal that no kind of Problem stands for
};
[[nodiscard]] Answer answer(const Json& json);
[[nodiscard]] Answer refusal(int status, const Problem& problem);

class Session;
using Handler = std::function<Result<Answer>(Session&, const Query&)>;

// `change`: needs the key, and a body of JSON. Parts in braces are named: "/api/nights/{night}".
struct Route {
    bool change = false;
    std::string pattern;
    Handler handle;
};

// The named parts, where the path is of that pattern. No part is empty, holds a slash, or is "..".
[[nodiscard]] std::optional<std::map<std::string, std::string>> match(std::string_view pattern,
                                                                      std::string_view path);

// "'goal' is not a number from 0 to 1.": of kind request.
[[nodiscard]] Problem malformed(std::string_view name, std::string_view what);
// A text member of a change's body. Problem (request): it is no text, or absent and needed.
[[nodiscard]] Result<std::string> text_member(const Json& object, const std::string& name,
                                              std::optional<std::string> otherwise = std::nullopt);

[[nodiscard]] std::vector<Route> campaign_routes();  // the campaign, its nights
[[nodiscard]] std::vector<Route> frame_routes();     // pixels
[[nodiscard]] std::vector<Route> look_routes();      // one star, and the host
[[nodiscard]] std::vector<Route> curve_routes();
[[nodiscard]] std::vector<Route> star_routes();
[[nodiscard]] std::vector<Route> change_routes();  // set aside, taken back, undone
[[nodiscard]] std::vector<Route> report_routes();
[[nodiscard]] std::vector<Route> watch_routes();
[[nodiscard]] std::vector<Route> all_routes();

}  // namespace emberline::page
