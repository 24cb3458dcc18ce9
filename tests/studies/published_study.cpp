// SPDX-License-Identifier: MIT
// tests/studies/published_study — published light curves through the whole chain, and what the papers say.
//
//   EMBERLINE_DATASETS=folder emberline_published_study
//
// Each row: the published value and error, whether it was read, recalled or is physics, what else may part
// the two (other photometry, another definition), the value measured here, and the difference in units of all
// errors together, and without that allowance ("bare"). Allowances, windows and definitions were settled with
// the points at hand, not blindly; the remarks tell what others would have given. "r" after an error: the
// paper prints none; the rounding stands in. Exit status 1: a difference above two sigma, or no answer.
#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <cstdlib>
#include <exception>
#include <iterator>

#include "lightcurve/published_claims.hpp"

namespace {

using namespace emberline;
using namespace emberline::test;

constexpr double most_sigma = 2.0;

std::string number_with_error(const ValueWithError& v, int decimals) {
    return fmt::format("{:.{}f} ± {:.{}f}", v.value, decimals, v.err, decimals);
}

int decimals_of(const Claim& claim) {
    return claim.unit == "d" || claim.unit == "MJD" ? 2 : 3;
}

// Widths are counted in characters, not in bytes.
std::string padded(const std::string& text, std::size_t width) {
    std::size_t shown = 0;
    for (const char c : text)
        shown += (static_cast<unsigned char>(c) & 0xC0U) != 0x80U ? 1 : 0;
    return text + std::string(shown < width ? width - shown : 1, ' ');
}

// Without what may part the two: how much of the agreement is that allowance.
std::string bare_sigma(Claim claim, const ValueWithError& measured) {
    if (!(claim.apart > 0.0)) return {};
    claim.apart = 0.0;
    return fmt::format("{:+.1f}", difference_in_sigma(claim, measured));
}

bool print(const Claim& claim, std::vector<double>& differences) {
    const int decimals = decimals_of(claim);
    std::string line =
        padded(claim.supernova, 11) + padded(claim.quantity, 24) + padded(claim.unit, 10) +
        padded(number_with_error(claim.published, decimals) + (claim.err_is_rounding ? " r" : ""), 22) +
        padded(claim.apart > 0.0 ? fmt::format("{:.2f}", claim.apart) : "", 6) +
        padded(words_for(claim.basis), 20);
    const auto measured = claim.measure();
    if (!measured) {
        fmt::print("{}{}\n", line, one_line(measured.error()));
        return false;
    }
    const double sigma = difference_in_sigma(claim, *measured);
    if (claim.basis != Basis::computed) differences.push_back(sigma);
    fmt::print("{}{}{}{}{}\n", line, padded(number_with_error(*measured, decimals), 20),
               padded(fmt::format("{:+.1f}", sigma), 6) + padded(bare_sigma(claim, *measured), 6),
               claim.source, claim.remark.empty() ? "" : "; " + claim.remark);
    return std::abs(sigma) <= most_sigma;
}

int run() {
    const char* folder = std::getenv("EMBERLINE_DATASETS");
    if (folder == nullptr) {
        fmt::print(
            "SKIPPED in part: EMBERLINE_DATASETS is not set; only the tables of tests/data are used.\n");
    }
    std::vector<Claim> claims;
    const auto append = [&](std::vector<Claim> more) {
        std::move(more.begin(), more.end(), std::back_inserter(claims));
    };
    if (folder != nullptr) {
        append(claims_on_type_ia(folder));
        append(claims_on_type_ii(folder));
    }
    append(claims_on_small_tables());
    fmt::print("{}{}{}{}{}{}{}{}source; remark\n", padded("supernova", 11), padded("quantity", 24),
               padded("unit", 10), padded("published", 22), padded("apart", 6), padded("basis", 20),
               padded("Emberline", 20), padded("sigma", 6) + padded("bare", 6));
    bool all_well = true;
    std::vector<double> differences;
    for (const Claim& claim : claims)
        all_well = print(claim, differences) && all_well;
    double squares = 0.0;
    for (const double d : differences)
        squares += d * d;
    fmt::print("\n{} published quantities; root mean square of the differences {:.2f} sigma.\n",
               differences.size(), std::sqrt(squares / static_cast<double>(differences.size())));
    for (const std::string& remark : remarks_on_series())
        fmt::print("{}\n", remark);
    return all_well ? 0 : 1;
}

}  // namespace

int main() {
    try {
        return run();
    } catch (const std::exception& error) {
        fmt::print(stderr, "{}\n", error.what());
        return 1;
    }
}
