// SPDX-License-Identifier: MIT
// tests/program/rehearsed — a small invented campaign, rehearsed once and copied for each test.
#pragma once

#include <string>

#include "program/program.hpp"

namespace emberline::testing {

class Rehearsed {
  public:
    // Two frames of 300 × 300 pixels, of one night in V, unless told otherwise.
    explicit Rehearsed(const Words& options = {"--nights", "1"});
    [[nodiscard]] std::string path(const std::string& inside = "") const {
        return folder_.path("c/" + inside);
    }
    [[nodiscard]] std::string first_frame() const { return path("frames/2024-03-14/V_001.fits"); }
    // Writes another value into the sequence; the first star is in row 1, and called "first".
    void set_star(std::size_t row, const std::string& column, const std::string& value) const;
    // A command on this campaign, without hints.
    [[nodiscard]] Outcome run(Words words, const Setting& setting = {}) const;
    // Measures, which must succeed.
    void measure() const;

  private:
    Folder folder_;
};

}  // namespace emberline::testing
