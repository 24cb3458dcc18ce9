// SPDX-License-Identifier: MIT
#include "lightcurve/published_claims.hpp"

#include <cmath>

namespace emberline::test {

std::string words_for(Basis basis) {
    switch (basis) {
        case Basis::read:
            return "read";
        case Basis::from_memory:
            return "from memory";
        case Basis::physics:
            return "physics";
        case Basis::computed:
            return "computed elsewhere";
    }
    return {};
}

double difference_in_sigma(const Claim& claim, const ValueWithError& measured) {
    return (measured.value - claim.published.value) /
           std::hypot(claim.published.err, claim.apart, measured.err);
}

}  // namespace emberline::test
