// SPDX-License-Identifier: MIT
// quantities/problem — how every room says that there is no result.
// A Problem means no result; a Caveat (caveat.hpp) means a result with something to know.
// Exceptions never cross a room's door: they are caught there and become a Problem.
#pragma once

#include <string>
#include <tl/expected.hpp>
#include <utility>

namespace emberline {
inline namespace quantities {

// Decides the program's exit status where nothing else does.
enum class ProblemKind {
    input,        // a frame, table or value that cannot be used
    request,      // bad usage, or a campaign file that cannot be read as one
    storage,      // the disk or the ledger failed
    interrupted,  // the observer stopped the program
};

// Complete sentences, for a tired reader: what is wrong, where (file, keyword, line), and what to do.
struct Problem {
    std::string what;   // "The exposure time is missing."
    std::string where;  // "frames/a.fits, keyword EXPTIME"; may be empty
    std::string mend;   // "Add EXPTIME in seconds, or …"; may be empty
    ProblemKind kind = ProblemKind::input;

    bool operator==(const Problem&) const = default;
};

// A file that the rest goes on without.
struct LeftOut {
    std::string path;
    Problem problem;
};

template <class T>
using Result = tl::expected<T, Problem>;

// return fail({.what = "…", .where = "…", .mend = "…"});
[[nodiscard]] inline tl::unexpected<Problem> fail(Problem problem) {
    return tl::unexpected<Problem>(std::move(problem));
}

// The same problem seen from one room further down: `place` goes before what was already known of where.
[[nodiscard]] Problem at(std::string place, Problem problem);

// "frames/a.fits, keyword EXPTIME: The exposure time is missing. Add EXPTIME in seconds, or …"
[[nodiscard]] std::string one_line(const Problem& problem);

}  // namespace quantities
}  // namespace emberline
