// SPDX-License-Identifier: MIT
// night/host_template — the campaign's deep frames of the field without the transient, opened once.
#pragma once

#include <map>
#include <memory>
#include <optional>
#include <string>
#include <vector>

#include "night/campaign.hpp"
#include "photometry/frame_record.hpp"
#include "quantities/problem.hpp"
#include "standard/sequence.hpp"

namespace emberline::frame {
class Frame;
class Wcs;
}  // namespace emberline::frame

namespace emberline::night {

// Begins the remark of a frame that the template could not be subtracted from.
inline constexpr const char* template_refusal = "Template not subtracted: ";

struct StarField;
struct FrameNeeds;

// Of a template file with several colours, the one that is most like frames of that band.
[[nodiscard]] const frame::Frame& most_like(const std::vector<frame::Frame>& planes, const Band& band);

// One template: its pixels about the transient and about the stars of the sequence. May be used by several
// threads at once.
class HostTemplate {
  public:
    // `band`: of the frames that it will serve; the template's own where its header tells one.
    // Problem: not a readable frame, no plate solution, another field, the transient off it, too few stars.
    static Result<HostTemplate> open(const std::string& path, const Band& band,
                                     const standard::Sequence& sequence, const Campaign& campaign);

    // The transient by the difference of `field`'s frame and the template; `around` keeps what was left.
    [[nodiscard]] Result<photometry::HostLight> subtract_from(const photometry::FrameFluxes& fluxes,
                                                              const StarField& field, const frame::Wcs& wcs,
                                                              photometry::Surroundings& around) const;
    [[nodiscard]] const std::vector<std::string>& remarks() const;

  private:
    struct Opened;
    std::shared_ptr<const Opened> opened_;
};

// The templates of a campaign, one a band, each opened when a frame of its band comes first.
class HostTemplates {
  public:
    HostTemplates(const standard::Sequence& sequence, const Campaign& campaign);
    ~HostTemplates();
    [[nodiscard]] bool any() const;
    // Null where the campaign names none for that band.
    [[nodiscard]] const Result<HostTemplate>* find(const Band& band) const;
    // Bands whose template cannot be used, and why.
    [[nodiscard]] std::vector<std::pair<Band, Problem>> refused() const;

  private:
    struct Shelf;
    std::unique_ptr<Shelf> shelf_;
};

}  // namespace emberline::night
