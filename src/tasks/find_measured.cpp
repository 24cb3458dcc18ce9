// SPDX-License-Identifier: MIT
#include "tasks/find_measured.hpp"

#include <fmt/format.h>
#include <fmt/ranges.h>

#include <algorithm>
#include <vector>

#include "tasks/measured_frame.hpp"
#include "tasks/set_aside.hpp"

namespace emberline::tasks {
namespace {

constexpr int most_planes = 3;

Result<MeasuredFrame> with_measurement(const ledger::Ledger& ledger, photometry::FrameFluxes fluxes) {
    auto solution = ledger.newest_of(fluxes.night);
    if (!solution) return fail(solution.error());
    MeasuredFrame out{.fluxes = std::move(fluxes), .measured = {}};
    for (night::FrameMeasurement& measured : solution->frames) {
        if (measured.fingerprint == out.fluxes.fingerprint && measured.plane == out.fluxes.plane)
            out.measured = std::move(measured);
    }
    return out;
}

}  // namespace

std::string FrameId::text() const {
    return fmt::format("{}-{}", fingerprint, plane);
}

std::optional<FrameId> parse_frame_id(std::string_view text) {
    const auto dash = text.rfind('-');
    if (dash == std::string_view::npos || dash == 0 || dash + 2 != text.size()) return std::nullopt;
    const std::string_view print = text.substr(0, dash);
    const int plane = text.back() - '0';
    const bool hexadecimal = std::all_of(
        print.begin(), print.end(), [](char c) { return (c >= '0' && c <= '9') || (c >= 'a' && c <= 'f'); });
    if (!hexadecimal || plane < 0 || plane >= most_planes) return std::nullopt;
    return FrameId{std::string(print), plane};
}

Problem no_such_frame(const FrameId& id) {
    return {.what = "No frame of that mark is in the ledger: it was measured anew, or overwritten.",
            .where = id.text(),
            .mend = "The night's list names its frames as they are now."};
}

Result<MeasuredFrame> find_measured(const ledger::Ledger& ledger, const FrameId& id) {
    const auto night = ledger.night_of(id.fingerprint);
    if (!night) return fail(night.error());
    if (*night) {
        auto frames = ledger.frames_of(**night);
        if (!frames) return fail(frames.error());
        for (photometry::FrameFluxes& fluxes : *frames) {
            if (fluxes.fingerprint == id.fingerprint && fluxes.plane == id.plane)
                return with_measurement(ledger, std::move(fluxes));
        }
    }
    return fail(no_such_frame(id));
}

Result<MeasuredFrame> find_measured(const Workspace& workspace, const ledger::Ledger& ledger,
                                    const std::string& name, const std::string& band) {
    const auto named = find_named(workspace, ledger, name);
    if (!named) return fail(named.error());
    if (named->kind != ledger::SetAside::frame) {
        return fail({.what = fmt::format("'{}' is a {}, no frame.", name, word(named->kind)),
                     .where = workspace.ledger_path(),
                     .mend = "Name a frame by its path, or the end of it: 2024-03-14/V_001.fits.",
                     .kind = ProblemKind::request});
    }
    std::vector<photometry::FrameFluxes> planes;
    const auto read = ledger.for_each_frame([&](const photometry::FrameFluxes& fluxes) {
        if (fluxes.frame == named->key) planes.push_back(fluxes);
        return true;
    });
    if (!read) return fail(read.error());
    std::vector<std::string> bands;
    for (const photometry::FrameFluxes& plane : planes)
        bands.push_back(plane.band.name());
    std::erase_if(planes, [&](const auto& plane) { return !band.empty() && plane.band.name() != band; });
    if (planes.size() == 1) return with_measurement(ledger, std::move(planes.front()));
    return fail({.what = band.empty() ? "The file was measured in several bands."
                                      : fmt::format("The file was not measured in band {}.", band),
                 .where = named->key,
                 .mend = fmt::format("Add --band with one of {}.", fmt::join(bands, ", ")),
                 .kind = ProblemKind::request});
}

Result<frame::Frame> open_with_plate(const Workspace& workspace, const ledger::Ledger& ledger,
                                     const photometry::FrameFluxes& fluxes) {
    const frame::Masters masters = frame::Masters::open(workspace.campaign.master_paths());
    auto frame = open_as_measured(fluxes, workspace, masters);
    if (!frame || fluxes.plate == "header") return frame;
    const auto kept = ledger.plate(fluxes.fingerprint);
    if (!kept) return fail(kept.error());
    if (!*kept) {
        return fail({.what = "The plate solution that the frame was measured with is not in the ledger.",
                     .where = frame->facts().path,
                     .mend = "Measure the frame anew."});
    }
    const auto wcs = frame::Wcs::parse((*kept)->cards);
    if (!wcs) return fail(wcs.error());
    return frame->with_plate(*wcs, {true, (*kept)->stars, (*kept)->rms_arcsec});
}

}  // namespace emberline::tasks
