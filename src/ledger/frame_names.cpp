// SPDX-License-Identifier: MIT
#include "ledger/frame_names.hpp"

#include <set>

#include "ledger/provenance.hpp"

namespace emberline::ledger {

FrameNames::FrameNames(Connection& connection)
    : others_(connection,
              "SELECT id, fingerprint, plane FROM frame_fluxes "
              "WHERE frame = ? AND night = ? AND fingerprint <> ? AND superseded_by IS NULL"),
      supersede_(connection, "UPDATE frame_fluxes SET superseded_by = ? WHERE id = ?"),
      carry_exclusion_(connection,
                       "INSERT INTO exclusion (kind, key, reason, since) "
                       "SELECT kind, ?, reason, since FROM exclusion "
                       "WHERE kind = 'frame' AND key = ? AND ended_at IS NULL "
                       "ON CONFLICT DO NOTHING") {}

bool FrameNames::supersede_others(std::int64_t id, const NamedFrame& frame,
                                  const std::function<bool(std::string_view fingerprint, int plane)>& also) {
    others_.bind_text(0, frame.frame);
    others_.bind_text(1, frame.night);
    others_.bind_text(2, frame.fingerprint);
    std::vector<std::int64_t> ended;
    while (others_.step()) {
        const int plane = static_cast<int>(others_.integer(2));
        if (plane == frame.plane || also(others_.text(1), plane)) ended.push_back(others_.integer(0));
    }
    others_.reset();
    for (const std::int64_t other : ended) {
        supersede_.bind(0, id);
        supersede_.bind(1, other);
        supersede_.run();
    }
    return !ended.empty();
}

void FrameNames::carry_exclusion(std::string_view from, std::string_view to) {
    carry_exclusion_.bind_text(0, to);
    carry_exclusion_.bind_text(1, from);
    carry_exclusion_.run();
}

namespace {

struct Row {
    std::int64_t id = 0;
    int plane = 0;
    std::string frame, night;
};

std::vector<Row> current_rows(Connection& connection, std::string_view fingerprint) {
    Statement find(connection,
                   "SELECT id, plane, frame, night FROM frame_fluxes "
                   "WHERE fingerprint = ? AND superseded_by IS NULL ORDER BY plane");
    find.bind_text(0, fingerprint);
    std::vector<Row> rows;
    while (find.step())
        rows.push_back({find.integer(0), static_cast<int>(find.integer(1)), find.text(2), find.text(3)});
    return rows;
}

}  // namespace

std::optional<std::string> current_name(Connection& connection, std::string_view fingerprint) {
    const std::vector<Row> rows = current_rows(connection, fingerprint);
    if (rows.empty()) return std::nullopt;
    return rows.front().frame;
}

std::size_t rename_frames(Connection& connection, const std::vector<Renamed>& files) {
    Transaction transaction(connection, Transaction::Kind::write);
    FrameNames names(connection);
    Statement keep(connection, "INSERT INTO former_frame_name (fingerprint, frame, until) VALUES (?, ?, ?)");
    Statement change(connection, "UPDATE frame_fluxes SET frame = ? WHERE id = ?");
    std::set<std::string, std::less<>> moved;
    std::size_t changed = 0;
    for (const Renamed& file : files) {
        std::set<std::string> former;
        for (const Row& row : current_rows(connection, file.fingerprint)) {
            if (row.frame == file.frame) continue;
            former.insert(row.frame);
            change.bind_text(0, file.frame);
            change.bind(1, row.id);
            change.run();
        }
        if (former.empty()) continue;
        ++changed;
        moved.insert(file.fingerprint);
        for (const std::string& name : former) {
            keep.bind_text(0, file.fingerprint);
            keep.bind_text(1, name);
            keep.bind_text(2, now_utc());
            keep.run();
            names.carry_exclusion(name, file.frame);
        }
    }
    // After all of them: files that change names with each other are no overwriting.
    for (const Renamed& file : files) {
        if (!moved.contains(file.fingerprint)) continue;
        for (const Row& row : current_rows(connection, file.fingerprint)) {
            names.supersede_others(row.id, {row.frame, row.night, file.fingerprint, row.plane},
                                   [](std::string_view, int) { return true; });
        }
    }
    if (changed > 0) transaction.commit();
    return changed;
}

}  // namespace emberline::ledger
