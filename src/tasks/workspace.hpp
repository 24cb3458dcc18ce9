// SPDX-License-Identifier: MIT
// tasks/workspace — a campaign folder, opened: its settings, its sequence, and where its things lie.
#pragma once

#include <optional>
#include <string>
#include <string_view>

#include "ledger/ledger.hpp"
#include "night/campaign.hpp"
#include "night/solve_campaign.hpp"
#include "quantities/problem.hpp"
#include "quantities/software.hpp"
#include "quantities/value_with_error.hpp"
#include "standard/sequence.hpp"

namespace emberline::tasks {

using quantities::software;

struct Workspace {
    night::Campaign campaign;
    standard::Sequence sequence;
    std::string campaign_text;  // campaign.toml as read

    [[nodiscard]] std::string ledger_path() const { return campaign.path("campaign.ledger"); }
    [[nodiscard]] std::string out_path(const std::string& file) const { return campaign.path("out/" + file); }
    [[nodiscard]] ledger::Provenance provenance() const;
};

// Problem (request): no campaign there, or a campaign file or sequence that cannot be read.
[[nodiscard]] Result<Workspace> open_workspace(const std::string& folder);

// Of the check star, as the solution chooses it: the one that campaign.toml names, else the first of that
// role in the sequence. Empty: none.
[[nodiscard]] std::string check_label(const Workspace& workspace);

// The folder out/, made where it is missing. Problem (storage).
[[nodiscard]] Result<void> make_out_folder(const Workspace& workspace);

// A date is some time of that UTC day: its middle, half a day either way.
[[nodiscard]] ValueWithError moment_of_day(std::string_view date);
// Of the campaign's `exploded`.
[[nodiscard]] std::optional<ValueWithError> explosion_bjd_tdb(const night::Campaign& campaign);

// What the ledger has set aside, as solve_campaign takes it.
[[nodiscard]] Result<night::SetAsideByObserver> set_aside_in(const ledger::Ledger& ledger);

}  // namespace emberline::tasks
