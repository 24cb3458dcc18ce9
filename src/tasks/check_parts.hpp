// SPDX-License-Identifier: MIT
// tasks/check_parts — what check_campaign looks at, one part each. Private to this room.
#pragma once

#include <map>
#include <optional>
#include <set>
#include <string>
#include <vector>

#include "frame/calibration.hpp"
#include "frame/frame.hpp"
#include "tasks/check_campaign.hpp"
#include "tasks/workspace.hpp"

namespace emberline::tasks {

// The same thing said of many frames: how many, and of the first by name.
struct FrameGroup {
    std::size_t frames = 0;
    std::string first;
    Problem problem;
};

inline constexpr std::size_t few_stars = 3;  // fewer cannot tell which of them is wrong

struct FrameToTry {
    std::string path;
    bool shows_target = false;  // by its plate solution
};

struct FramesSeen {
    std::vector<std::string> files;
    std::size_t pictures = 0, measurable = 0, calibration = 0, solved = 0, with_target = 0;
    std::map<std::string, std::size_t> bands;  // of the measurable ones
    std::set<std::string> nights;
    std::map<std::string, FrameToTry>
        one_of_a_band;  // the first with a plate, and the target on it if any has
    std::string first_unsolved;
    std::map<std::string, FrameGroup> refused, doubted;  // by what is said
    std::optional<std::size_t> fewest_stars, most_stars;
    std::string poorest;  // the frame with the fewest
    std::set<std::string> labels_seen;
    std::vector<std::pair<std::string, Instant>> times;
    std::size_t tried = 0, measured = 0;
};

class CampaignChecker {
  public:
    CampaignChecker(const Workspace& workspace, CampaignCheck& check);
    void settings();
    void sequence();
    void frames(const std::vector<std::string>& files);
    void site();
    void try_out();  // one frame of each band, measured
    void ledger();

  private:
    void good(const char* about, std::string what);
    void doubt(const char* about, Problem problem);
    void wrong(const char* about, Problem problem);
    void observer();
    void check_star();
    void see(const frame::Frame& frame, const std::string& name);
    // Whether the target lies on it.
    bool see_field(const frame::Frame& frame, const std::string& name);
    void tell_refused();
    void tell_frames();
    void try_one(const std::string& band, const std::string& path);
    void try_unsolved();

    const Workspace& workspace_;
    CampaignCheck& check_;
    frame::Masters masters_;
    FramesSeen seen_;
};

}  // namespace emberline::tasks
