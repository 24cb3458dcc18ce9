// SPDX-License-Identifier: MIT
// night/plate_finder — a plate solution for a frame that came without one, or with a wrong one: against a
// solved frame of the same field, and the stars of the campaign.
// Needs: detection, pattern matching.  Feeds: measure_frame, the solve command, stacks.
#pragma once

#include <optional>
#include <string>
#include <vector>

#include "frame/frame.hpp"
#include "night/campaign.hpp"
#include "quantities/problem.hpp"
#include "standard/field_catalogue.hpp"
#include "standard/sequence.hpp"
#include "stars/detect.hpp"
#include "stars/solve_plate.hpp"

namespace emberline::night {

// The stars of one solved frame, on the sky: what the others of the campaign are matched with.
struct FieldReference {
    std::string fingerprint, frame;  // of the frame
    std::vector<stars::ReferenceStar> stars;
    std::vector<frame::PixelPosition> places;  // of them on that frame's chip, stored pixels
    double scale_arcsec_per_px = 0.0;
    bool mirrored = false;
    bool operator==(const FieldReference&) const = default;
};

struct FoundPlate {
    stars::PlateSolution solution;  // of the stored pixels
    std::string against;            // "frames/a.fits", "comparison.csv", "field.csv"
    stars::DetectionField field;    // what was seen; positions in stored pixels
};

struct PlateSearch {
    double scale_factor = 1.2;  // the scale that the settings state may be wrong by so much either way
    int most_order = 3;         // of SIP
    bool any_field = false;  // there is no transient: it need not lie on the frame, all the catalogue counts
};

// Of the frames of one file, the one whose stars tell most: of a cube or a mosaic the green one.
[[nodiscard]] const frame::Frame& telling_frame(const std::vector<frame::Frame>& frames);

// Several threads may ask it at a time.
class PlateFinder {
  public:
    // A catalogue that cannot be read is told (refused_catalogue) and the rest goes on without.
    PlateFinder(const Campaign& campaign, const standard::Sequence& sequence, const PlateSearch& search = {});
    [[nodiscard]] const std::optional<Problem>& refused_catalogue() const { return refused_catalogue_; }
    [[nodiscard]] const std::vector<std::string>& remarks() const { return remarks_; }

    // From a frame whose plate solution is known to be right. Problem: too few stars to match with.
    [[nodiscard]] static Result<FieldReference> reference_from(const frame::Frame& frame,
                                                               std::string fingerprint, std::string name);
    void use(FieldReference reference);  // before threads ask
    [[nodiscard]] const std::optional<FieldReference>& reference() const { return reference_; }

    // `frames`: those of one file; all of them share the solution. The transient must lie on the frame,
    // unless any field will do. Problem: what was tried, how many stars there were, and why it was not
    // enough.
    [[nodiscard]] Result<FoundPlate> find(const std::vector<frame::Frame>& frames) const;

  private:
    const Campaign& campaign_;
    const standard::Sequence& sequence_;
    PlateSearch search_;
    std::optional<standard::FieldCatalogue> catalogue_;
    std::optional<Problem> refused_catalogue_;
    std::vector<std::string> remarks_;
    std::optional<FieldReference> reference_;
};

}  // namespace emberline::night
