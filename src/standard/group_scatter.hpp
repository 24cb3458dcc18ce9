// SPDX-License-Identifier: MIT
// standard/group_scatter — how much residuals scatter within each star, or each frame, beyond their noise.
#pragma once

#include <cstddef>
#include <span>
#include <vector>

namespace emberline::standard {

struct GroupScatter {
    std::size_t members = 0;
    double measured_mag = 0.0;  // robust, about the group's median
    double noise_mag = 0.0;     // of its middle member
};

// The members of each group stay the same while residuals and variances change, so they are sorted once.
class GroupedResiduals {
  public:
    // `group_of` names each observation's group, below `groups`; only observations with `used` count.
    GroupedResiduals(std::span<const std::size_t> group_of, const std::vector<bool>& used,
                     std::size_t groups);

    // Takes one residual and one variance (both in magnitudes) an observation.
    void update(const std::vector<double>& residuals, const std::vector<double>& variances);

    [[nodiscard]] const GroupScatter& scatter(std::size_t group) const { return scatters_[group]; }
    // Whether the group scatters more than its noise and this variance together explain.
    [[nodiscard]] bool exceeds(std::size_t group, double variance_mag2);
    // The variance that, added to the noise, brings the median of r²/(v + e²) to what a Gaussian has; 0 where
    // the noise suffices. To 1 part in 1000 of the measured variance: it is never known to one in ten.
    [[nodiscard]] double beyond_mag2(std::size_t group);

  private:
    std::vector<std::size_t> first_;           // of each group in `order_`, and the end
    std::vector<std::size_t> order_;           // observations, group after group
    std::vector<double> squares_, variances_;  // as `order_`: about the group's median; of the noise
    std::vector<GroupScatter> scatters_;
    std::vector<double> scratch_;
};

}  // namespace emberline::standard
