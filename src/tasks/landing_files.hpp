// SPDX-License-Identifier: MIT
// tasks/landing_files — what has become of each file of a watched folder: being written, landed, measured,
// refused. Fed with what a look into the folder showed and with what came of the files that were taken; asks
// neither the disk nor a clock. Private to this room.
//
// A file has landed once its size and times have stood still for as long as `settle_s`, from one look to a
// later one, and it can be opened as a frame. Whatever changes afterwards lands again.
#pragma once

#include <map>
#include <optional>
#include <string>
#include <vector>

#include "quantities/problem.hpp"
#include "tasks/errand.hpp"
#include "tasks/folder_listing.hpp"

namespace emberline::tasks {

class LandingFiles {
  public:
    struct Times {
        double settle_s = 2.0;
        double give_up_s = 600.0;
    };
    explicit LandingFiles(const Times& times) : times_(times) {}

    // Files that are no longer there are forgotten.
    void see(const std::vector<FileSeen>& files, SteadyTime now);
    // Those that stand still and wait for being looked into, in the order in which they came to rest. They
    // are in hand until `judge` says what came of them.
    [[nodiscard]] std::vector<std::string> take();

    enum class Verdict {
        done,      // in the ledger
        refused,   // for what it is
        no_plate,  // for want of a plate solution: another frame may help
        unwhole,   // cannot be opened as a frame, as it stands
        later,     // nothing came of it, for no fault of its own
    };
    void judge(const std::string& path, Verdict verdict, const std::optional<Problem>& problem,
               SteadyTime now);
    // A frame was measured: those refused for want of a plate solution wait for another look. Each time in
    // vain doubles the successes that it takes, unless `all`.
    void try_plates_again(bool all);

    // What is to be told, each once.
    struct News {
        enum class Kind { being_written, unwhole, growing_on, given_up };
        Kind kind = Kind::being_written;
        std::string name;
        std::optional<Problem> problem;
    };
    [[nodiscard]] std::vector<News> news(SteadyTime now);
    // What never landed, at the end.
    [[nodiscard]] std::vector<News> left() const;

    [[nodiscard]] bool waiting() const;                             // some could be taken
    [[nodiscard]] bool settling() const;                            // some may land soon
    [[nodiscard]] std::optional<SteadyTime> next_rest() const;      // when the next may have come to rest
    [[nodiscard]] std::optional<SteadyTime> latest_change() const;  // seen; of files that grow on, none

  private:
    enum class State { moving, resting, in_hand, done, refused, no_plate, unwhole };
    struct File {
        FileSeen seen;
        State state = State::moving;
        SteadyTime changed, moving_since;
        bool told = false, gave_up = false, changed_in_hand = false;
        std::size_t order = 0;            // of coming to rest
        int successes = 0, patience = 1;  // of no_plate
        std::optional<Problem> problem;
    };
    void set_moving(File& file, SteadyTime now) const;

    Times times_;
    std::map<std::string, File> files_;
    std::size_t rested_ = 0;
    std::optional<SteadyTime> latest_change_;
};

}  // namespace emberline::tasks
