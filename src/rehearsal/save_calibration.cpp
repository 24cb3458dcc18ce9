// SPDX-License-Identifier: MIT
#include "rehearsal/save_calibration.hpp"

#include <fmt/format.h>

#include <functional>

#include "numerics/random.hpp"
#include "rehearsal/calibration_frames.hpp"
#include "rehearsal/campaign_text.hpp"
#include "rehearsal/save_picture.hpp"
#include "sky/time_scales.hpp"

namespace emberline::rehearsal {
namespace {

constexpr std::uint64_t calibration_stream = 4;
constexpr double hours_before = 8.0, readout_s = 5.0;
constexpr double flat_exposure_s = 2.0;

// One exposure after another, as the camera takes them.
class Afternoon {
  public:
    Afternoon(std::string folder, const InventedCampaign& campaign)
        : folder_(std::move(folder)),
          campaign_(campaign),
          clock_(sky::later_by(campaign.frames.front().start_utc, -hours_before * 3600.0)) {}

    using Expose = std::function<std::vector<std::uint16_t>(std::uint64_t seed)>;
    Result<void> take(int number, const std::string& place, Exposed exposed, const Expose& expose) {
        const numerics::Random random = numerics::Random(campaign_.options.seed).stream(calibration_stream);
        for (int i = 1; i <= number; ++i) {
            const auto adu = expose(random.stream(taken_++).bits());
            exposed.start_utc = clock_;
            clock_ = sky::later_by(clock_, exposed.exposure_s + readout_s);
            const std::string name = place.substr(0, place.find('_'));
            const std::string path = fmt::format("{}/calibration/{}/{}_{:03}.fits", folder_, place, name, i);
            auto saved = save_picture(path,
                                      {.adu = {adu.begin(), adu.end()},
                                       .width_px = campaign_.instrument.width_px,
                                       .height_px = campaign_.instrument.height_px},
                                      {}, camera_cards(campaign_, exposed));
            if (!saved) return saved;
        }
        return {};
    }

  private:
    std::string folder_;
    const InventedCampaign& campaign_;
    Instant clock_;
    std::uint64_t taken_ = 0;
};

}  // namespace

Result<void> save_calibration(const std::string& folder, const InventedCampaign& campaign,
                              const CalibrationOptions& options) {
    const InventedInstrument& instrument = campaign.instrument;
    const double exposure_s = campaign.options.exposure_s;
    Afternoon afternoon(folder, campaign);
    auto done = afternoon.take(options.bias, "bias", {.kind = "Bias Frame"},
                               [&](std::uint64_t seed) { return expose_bias(instrument, seed); });
    if (!done) return done;
    done = afternoon.take(options.dark, "dark", {.kind = "Dark Frame", .exposure_s = exposure_s},
                          [&](std::uint64_t seed) { return expose_dark(instrument, exposure_s, seed); });
    if (!done) return done;

    const double level_e =
        (options.flat_level * instrument.full_adu - instrument.offset_adu) * instrument.gain_e_per_adu;
    const bool colour = !instrument.pattern.empty();
    for (const Band& band : colour ? std::vector<Band>{campaign.frames.front().band} : campaign.bands) {
        const std::string place = colour ? "flat" : "flat_" + band.name();
        done = afternoon.take(
            options.flat, place, {.kind = "Flat Field", .exposure_s = flat_exposure_s, .band = band},
            [&](std::uint64_t seed) { return expose_flat(instrument, level_e, flat_exposure_s, seed); });
        if (!done) return done;
    }
    return {};
}

}  // namespace emberline::rehearsal
