// SPDX-License-Identifier: MIT
// campaign.toml: whatever it says, it is refused in words or every setting lies in its range.
#include "night/campaign.hpp"

#include "fuzz/promise.hpp"

using namespace emberline;
using namespace emberline::fuzz;

namespace {

bool within(double value, double least, double most) {
    return value >= least && value <= most;
}

void check(const night::Campaign& campaign) {
    fuzz::check(campaign.position);
    if (campaign.nucleus) fuzz::check(*campaign.nucleus);
    ensure(!campaign.name.empty(), "a campaign's transient has a name");
    ensure(!campaign.instruments.empty(), "a campaign has an instrument");
    if (campaign.site) {
        ensure(within(campaign.site->latitude.degrees(), -90.0, 90.0), "a latitude is -90 to 90");
        ensure(within(campaign.site->longitude.degrees(), -360.0, 360.0), "a longitude is one turn at most");
        ensure(std::isfinite(campaign.site->elevation_m), "an elevation is a number");
    }
    for (const frame::Instrument& instrument : campaign.instruments) {
        for (const auto& value : {instrument.aperture_mm, instrument.gain_e_per_adu,
                                  instrument.saturation_adu, instrument.exposure_s})
            ensure(!value || (std::isfinite(*value) && *value > 0.0), "what an instrument has is above zero");
        ensure(!instrument.read_noise_e || within(*instrument.read_noise_e, 0.0, 1e6),
               "read noise is no less than 0");
        ensure(!instrument.stacked || *instrument.stacked >= 1, "a stack has an exposure");
    }
    for (const auto& [index, colour] : campaign.colours)
        ensure(std::isfinite(colour), "a colour is a number", index);
    for (const auto& [instrument, terms] : campaign.colour_terms) {
        for (const auto& [band, term] : terms)
            ensure(std::isfinite(term.value) && term.err >= 0.0, "a colour term is a number with its error",
                   band);
    }
    if (campaign.distance_modulus)
        ensure(std::isfinite(campaign.distance_modulus->value) && campaign.distance_modulus->err >= 0.0,
               "a distance modulus is a number with its error");
    ensure(!campaign.redshift || std::isfinite(*campaign.redshift), "a redshift is a number");
    ensure(!campaign.ebv_mag || within(*campaign.ebv_mag, 0.0, 100.0), "a colour excess is not below zero");
    const night::MeasureSettings& measure = campaign.measure;
    ensure(within(measure.annulus_inner_fwhm, 0.0, 1e3) &&
               measure.annulus_outer_fwhm > measure.annulus_inner_fwhm,
           "an annulus has an inside and an outside");
    ensure(within(measure.limit_sigma, 0.1, 100.0), "a limit is some sigma");
    ensure(measure.least_comparison_stars >= 1, "there is a comparison star at least");
    ensure(within(measure.most_shift_arcsec, 0.0, 1e5), "a shift is an angle");
}

}  // namespace

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size) {
    const std::string_view text = text_of(data, size);
    const auto campaign = night::parse_campaign(text, "campaign");
    const auto again = night::parse_campaign(text, "campaign");
    ensure(campaign.has_value() == again.has_value(), "what is read twice is read the same way");
    if (!campaign) {
        fuzz::check(campaign.error());
        ensure(campaign.error() == again.error(), "the same problem twice", one_line(campaign.error()));
        return 0;
    }
    check(*campaign);
    ensure(campaign->measure == again->measure && campaign->report == again->report &&
               campaign->plate == again->plate && campaign->instruments == again->instruments &&
               campaign->remarks == again->remarks,
           "what is read twice is the same");
    return 0;
}
