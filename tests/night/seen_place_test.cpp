// SPDX-License-Identifier: MIT
// Where single frames of rehearsed nights show the transient, against where it is: pulls, biases, absences.
#include <fmt/format.h>

#include <catch2/catch.hpp>
#include <cmath>
#include <cstdlib>
#include <filesystem>
#include <functional>
#include <numbers>

#include "night/host_template.hpp"
#include "night/mean_place.hpp"
#include "night/measure_frame.hpp"
#include "night/plate_shift.hpp"
#include "numerics/random.hpp"
#include "numerics/robust.hpp"
#include "rehearsal/rehearse.hpp"
#include "temporary_folder.hpp"

using namespace emberline;

namespace {

struct Asked {
    rehearsal::RehearsalOptions options;
    bool nucleus_known = true;
    double catalogue_err_arcsec = 0.0;                              // given to the stars' places, one axis
    std::function<void(rehearsal::InventedCampaign&)> change = {};  // before it is exposed
};

rehearsal::RehearsalOptions one_night(int frames) {
    rehearsal::RehearsalOptions options;
    options.nights = 1;
    options.frames = frames;
    options.width_px = 360;
    options.height_px = 320;
    options.host = false;
    return options;
}

// What every frame's place missed the truth by, on both axes.
struct Missed {
    int frames = 0;
    std::map<std::string, int> methods;
    std::vector<double> east_pulls, north_pulls, errs_arcsec;
    std::vector<double> to_nucleus_arcsec;
    std::vector<double> mean_pulls;  // of each campaign's mean place
    std::vector<photometry::FrameFluxes> fluxes;

    [[nodiscard]] std::vector<double> pulls() const {
        std::vector<double> all = east_pulls;
        all.insert(all.end(), north_pulls.begin(), north_pulls.end());
        return all;
    }
    [[nodiscard]] double spread() const { return numerics::robust_spread(pulls()); }
};

double mean(const std::vector<double>& values) {
    double sum = 0.0;
    for (const double v : values)
        sum += v;
    return sum / static_cast<double>(values.size());
}

void measure(const Asked& asked, std::uint64_t seed, Missed& out) {
    const test::TemporaryFolder folder;
    rehearsal::RehearsalOptions options = asked.options;
    options.seed = seed;
    auto invented = rehearsal::invent_campaign(options).value();
    if (asked.change) asked.change(invented);
    REQUIRE(rehearsal::rehearse(folder / "c", invented));
    auto campaign = night::read_campaign(folder / "c").value();
    if (!asked.nucleus_known) campaign.nucleus.reset();
    auto sequence = standard::read_sequence(campaign.path(campaign.catalog)).value();
    numerics::Random random(500 + seed);
    for (standard::ComparisonStar& star : sequence.stars) {
        const double east = random.gaussian(0.0, 1.0), north = random.gaussian(0.0, 1.0);
        star.position = displaced(star.position, {Angle::arcseconds(asked.catalogue_err_arcsec * east),
                                                  Angle::arcseconds(asked.catalogue_err_arcsec * north)});
    }
    const night::HostTemplates templates(sequence, campaign);
    const SkyPosition truth = invented.sky.transient.position;
    std::vector<photometry::FrameFluxes> own;
    for (const rehearsal::PlannedFrame& planned : invented.frames) {
        const auto opened = frame::open_frames(campaign.path(planned.path), campaign.instruments).value();
        for (const frame::Frame& frame : opened) {
            auto fluxes = night::measure_frame(frame, planned.path, planned.path, sequence, campaign,
                                               templates.any() ? &templates : nullptr);
            if (!fluxes) continue;  // a trailed or clouded one
            ++out.frames;
            if (fluxes->seen) {
                const photometry::SeenPlace& seen = *fluxes->seen;
                ++out.methods[seen.method];
                const SkyOffset off = offset(truth, seen.place);
                const double shared = std::hypot(seen.plate_err_arcsec, seen.host_err_arcsec);
                out.east_pulls.push_back(off.east.arcseconds() / std::hypot(seen.east_err_arcsec, shared));
                out.north_pulls.push_back(off.north.arcseconds() / std::hypot(seen.north_err_arcsec, shared));
                out.errs_arcsec.push_back(std::hypot(seen.east_err_arcsec, shared));
                if (invented.sky.host) {
                    const SkyOffset n = offset(truth, invented.sky.host->nucleus);
                    const double e = n.east.arcseconds(), q = n.north.arcseconds();
                    out.to_nucleus_arcsec.push_back((off.east.arcseconds() * e + off.north.arcseconds() * q) /
                                                    std::hypot(e, q));
                }
            }
            own.push_back(std::move(*fluxes));
        }
    }
    std::vector<const photometry::FrameFluxes*> frames;
    for (const auto& f : own)
        frames.push_back(&f);
    if (const auto place = night::mean_place(frames, campaign)) {
        const SkyOffset off = offset(truth, place->place);
        out.mean_pulls.push_back(off.east.arcseconds() / place->east_err_arcsec);
        out.mean_pulls.push_back(off.north.arcseconds() / place->north_err_arcsec);
    }
    out.fluxes.insert(out.fluxes.end(), own.begin(), own.end());
}

Missed measure(const Asked& asked, int seeds, std::uint64_t first = 1) {
    Missed out;
    for (int k = 0; k < seeds; ++k)
        measure(asked, first + static_cast<std::uint64_t>(k), out);
    return out;
}

std::string told(const Missed& m) {
    std::string text = fmt::format(
        "{} frames, {} seen, east {:+.2f}, north {:+.2f}, spread {:.2f}, error "
        "{:.4f}″, to the nucleus {:+.4f}″, mean places ",
        m.frames, m.east_pulls.size(), mean(m.east_pulls), mean(m.north_pulls), m.spread(),
        numerics::median(m.errs_arcsec), m.to_nucleus_arcsec.empty() ? 0.0 : mean(m.to_nucleus_arcsec));
    for (const double pull : m.mean_pulls)
        text += fmt::format("{:+.1f} ", pull);
    return text;
}

}  // namespace

TEST_CASE("one sigma of a frame's place is one sigma, by centroid, on both sides of a flip",
          "[night][place]") {
    // Clouds, a meridian flip and trailed frames among them.
    const Missed m = measure({.options = one_night(12)}, 6);
    INFO(told(m));
    REQUIRE(m.east_pulls.size() > 60);
    CHECK(m.methods.at("centroid") >= 0.9 * static_cast<double>(m.east_pulls.size()));
    // 140 pulls: the spread of a sample's quantiles is 0.08; the means' error 0.12.
    CHECK(m.spread() == Approx(1.0).margin(0.16));
    CHECK(std::abs(mean(m.east_pulls)) < 0.3);
    CHECK(std::abs(mean(m.north_pulls)) < 0.3);
    for (const auto& frame : m.fluxes) {
        if (!frame.seen) continue;
        CHECK(frame.seen->plate_noise_arcsec <= frame.seen->plate_err_arcsec);
        CHECK(frame.seen->stars >= 6);
    }
}

TEST_CASE("the error is King's: FWHM over 2.355 times the signal-to-noise", "[night][place]") {
    // King 1983 (PASP 95, 163): where the sky makes the noise, σ_x = √2 σ_star / S/N for a Gaussian image and
    // the best weights, S/N then being that of such a fit; where the star's own light makes it, σ_star / S/N.
    rehearsal::RehearsalOptions options = one_night(6);
    options.trailing = options.cloud = false;
    options.peak_mag = 12.0;
    const Missed bright = measure({.options = options}, 1);
    for (const auto& frame : bright.fluxes) {
        REQUIRE(frame.seen);
        std::size_t k = 0;
        while (frame.apertures[k].radius_px < 1.5 * frame.fwhm_px)
            ++k;
        const double signal_to_noise = std::sqrt(frame.stars.front().flux_e[k]);  // photons alone
        const double least = frame.fwhm_px * frame.scale_arcsec_per_px / (2.355 * signal_to_noise);
        INFO(frame.seen->east_err_arcsec << " of " << least);
        // Above it: the wings of a Moffat profile carry less of the place, and there is a sky.
        CHECK(frame.seen->east_err_arcsec > least);
        CHECK(frame.seen->east_err_arcsec < 2.0 * least);
    }
}

TEST_CASE("the catalogue's errors are in a frame's place, and are not averaged away", "[night][place]") {
    Missed m = measure({.options = one_night(3), .catalogue_err_arcsec = 0.2}, 12);
    INFO(told(m));
    // 12 skies, both axes: 24 independent pulls, 0.14; the frames of a sky share them.
    double squares = 0.0;
    for (const double pull : m.mean_pulls)
        squares += pull * pull;
    CHECK(std::sqrt(squares / static_cast<double>(m.mean_pulls.size())) == Approx(1.0).margin(0.45));
    // 0.2″ over the root of eleven stars, somewhat more since rotation and shear are fitted too.
    const double err = numerics::median(m.errs_arcsec);
    CHECK(err > 0.05);
    CHECK(err < 0.15);
}

TEST_CASE("a mirrored frame, one that was turned, and a plate that is off show the same place",
          "[night][place]") {
    rehearsal::RehearsalOptions options = one_night(6);
    options.trailing = options.cloud = false;
    const auto change = [](rehearsal::InventedCampaign& campaign) {
        for (std::size_t i = 0; i < campaign.frames.size(); ++i) {
            rehearsal::InventedPointing& pointing = campaign.frames[i].pointing;
            pointing.mirrored = i % 2 == 0;
            pointing.rotation_deg = 37.0 * static_cast<double>(i);
            pointing.dx_px = 2.5;
            pointing.dy_px = -1.5;
        }
    };
    const Missed m = measure({.options = options, .change = change}, 3);
    INFO(told(m));
    REQUIRE(m.east_pulls.size() == 18);
    CHECK(m.spread() == Approx(1.0).margin(0.35));  // 36 pulls: 0.16
    for (const double pull : m.pulls())
        CHECK(std::abs(pull) < 4.5);
}

TEST_CASE("a host beside the transient moves its place by less than the error says", "[night][place][host]") {
    struct Case {
        double offset_arcsec;
        bool with_template;
        const char* method;
        double most_bias_arcsec;  // towards the nucleus: of 16 frames, with their noise
    };
    // Biases measured on many more frames: template below 0.003″, smooth host −0.006″ to +0.016″.
    for (const Case& c : {Case{8.0, false, "psf", 0.02}, Case{5.0, false, "psf", 0.02},
                          Case{5.0, true, "difference", 0.015}}) {
        rehearsal::RehearsalOptions options = one_night(4);
        options.host = true;
        options.peak_mag = 14.5;
        options.host_offset_arcsec = c.offset_arcsec;
        if (c.with_template) options.host_template = rehearsal::TemplateOptions{};
        const Missed m = measure({.options = options}, 2, 20);
        INFO(c.offset_arcsec << "″ " << c.method << ": " << told(m));
        CHECK(m.methods.at(c.method) >= 7);
        CHECK(std::abs(mean(m.to_nucleus_arcsec)) < c.most_bias_arcsec);
        CHECK(m.spread() > 0.5);
        CHECK(m.spread() < 1.35);  // 16 pulls: 0.24
    }
}

TEST_CASE("without a nucleus in the settings the error covers what its light may do",
          "[night][place][host]") {
    rehearsal::RehearsalOptions options = one_night(4);
    options.host = true;
    options.peak_mag = 14.5;
    options.host_offset_arcsec = 5.0;
    const Missed named = measure({.options = options}, 1, 20);
    const Missed m = measure({.options = options, .nucleus_known = false}, 2, 20);
    INFO(told(m));
    // Dragged towards it, by some hundredths of an arcsecond.
    CHECK(mean(m.to_nucleus_arcsec) > 0.0);
    for (const double pull : m.pulls())
        CHECK(std::abs(pull) < 4.5);
    CHECK(numerics::median(m.errs_arcsec) > 1.3 * numerics::median(named.errs_arcsec));
}

TEST_CASE("a transient on its nucleus, or too faint, has no place", "[night][place]") {
    rehearsal::RehearsalOptions options = one_night(2);
    options.trailing = false;
    options.peak_mag = 20.5;
    const Missed faint = measure({.options = options}, 1);
    CHECK(faint.frames == 2);
    CHECK(faint.east_pulls.empty());
    options.peak_mag = 14.0;
    options.host = true;
    options.host_offset_arcsec = 0.5;
    const Missed on_nucleus = measure({.options = options}, 1);
    CHECK(on_nucleus.frames == 2);
    CHECK(on_nucleus.east_pulls.empty());
}

TEST_CASE("each colour of a mosaic has its own place, the same within the errors", "[night][place]") {
    rehearsal::RehearsalOptions options = one_night(4);
    options.pattern = "RGGB";
    options.fwhm_arcsec = 4.0;
    const Missed m = measure({.options = options}, 2, 3);
    INFO(told(m));
    REQUIRE(m.east_pulls.size() >= 18);
    CHECK(m.spread() == Approx(1.0).margin(0.35));
    CHECK(std::abs(mean(m.east_pulls)) < 0.8);
    CHECK(std::abs(mean(m.north_pulls)) < 0.8);
}

TEST_CASE("a shift, a turn and a shear of the plate are taken out at the place asked for", "[night][place]") {
    // off = shift + turn: exact residuals are recovered to rounding, whatever the number of stars allows.
    const auto off_at = [](double e, double n, double shear) {
        return std::array{1.5 + 3e-4 * e - (2e-3 - shear) * n, -0.7 + 2e-3 * e + 3e-4 * n};
    };
    numerics::Random random(8);
    for (const std::size_t stars : {std::size_t{4}, std::size_t{7}, std::size_t{8}, std::size_t{12}}) {
        const double shear = stars >= 8 ? 1e-3 : 0.0;
        std::vector<night::PlateResidual> field;
        for (std::size_t i = 0; i < stars; ++i) {
            const double e = random.uniform(-300.0, 300.0), n = random.uniform(-300.0, 300.0);
            const auto off = off_at(e, n, shear);
            field.push_back({e, n, off[0], off[1], 0.05});
        }
        const auto there = off_at(40.0, -60.0, shear);
        const auto shift = night::plate_shift(field, 40.0, -60.0);
        CHECK(shift.terms == (stars >= 8 ? 6 : 4));
        CHECK(shift.stars == stars);
        CHECK(shift.east_arcsec == Approx(there[0]).margin(1e-6));
        CHECK(shift.north_arcsec == Approx(there[1]).margin(1e-6));
        CHECK(shift.err_arcsec > 0.05 / std::sqrt(static_cast<double>(stars)));
        if (stars < 7) continue;
        // A star that is another one's partner hardly moves it.
        field[2].off_east_arcsec += 4.0;
        const auto robust = night::plate_shift(field, 40.0, -60.0);
        CHECK(std::abs(robust.east_arcsec - there[0]) < 0.1);
    }
}

TEST_CASE("the plate's error is the scatter of what it gives", "[night][place]") {
    numerics::Random random(9);
    for (const std::size_t stars : {std::size_t{5}, std::size_t{10}, std::size_t{20}}) {
        for (const double catalogue : {0.0, 0.15}) {
            std::vector<double> pulls;
            for (int k = 0; k < 400; ++k) {
                std::vector<night::PlateResidual> field;
                for (std::size_t i = 0; i < stars; ++i) {
                    const double err = 0.02 + 0.06 * random.uniform();
                    const double all = std::hypot(err, catalogue);
                    field.push_back({random.uniform(-300.0, 300.0), random.uniform(-300.0, 300.0),
                                     random.gaussian(0.0, all), random.gaussian(0.0, all), err});
                }
                const auto shift = night::plate_shift(field, 50.0, 20.0);
                pulls.push_back(shift.east_arcsec / shift.err_arcsec);
                pulls.push_back(shift.north_arcsec / shift.err_arcsec);
            }
            INFO(stars << " stars, catalogue " << catalogue);
            // 800 pulls: 0.035. A scatter that cannot come out negative makes perfect catalogues look worse.
            CHECK(numerics::robust_spread(pulls) < 1.15);
            CHECK(numerics::robust_spread(pulls) > (catalogue > 0.0 ? 0.9 : 0.8));
        }
    }
    // Centroids far better than the catalogue: its scatter is found, not taken for mistakes.
    std::vector<double> pulls;
    for (int k = 0; k < 200; ++k) {
        std::vector<night::PlateResidual> field;
        for (int i = 0; i < 10; ++i) {
            const double err = i < 7 ? 0.003 : 0.15;  // three faint ones
            const double all = std::hypot(err, 0.2);
            field.push_back({random.uniform(-300.0, 300.0), random.uniform(-300.0, 300.0),
                             random.gaussian(0.0, all), random.gaussian(0.0, all), err});
        }
        const auto shift = night::plate_shift(field, 50.0, 20.0);
        CHECK(shift.stars >= 6);
        pulls.push_back(shift.east_arcsec / shift.err_arcsec);
        pulls.push_back(shift.north_arcsec / shift.err_arcsec);
    }
    CHECK(numerics::robust_spread(pulls) == Approx(1.0).margin(0.2));  // 400 pulls: 0.06
    // One star tells a shift, and nothing of its own error.
    const auto one = night::plate_shift({{10.0, 10.0, 0.8, -0.2, 0.02}}, 0.0, 0.0);
    CHECK(one.east_arcsec == Approx(0.8));
    CHECK(one.err_arcsec == Approx(std::hypot(0.1 * 1.55, 0.02)));
}
