// SPDX-License-Identifier: MIT
#include "quantities/problem.hpp"

namespace emberline {
inline namespace quantities {

Problem at(std::string place, Problem problem) {
    if (problem.where.empty()) {
        problem.where = std::move(place);
    } else if (!place.empty()) {
        problem.where = place + ", " + problem.where;
    }
    return problem;
}

std::string one_line(const Problem& problem) {
    std::string line = problem.where.empty() ? problem.what : problem.where + ": " + problem.what;
    if (!problem.mend.empty()) line += " " + problem.mend;
    for (char& c : line) {
        if (c == '\n' || c == '\r') c = ' ';
    }
    return line;
}

}  // namespace quantities
}  // namespace emberline
