// SPDX-License-Identifier: MIT
// tasks/transform — the instrument's colour terms and the air's extinction from many stars, kept in the
// ledger for the solutions to come.
#pragma once

#include <atomic>
#include <functional>
#include <string>
#include <vector>

#include "ledger/ledger.hpp"
#include "night/standard_field.hpp"
#include "quantities/problem.hpp"
#include "tasks/measure.hpp"
#include "tasks/workspace.hpp"

namespace emberline::tasks {

struct TransformRequest {
    std::vector<std::string> places;  // frames of any field; empty: the nights in the ledger
    std::string catalogue;            // of the frames' stars, as a service exports it
    std::vector<std::string> bands;   // empty: all
    std::string instrument;           // empty: all
    std::string night;                // of the ledger alone; empty: the night that tells the most
    bool all_nights = false;          // of the ledger: together
    bool dry_run = false;             // stores nothing
    bool picture = false;             // out/transform.svg
    const std::atomic<bool>* stop = nullptr;
    std::function<void(std::size_t done, std::size_t of)> progress;
};

struct TransformRow {
    night::BandTransformation band;
    std::string night;     // "2024-03-18", or "2024-03-14 to 2024-03-20"
    std::string against;   // the catalogue
    bool stored = false;   // in the ledger now; false: no colour term, or a dry run
    std::string sentence;  // what it will do
};

struct TransformOutcome {
    std::string title;
    std::vector<TransformRow> rows;
    std::size_t frames = 0;
    std::vector<RefusedFrame> refused;
    std::string picture;
    std::vector<std::string> remarks;
    bool interrupted = false;
};

// Problem (request): frames without a catalogue, a band or night that is not there, a catalogue that cannot
// be read; (input): nothing could be measured; (storage): the ledger, the disk.
[[nodiscard]] Result<TransformOutcome> transform(const Workspace& workspace, const TransformRequest& request);

// All that the ledger holds, by time of keeping.
[[nodiscard]] Result<std::vector<ledger::KeptTransformation>> kept_terms(const Workspace& workspace);

}  // namespace emberline::tasks
