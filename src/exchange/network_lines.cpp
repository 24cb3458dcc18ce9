// SPDX-License-Identifier: MIT
// Notation: magnitudes in thousandths where the printed digits must agree.
#include "exchange/network_lines.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <map>
#include <set>

#include "exchange/observer_code.hpp"
#include "quantities/text.hpp"
#include "sky/time_scales.hpp"

namespace emberline::exchange {
namespace {

using night::Campaign;
using night::FrameMeasurement;
using night::Measurement;
using night::NightMeasurement;

constexpr double least_err_mag = 0.001;            // three decimals are written, and no error is zero
constexpr double identity_tolerance_mag = 0.0015;  // three roundings to 0.001 mag
constexpr double largest_mag = 60.0;

double rounded(double mag) {
    return std::round(mag * 1000.0) / 1000.0;
}

std::optional<double> rounded(std::optional<double> mag) {
    return mag && std::isfinite(*mag) ? std::optional(rounded(*mag)) : std::nullopt;
}

std::string printed(double mag) {
    const double value = rounded(mag);
    return fmt::format("{:.3f}", value == 0.0 ? 0.0 : value);
}

Problem campaign_problem(const Campaign& campaign, std::string what, std::string key, std::string mend) {
    return {.what = std::move(what),
            .where = fmt::format("{}, {}", campaign.path("campaign.toml"), key),
            .mend = std::move(mend),
            .kind = ProblemKind::request};
}

Result<void> check_night(const std::optional<std::string>& night) {
    if (!night) return {};
    const auto date = sky::parse_calendar(*night);
    if (date && !date->has_time && night->size() == 10) return {};
    return fail({.what = fmt::format("'{}' is not the date of a night.", *night),
                 .where = {},
                 .mend = "Write it as 2024-02-03.",
                 .kind = ProblemKind::request});
}

// What stands above the lines, checked by writing a report of one line.
Result<NetworkReport> begin_report(const Campaign& campaign, const LineChoice& choice) {
    if (campaign.observer_code.empty()) {
        return fail(
            campaign_problem(campaign, "The observer's code is missing.", "[observer] code",
                             "Add [observer] code = \"…\", the code that the network issued to you."));
    }
    if (choice.transient_name.value_or(campaign.name).empty()) {
        return fail(campaign_problem(campaign, "The transient has no name.", "[transient] name",
                                     "Give the name under which the network lists it."));
    }
    if (auto good = check_night_range(choice.from_night, choice.to_night); !good) return fail(good.error());
    NetworkReport report;
    report.header.observer_code = campaign.observer_code;
    report.header.software = choice.software;
    report.header.delimiter = choice.delimiter;
    report.header.obstype = upper_case(choice.obstype.value_or(campaign.report.obstype));
    // A name or chart that no line can hold would fail on every line: said once instead.
    NetworkObservation probe;
    probe.star = choice.transient_name.value_or(campaign.name);
    probe.chart = choice.chart.value_or(campaign.chart);
    probe.date = 2451545.0;
    probe.filter = "V";
    NetworkReport trial = report;
    trial.observations = {probe};
    if (auto text = write_network_report(trial); !text) {
        Problem problem = text.error();
        problem.kind = ProblemKind::request;
        return fail(std::move(problem));
    }
    return report;
}

// Why this row can be no line, before the format is asked.
std::optional<std::string> reason_to_skip(const Measurement& m) {
    if (m.band.empty()) return "Its band is not known.";
    const std::optional<double>& value = m.is_limit ? m.limit_mag : m.magnitude_mag;
    if (!value) return m.is_limit ? "It is a limit without a value." : "It has no magnitude.";
    if (!std::isfinite(*value) || std::abs(*value) > largest_mag) return "Its magnitude is not a number.";
    const auto err = m.total_err_mag();
    if (!m.is_limit && (!err || !std::isfinite(*err))) return "Its error is not known.";
    return std::nullopt;
}

// The sums that the notes state, all rounded to what is printed.
struct InstrumentalMagnitudes {
    std::optional<double> variable, comparison, comparison_reference, check, check_reference;
    std::optional<double> check_standard;  // KMAGSTD, where the identity gives the check star's magnitude
};

InstrumentalMagnitudes instrumental_magnitudes(const Measurement& m) {
    InstrumentalMagnitudes mags;
    if (m.flux_e.value > 0.0 && !m.is_limit) mags.variable = rounded(-2.5 * std::log10(m.flux_e.value));
    if (m.n_comparison > 0) {
        mags.comparison = rounded(m.comparison_instrumental_mag);
        mags.comparison_reference = rounded(m.comparison_catalogue_mag);
    }
    if (m.check.label.empty()) return mags;
    mags.check = rounded(m.check.instrumental_mag);
    mags.check_reference = rounded(m.check.catalogue_mag);
    if (!mags.comparison || !mags.comparison_reference || !mags.check || !m.check.magnitude_mag) return mags;
    const double derived = rounded(*mags.comparison_reference - *mags.comparison + *mags.check);
    if (std::abs(derived - *m.check.magnitude_mag) <= identity_tolerance_mag) mags.check_standard = derived;
    return mags;
}

void add_pairs(NetworkObservation& o, const InstrumentalMagnitudes& mags) {
    const auto add = [&](std::string_view key, const std::optional<double>& value) {
        if (value) o.notes.emplace_back(key, printed(*value));
    };
    add("VMAGINS", mags.variable);
    add("CMAGINS", mags.comparison);
    add("CREFMAG", mags.comparison_reference);
    add("KMAGINS", mags.check);
    add("KREFMAG", mags.check_reference);
    add("KMAGSTD", mags.check_standard);
}

// The documented key of a colour term T in m = z + T (colour) + instrumental. Other terms have none.
std::string_view transformation_key(const Measurement& m) {
    const std::string& band = m.band.name();
    if (m.colour_index == "B-V" && band == "B") return "Tb_bv";
    if (m.colour_index == "B-V" && band == "V") return "Tv_bv";
    if (m.colour_index == "V-Rc" && band == "Rc") return "Tr_vr";
    if (m.colour_index == "V-Ic" && band == "Ic") return "Ti_vi";
    return {};
}

// Free text for a person. Words, blanks and slashes: nothing that a usual delimiter could be.
std::string note_text(const Measurement& m, std::string first, double limit_sigma) {
    std::vector<std::string> parts;
    if (!first.empty()) parts.push_back(std::move(first));
    if (m.is_limit) {
        parts.push_back(fmt::format("limit at {:g} sigma", limit_sigma));
    } else {
        parts.push_back(fmt::format("err random {:.3f} common {:.3f}", *m.random_err_mag,
                                    m.common_err_mag.value_or(0.0)));
    }
    if (m.transformed && m.colour_term && m.colour_mag) {
        parts.push_back(fmt::format("colour term {:+.3f} applied at {} {:.3f}", *m.colour_term,
                                    m.colour_index, *m.colour_mag));
    }
    std::string caveats;
    for (const Caveat caveat : m.caveats.list())
        caveats += fmt::format(" {}", word(caveat));
    if (!caveats.empty()) parts.push_back("flags" + caveats);
    return fmt::format("{}", fmt::join(parts, " / "));
}

class LineBuilder {
  public:
    LineBuilder(NetworkReport report, const Campaign& campaign, const LineChoice& choice)
        : campaign_(campaign), choice_(choice), star_(choice.transient_name.value_or(campaign.name)) {
        lines_.report = std::move(report);
        chart_ = choice.chart.value_or(campaign.chart);
    }

    [[nodiscard]] bool is_chosen(const Measurement& m) {
        const bool inside = (!choice_.from_night || m.night >= *choice_.from_night) &&
                            (!choice_.to_night || m.night <= *choice_.to_night);
        if (!inside) ++outside_;
        return inside;
    }

    void skip(const Measurement& m, const std::string& frame, std::string reason) {
        lines_.skipped.push_back({m.night, m.band.name(), frame, std::move(reason)});
    }

    void add(const Measurement& m, const std::string& subject, const std::string& frame,
             std::string first_note, std::optional<int> group) {
        if (auto reason = reason_to_skip(m)) return skip(m, frame, std::move(*reason));
        NetworkObservation o = observation(m, std::move(first_note));
        o.group = group;
        // Only a line that the format can hold goes in; the others must not stop it.
        if (const auto line = write_network_line(o, lines_.report.header.delimiter); !line) {
            return skip(m, frame, one_line(line.error()));
        }
        lines_.report.observations.push_back(std::move(o));
        lines_.subjects.push_back(subject);
    }

    NetworkLines finish(std::string_view row) && {
        settle_codes();
        if (outside_ > 0) {
            lines_.remarks.push_back(fmt::format("{} {}{} outside the dates asked for.", outside_, row,
                                                 outside_ == 1 ? " lies" : "s lie"));
        }
        if (!lines_.report.observations.empty()) {
            if (const auto doubt = observer_code_doubt(campaign_.observer_code))
                lines_.remarks.push_back(*doubt + " [observer] code in campaign.toml.");
        }
        if (chart_.empty() && !lines_.report.observations.empty()) {
            lines_.remarks.emplace_back(
                "No chart is named, so CHART is na: give [comparison] chart in campaign.toml.");
        }
        return std::move(lines_);
    }

  private:
    // The header has the first line's code; a line of the header's code needs none of its own.
    void settle_codes() {
        auto& observations = lines_.report.observations;
        if (observations.empty()) return;
        std::string& header = lines_.report.header.observer_code;
        const std::string usual = header;
        if (!observations.front().observer_code.empty()) header = observations.front().observer_code;
        for (NetworkObservation& o : observations) {
            if (o.observer_code.empty()) o.observer_code = usual;
            if (o.observer_code == header) o.observer_code.clear();
        }
    }

    [[nodiscard]] NetworkObservation observation(const Measurement& m, std::string first_note) const {
        NetworkObservation o;
        o.star = star_;
        o.date = m.jd_utc;
        o.fainter_than = m.is_limit;
        o.magnitude_mag = rounded(m.is_limit ? *m.limit_mag : *m.magnitude_mag);
        if (!m.is_limit) o.err_mag = std::max(rounded(*m.total_err_mag()), least_err_mag);
        o.filter = facts(m.band).network_code;
        o.transformed = m.transformed;
        const InstrumentalMagnitudes mags = instrumental_magnitudes(m);
        const bool single = m.n_comparison == 1 && m.comparison_labels.size() == 1;
        if (single) {
            o.comparison_name = m.comparison_labels.front();
            o.comparison_mag = mags.comparison;
        } else if (m.n_comparison > 0) {
            o.comparison_name = "ENSEMBLE";
        }
        o.check_name = m.check.label;
        if (!o.check_name.empty()) o.check_mag = single ? mags.check : rounded(m.check.magnitude_mag);
        o.airmass = rounded(m.airmass);
        o.chart = chart_;
        add_pairs(o, mags);
        if (const auto key = transformation_key(m); m.transformed && m.colour_term && !key.empty()) {
            o.notes.emplace_back(key, printed(*m.colour_term));
        }
        o.note_text = note_text(m, std::move(first_note), campaign_.measure.limit_sigma);
        if (const auto code = campaign_.observer_codes.find(m.instrument);
            code != campaign_.observer_codes.end() && code->second != campaign_.observer_code)
            o.observer_code = code->second;
        return o;
    }

    const Campaign& campaign_;
    const LineChoice& choice_;
    std::string star_, chart_;
    NetworkLines lines_;
    std::size_t outside_ = 0;
};

// A number that is the same whenever that night is reported: the evening's MJD and the instrument's place in
// the campaign, in the five digits of the field. It has to be unique only within a Julian day.
std::optional<int> group_of(const NightMeasurement& m, const Campaign& campaign) {
    const auto date = sky::parse_instant(m.night);
    if (!date) return std::nullopt;
    const auto& instruments = campaign.instruments;
    const auto place = std::find_if(instruments.begin(), instruments.end(),
                                    [&](const frame::Instrument& i) { return i.name == m.instrument; });
    const auto day = static_cast<int>(std::lround(date->mjd())) % 10000;
    return day * 10 + static_cast<int>(place - instruments.begin()) % 10;
}

}  // namespace

Result<void> check_night_range(const std::optional<std::string>& from, const std::optional<std::string>& to) {
    for (const auto& night : {from, to}) {
        if (auto good = check_night(night); !good) return good;
    }
    if (from && to && *from > *to) {
        return fail({.what = fmt::format("The first night, {}, is after the last, {}.", *from, *to),
                     .where = {},
                     .mend = "Exchange them.",
                     .kind = ProblemKind::request});
    }
    return {};
}

std::string subject_of(const NightMeasurement& m) {
    return fmt::format("night {} {} {}", m.night, m.band.name(), m.instrument);
}

std::string subject_of(const FrameMeasurement& m) {
    return fmt::format("frame {} {} {}", m.frame, m.band.name(), m.instrument);
}

Result<NetworkLines> network_lines(std::span<const NightMeasurement> nights, const Campaign& campaign,
                                   const LineChoice& choice) {
    auto report = begin_report(campaign, choice);
    if (!report) return fail(report.error());
    LineBuilder builder(std::move(*report), campaign, choice);
    std::map<std::pair<std::string, std::string>, std::set<Band>> bands_of;  // night, instrument
    for (const NightMeasurement& m : nights) {
        if (!reason_to_skip(m)) bands_of[{m.night, m.instrument}].insert(m.band);
    }
    for (const NightMeasurement& m : nights) {
        if (!builder.is_chosen(m)) continue;
        const bool several = bands_of[{m.night, m.instrument}].size() > 1;
        builder.add(m, subject_of(m), "",
                    fmt::format("{} frame{}", m.n_frames, m.n_frames == 1 ? "" : "s combined"),
                    several ? group_of(m, campaign) : std::nullopt);
    }
    return std::move(builder).finish("night");
}

Result<NetworkLines> network_lines(std::span<const FrameMeasurement> frames, const Campaign& campaign,
                                   const LineChoice& choice) {
    auto report = begin_report(campaign, choice);
    if (!report) return fail(report.error());
    LineBuilder builder(std::move(*report), campaign, choice);
    for (const FrameMeasurement& m : frames) {
        if (!builder.is_chosen(m)) continue;
        if (!m.used) {
            builder.skip(m, m.frame, m.reason.empty() ? "The frame is not used." : m.reason);
            continue;
        }
        builder.add(m, subject_of(m), m.frame, "", std::nullopt);
    }
    return std::move(builder).finish("frame");
}

}  // namespace emberline::exchange
