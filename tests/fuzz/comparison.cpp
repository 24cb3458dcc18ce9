// SPDX-License-Identifier: MIT
// comparison.csv: refused in words, or stars that a night can be calibrated on; and what is written of them
// is read again as the same stars.
#include "fuzz/promise.hpp"
#include "standard/sequence.hpp"

using namespace emberline;
using namespace emberline::fuzz;

namespace {

constexpr double place_arcsec = 0.01;  // six decimals of a degree are written
constexpr double mag = 0.00051;        // and three of a magnitude

void check(const standard::Sequence& sequence) {
    ensure(!sequence.bands.empty(), "a sequence has a band");
    for (const standard::ComparisonStar& star : sequence.stars) {
        fuzz::check(star.position);
        ensure(!star.label.empty() && star.line > 0, "a star has a label and a line");
        ensure(sequence.find(star.label) == &star, "a label is one star's", star.label);
        for (const auto& [band, magnitude] : star.magnitudes) {
            ensure(magnitude.value >= -30.0 && magnitude.value <= 40.0, "a magnitude is one", star.label);
            ensure(magnitude.err > 0.0 && magnitude.err <= 10.0, "its error is above zero", star.label);
        }
    }
}

// Errors below what three decimals hold come back as "not given".
bool same(const standard::ComparisonStar& a, const standard::ComparisonStar& b) {
    if (a.label != b.label || a.role != b.role || a.magnitudes.size() != b.magnitudes.size()) return false;
    if (separation(a.position, b.position).arcseconds() > place_arcsec) return false;
    for (const auto& [band, magnitude] : a.magnitudes) {
        const auto other = b.magnitude(band);
        if (!other || std::abs(other->value - magnitude.value) > mag) return false;
        if (magnitude.err >= 0.001 && std::abs(other->err - magnitude.err) > mag) return false;
    }
    return true;
}

}  // namespace

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size) {
    const std::string_view text = text_of(data, size);
    const auto sequence = standard::parse_sequence(text, "comparison.csv");
    if (!sequence) {
        fuzz::check(sequence.error());
        return 0;
    }
    check(*sequence);
    const std::string written = standard::write_sequence(*sequence);
    const auto again = standard::parse_sequence(written, "comparison.csv");
    ensure(again.has_value(), "what is written is read again",
           again ? written : one_line(again.error()) + "\n" + written);
    ensure(again->bands == sequence->bands, "bands come back", written);
    ensure(again->stars.size() == sequence->stars.size(), "stars come back", written);
    for (std::size_t i = 0; i < again->stars.size(); ++i)
        ensure(same(sequence->stars[i], again->stars[i]), "a star comes back as it was", written);
    return 0;
}
