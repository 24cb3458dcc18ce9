// SPDX-License-Identifier: MIT
// ledger/frame_names — files that are renamed and overwritten. Private to this room.
#pragma once

#include <cstdint>
#include <functional>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "ledger/connection.hpp"
#include "ledger/ledger.hpp"

namespace emberline::ledger {

struct NamedFrame {
    std::string_view frame, night, fingerprint;
    int plane = 0;
};

// All throw Failure, and belong into a transaction.
class FrameNames {
  public:
    explicit FrameNames(Connection& connection);
    // Row `id` supersedes what else is current under that path, of that night: the same plane, and planes
    // that `also` says so of. True where there was any.
    bool supersede_others(std::int64_t id, const NamedFrame& frame,
                          const std::function<bool(std::string_view fingerprint, int plane)>& also);
    // A frame that was set aside under its former name stays set aside under the new one.
    void carry_exclusion(std::string_view from, std::string_view to);

  private:
    Statement others_, supersede_, carry_exclusion_;
};

[[nodiscard]] std::optional<std::string> current_name(Connection& connection, std::string_view fingerprint);
[[nodiscard]] std::size_t rename_frames(Connection& connection, const std::vector<Renamed>& files);

}  // namespace emberline::ledger
