// SPDX-License-Identifier: MIT
// Plate solutions of rehearsed frames against the plates that they were exposed with, which are exact.
#include "night/plate_finder.hpp"

#include <catch2/catch.hpp>
#include <cmath>
#include <filesystem>
#include <thread>

#include "night/chip_evidence.hpp"
#include "night/plate_attempts.hpp"
#include "night/plate_doubt.hpp"
#include "rehearsal/rehearse.hpp"
#include "temporary_folder.hpp"

using namespace emberline;

namespace {

// A solution's own error at a corner: centroids of 0.05 px and better, from 20 and more stars.
constexpr double alike_px = 0.25;

class RehearsedField {
  public:
    explicit RehearsedField(const rehearsal::RehearsalOptions& options) {
        auto invented = rehearsal::invent_campaign(options).value();
        for (rehearsal::PlannedFrame& planned : invented.frames)
            planned.pointing.dx_px = planned.pointing.dy_px = 0.0;  // headers that are exact
        REQUIRE(rehearsal::rehearse(folder_ / "c", invented));
        campaign = night::read_campaign(folder_ / "c").value();
        sequence = standard::read_sequence(campaign.path(campaign.catalog)).value();
    }
    RehearsedField(const RehearsedField&) = delete;
    RehearsedField& operator=(const RehearsedField&) = delete;

    [[nodiscard]] std::vector<frame::Frame> frames(const std::string& name) const {
        return frame::open_frames(campaign.path("frames/2024-03-14/" + name), campaign.instruments).value();
    }

    night::Campaign campaign;
    standard::Sequence sequence;

  private:
    test::TemporaryFolder folder_;
};

rehearsal::RehearsalOptions quiet_night() {
    rehearsal::RehearsalOptions options;
    options.nights = 1;
    options.frames = 2;
    options.width_px = 420;
    options.height_px = 360;
    options.cloud = options.flip = options.trailing = false;
    options.field.drift_px = 25.0;
    return options;
}

// How far the solution is from the header's, at the worst of middle and corners.
double off_px(const night::FoundPlate& found, const std::vector<frame::Frame>& frames) {
    const auto& facts = frames.front().facts();
    const auto header = frame::Wcs::parse(frames.front().header().raw()).value();
    const auto off = night::plate_difference(header, found.solution.fit.wcs, facts.stored_width_px(),
                                             facts.stored_height_px());
    REQUIRE(off);
    return off->most_arcsec / header.scale_arcsec_per_px();
}

night::FieldReference reference_of(const RehearsedField& field, const std::string& name) {
    const auto frames = field.frames(name);
    auto reference = night::PlateFinder::reference_from(night::telling_frame(frames), "print", name);
    REQUIRE(reference);
    return *reference;
}

void solved_alike(const RehearsedField& field, const std::string& first, const std::string& second) {
    night::PlateFinder finder(field.campaign, field.sequence);
    finder.use(reference_of(field, first));
    const auto frames = field.frames(second);
    const auto found = finder.find(frames);
    if (!found) FAIL(one_line(found.error()));
    CHECK(found->against == first);
    CHECK(found->solution.false_probability < 1e-6);
    CHECK(off_px(*found, frames) < alike_px);
    // The stars that were seen lie on the stored frame, where the solution has their sky.
    CHECK(found->field.width_px == frames.front().facts().stored_width_px());
    for (const stars::Detection& star : found->field.stars)
        CHECK((star.position.x < found->field.width_px && star.position.y < found->field.height_px));
}

}  // namespace

TEST_CASE("a frame's own stars give the plate solution that it was exposed with", "[night][plates]") {
    auto options = quiet_night();
    solved_alike(RehearsedField(options), "V_001.fits", "V_002.fits");
    options.field.camera_angle_deg = 137.0;
    options.field.mirrored = true;
    options.seed = 5;
    solved_alike(RehearsedField(options), "V_001.fits", "V_002.fits");
}

TEST_CASE("a mosaic and a cube are solved by their green light, for the stored pixels", "[night][plates]") {
    auto options = quiet_night();
    options.pattern = "GRBG";
    solved_alike(RehearsedField(options), "colour_001.fits", "colour_002.fits");
    options.debayered = true;
    solved_alike(RehearsedField(options), "colour_001.fits", "colour_002.fits");
}

TEST_CASE("the sequence alone solves a frame of any scale, turned and mirrored", "[night][plates]") {
    auto options = quiet_night();
    options.comparison_stars = 14;
    options.field.camera_angle_deg = 251.0;
    options.field.mirrored = true;
    const RehearsedField field(options);
    const night::PlateFinder finder(field.campaign, field.sequence);
    const auto frames = field.frames("V_001.fits");
    const auto found = finder.find(frames);
    if (!found) FAIL(one_line(found.error()));
    CHECK(found->against == "comparison.csv");
    // The sequence's positions are rounded, and it has few stars.
    CHECK(off_px(*found, frames) < 2.0 * alike_px);
}

TEST_CASE("a catalogue of the field solves what a short sequence cannot", "[night][plates]") {
    auto options = quiet_night();
    options.comparison_stars = 2;
    options.field.solved = 0;  // a catalogue is written then
    RehearsedField field(options);
    const auto frames = field.frames("V_001.fits");
    auto solved = options;
    solved.field.solved.reset();
    const RehearsedField truth(solved);
    const auto found = night::PlateFinder(field.campaign, field.sequence).find(frames);
    if (!found) FAIL(one_line(found.error()));
    CHECK(found->against == "field.csv");
    CHECK(off_px(*found, truth.frames("V_001.fits")) < alike_px);
    field.campaign.plate.catalogue.clear();
    const auto without = night::PlateFinder(field.campaign, field.sequence).find(frames);
    REQUIRE_FALSE(without);
    CHECK(without.error().what.find("comparison.csv (") != std::string::npos);
}

TEST_CASE("a frame that shows another place of the sky says which", "[night][plates]") {
    RehearsedField field(quiet_night());
    const auto reference = reference_of(field, "V_001.fits");
    field.campaign.position.dec = field.campaign.position.dec + Angle::degrees(0.5);
    night::PlateFinder finder(field.campaign, field.sequence);
    finder.use(reference);
    const auto found = finder.find(field.frames("V_002.fits"));
    REQUIRE_FALSE(found);
    CHECK(found.error().what.find("lies off the frame. By its stars, matched with V_001.fits, it is centred "
                                  "on 13:25:2") != std::string::npos);
}

TEST_CASE("several threads get the same solution", "[night][plates]") {
    const RehearsedField field(quiet_night());
    night::PlateFinder finder(field.campaign, field.sequence);
    finder.use(reference_of(field, "V_001.fits"));
    std::vector<std::string> cards(4);
    std::vector<std::thread> threads;
    for (std::string& mine : cards) {
        threads.emplace_back([&] {
            const auto found = finder.find(field.frames("V_002.fits"));
            if (!found) return;
            for (const frame::Card& card : found->solution.fit.cards)
                mine += card.keyword + card.value;
        });
    }
    for (std::thread& thread : threads)
        thread.join();
    for (const std::string& mine : cards) {
        CHECK_FALSE(mine.empty());
        CHECK(mine == cards.front());
    }
}

TEST_CASE("a header tells the scale in its own ways, or not at all", "[night][plates]") {
    const auto scale = [](std::vector<frame::Card> cards) {
        return night::header_scale_arcsec_per_px(frame::Header(std::move(cards), ""));
    };
    // 3.76 µm at 530 mm: 206264.8″ · 0.00376 / 530.
    CHECK(*scale({{"FOCALLEN", "530", "", false}, {"XPIXSZ", "3.76", "", false}}) == Approx(1.46331));
    CHECK(*scale({{"FOCALLEN", "530.0", "", true}, {"PIXSIZE1", "3.76", "", true}}) == Approx(1.46331));
    CHECK(*scale({{"SECPIX", "-0.6", "", false}}) == Approx(0.6));
    CHECK(*scale({{"PIXSCALE", "1.2", "", false}, {"FOCALLEN", "1", "", false}}) == Approx(1.2));
    CHECK_FALSE(scale({}));
    CHECK_FALSE(scale({{"FOCALLEN", "0", "", false}, {"XPIXSZ", "3.76", "", false}}));
    CHECK_FALSE(scale({{"FOCALLEN", "530", "", false}, {"XPIXSZ", "0", "", false}}));
    CHECK_FALSE(scale({{"FOCALLEN", "nonsense", "", true}, {"XPIXSZ", "3.76", "", false}}));
}

TEST_CASE("what lies on the same pixels of two frames is told from what moved with the sky",
          "[night][plates]") {
    night::FieldReference reference;
    std::vector<stars::PictureStar> here;
    for (int i = 0; i < 6; ++i) {
        const double x = 20.0 + 50.0 * i, y = 30.0 + 17.0 * ((3 * i) % 7);
        reference.places.push_back({x, y});
        reference.stars.push_back(
            {{Angle::degrees(200.0 - x / 3600.0), Angle::degrees(y / 3600.0)}, 0.1, {}, ""});
        // Half of them stay, half move by 12 px.
        here.push_back({{x + (i % 2 == 0 ? 0.3 : 12.0), y}, 0.1, 100.0});
    }
    const night::Unshared rest = night::without_shared_places(here, reference);
    CHECK(rest.here.size() == 3);
    CHECK(rest.there.size() == 3);
    CHECK(rest.there.front() == reference.stars[1]);
    CHECK(night::stands_still({}, 300, 200));
    CHECK(night::stands_still({.e = 4.0}, 300, 200));
    CHECK_FALSE(night::stands_still({.e = 5.0}, 300, 200));
    CHECK_FALSE(night::stands_still({.a = -1.0, .d = -1.0, .e = 300.0, .f = 200.0}, 300, 200));
}

namespace {

struct Light {
    double magnitude_mag = 0.0;
    bool seen = true;
    double off_mag = 0.0;  // from its magnitude
};

// Comparison stars of one frame, each seen on a centre of its own or not.
bool doubted(const std::vector<Light>& lights) {
    photometry::FrameFluxes fluxes;
    fluxes.band = parse_band("V").value();
    standard::Sequence sequence;
    for (std::size_t i = 0; i < lights.size(); ++i) {
        standard::ComparisonStar star;
        star.label = std::to_string(i);
        star.magnitudes[fluxes.band] = {lights[i].magnitude_mag, 0.02};
        sequence.stars.push_back(star);
        photometry::StarFlux flux;
        flux.label = star.label;
        flux.forced = !lights[i].seen;
        flux.flux_e = {std::pow(10.0, 0.4 * (25.0 - lights[i].magnitude_mag + lights[i].off_mag))};
        fluxes.stars.push_back(flux);
    }
    return night::plate_in_doubt(fluxes, sequence, {});
}

}  // namespace

TEST_CASE("bright stars missing or light at random make a plate solution doubtful, cloud does not",
          "[night][plates]") {
    CHECK_FALSE(doubted({}));
    CHECK_FALSE(doubted({{12.0}, {13.0}, {14.0}, {15.0}}));
    // Cloud hides the faint ones first.
    CHECK_FALSE(doubted({{12.0}, {13.0}, {14.0, false}, {15.0, false}, {15.2, false}}));
    CHECK_FALSE(doubted({{12.0}, {13.0, false}, {14.0, false}}));
    // A variable star among them.
    CHECK_FALSE(doubted({{12.0}, {12.5}, {13.0, true, 1.5}, {13.2}, {14.0}}));
    CHECK(doubted({{12.0, false}, {13.0, false}}));
    CHECK(doubted({{12.0, false}, {12.2, false}, {13.0, false}, {14.0}, {15.0, false}}));
    CHECK(doubted(
        {{12.0, true, -3.0}, {12.5, true, 0.4}, {13.0, true, 1.5}, {13.2, true, -0.9}, {14.0, true, 2.1}}));
}
