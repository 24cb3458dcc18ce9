// SPDX-License-Identifier: MIT
// tasks/known_terms — what the ledger knows of the instruments' colour terms and of the air, put where the
// solution looks for it.
#pragma once

#include <string>
#include <vector>

#include "ledger/ledger.hpp"
#include "night/campaign.hpp"
#include "tasks/workspace.hpp"

namespace emberline::tasks {

// What `KeptTransformation::against` says of terms found from the campaign's own comparison stars.
inline constexpr const char* own_stars = "the campaign's comparison stars";

struct KnownTerms {
    night::Campaign campaign;          // with the terms that campaign.toml does not give
    std::vector<std::string> remarks;  // where each comes from
};
// The newest term of an instrument and band counts. One found from the campaign's own comparison stars does
// not count where these stars can tell it: the solution finds it from the same light, and would believe it
// twice. Extinction counts where two nights or more told it: their mean, as uncertain as a night's extinction
// is. Problem: the ledger.
[[nodiscard]] Result<KnownTerms> known_terms(const Workspace& workspace, const ledger::Ledger& ledger);
// The same, were these set aside.
[[nodiscard]] Result<KnownTerms> known_terms(const Workspace& workspace, const ledger::Ledger& ledger,
                                             const night::SetAsideByObserver& set_aside);

}  // namespace emberline::tasks
