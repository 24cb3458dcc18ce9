// SPDX-License-Identifier: MIT
// tests/fuzz/promise — what every reader promises for any bytes whatever, and how a broken promise is told:
// the program stops, so that whoever feeds it keeps the input.
#pragma once

#include <cmath>
#include <cstdint>
#include <cstdio>
#include <cstdlib>
#include <string>
#include <string_view>
#include <vector>

#include "quantities/problem.hpp"
#include "quantities/sky_position.hpp"

namespace emberline::fuzz {

inline void ensure(bool kept, std::string_view promise, std::string_view about = "") {
    if (kept) return;
    std::fprintf(stderr, "\nBroken promise: %.*s\n%.*s\n", static_cast<int>(promise.size()), promise.data(),
                 static_cast<int>(about.size()), about.data());
    std::abort();
}

inline std::string_view text_of(const std::uint8_t* data, std::size_t size) {
    return {reinterpret_cast<const char*>(data), size};
}

// What is wrong, where, and what to do: all three are said of a file that cannot be used.
inline void check(const Problem& problem) {
    ensure(!problem.what.empty(), "a problem says what is wrong", one_line(problem));
    ensure(!problem.where.empty(), "a problem says where", one_line(problem));
    ensure(!problem.mend.empty(), "a problem says what to do", one_line(problem));
    ensure(problem.kind == ProblemKind::input || problem.kind == ProblemKind::request,
           "bytes of a file are no failure of the disk", one_line(problem));
}

inline void check(const SkyPosition& place) {
    const double ra = place.ra.degrees(), dec = place.dec.degrees();
    ensure(std::isfinite(ra) && ra >= -1e-9 && ra <= 360.0 + 1e-9, "a right ascension is 0 to 360 degrees");
    ensure(std::isfinite(dec) && std::abs(dec) <= 90.0 + 1e-9, "a declination is -90 to 90 degrees");
}

// Both read or both not, and the same.
template <class T, class Same>
void check_same(const Result<T>& once, const Result<T>& again, const Same& same) {
    ensure(once.has_value() == again.has_value(), "what is read twice is read the same way");
    if (!once) {
        ensure(once.error() == again.error(), "the same problem twice", one_line(once.error()));
        return;
    }
    ensure(same(*once, *again), "what is read twice is the same");
}

}  // namespace emberline::fuzz
