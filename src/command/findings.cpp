// SPDX-License-Identifier: MIT
#include "command/findings.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <nlohmann/json.hpp>
#include <ostream>

namespace emberline::command {

std::string place(const exchange::Finding& f) {
    if (f.line == 0) return f.field.empty() ? "" : f.field + ": ";
    return fmt::format("line {}{}: ", f.line, f.field.empty() ? "" : ", " + f.field);
}

tasks::Json findings_document(const std::vector<exchange::Finding>& findings) {
    tasks::Json json = tasks::Json::array();
    for (const exchange::Finding& f : findings)
        json.push_back({{"line", f.line}, {"field", f.field}, {"what", f.what}, {"error", f.error}});
    return json;
}

void print_findings(std::ostream& out, const std::vector<exchange::Finding>& findings) {
    constexpr std::size_t most_printed = 40;
    for (std::size_t i = 0; i < std::min(findings.size(), most_printed); ++i) {
        const exchange::Finding& f = findings[i];
        out << place(f) << (f.error ? "" : "(warning) ") << f.what << '\n';
    }
    if (findings.size() > most_printed)
        out << fmt::format("… and {} more findings: --json has them.\n", findings.size() - most_printed);
}

}  // namespace emberline::command
