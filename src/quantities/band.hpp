// SPDX-License-Identifier: MIT
// quantities/band — a passband by name, and the facts about it from data/bands.csv.
#pragma once

#include <compare>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "quantities/problem.hpp"

namespace emberline {
inline namespace quantities {

// A known band: only parse_band() makes one that is not empty.
class Band {
  public:
    Band() = default;
    [[nodiscard]] const std::string& name() const { return name_; }
    [[nodiscard]] bool empty() const { return name_.empty(); }
    auto operator<=>(const Band&) const = default;

  private:
    friend Result<Band> parse_band(std::string_view text);
    explicit Band(std::string name) : name_(std::move(name)) {}
    std::string name_;
};

struct BandFacts {
    std::string name;           // "Rc"
    std::string network_code;   // "R" in the variable-star network's reports
    std::string calibrated_on;  // the band of the sequence it is put on: itself, or V for CV and TG …
    std::string system;         // "Vega" or "AB"
    double wavelength_nm;       // effective
    double width_nm;            // full width at half maximum; 0 where it means little
    double extinction_mag_per_airmass;    // typical, near sea level
    double extinction_err;                // how much it varies from night to night and site to site
    std::string colour_blue, colour_red;  // the colour index its colour term is written in, B and V for V
    std::vector<std::string> aliases;     // other spellings that mean it without doubt
};

// Case matters (r is Sloan, R is Cousins). Accepts the name, the network's code and the aliases.
[[nodiscard]] Result<Band> parse_band(std::string_view text);
[[nodiscard]] const BandFacts& facts(const Band& band);
[[nodiscard]] Band sequence_band(const Band& band);  // TG -> V, CV -> V, TR -> Rc; V -> V
[[nodiscard]] const std::vector<BandFacts>& all_bands();

// "B-V": two bands of data/bands.csv joined by a minus sign.
struct ColourIndex {
    Band blue, red;
    [[nodiscard]] std::string name() const { return blue.name() + "-" + red.name(); }
    auto operator<=>(const ColourIndex&) const = default;
};
[[nodiscard]] Result<ColourIndex> parse_colour_index(std::string_view text);
[[nodiscard]] std::optional<ColourIndex> usual_colour(const Band& band);

}  // namespace quantities
}  // namespace emberline
