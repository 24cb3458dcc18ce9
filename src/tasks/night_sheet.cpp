// SPDX-License-Identifier: MIT
#include "tasks/night_sheet.hpp"

#include <fmt/format.h>
#include <fmt/ranges.h>

#include <algorithm>
#include <filesystem>
#include <set>

#include "quantities/delimited_table.hpp"
#include "quantities/text.hpp"
#include "sky/time_scales.hpp"
#include "tasks/curve.hpp"
#include "tasks/curve_parts.hpp"
#include "tasks/night_sheet_parts.hpp"

namespace emberline::tasks {
namespace {

constexpr std::size_t most_nights_named = 12;

Result<NightInLedger> read_night(const ledger::Ledger& ledger, const Workspace& workspace,
                                 const std::optional<std::string>& wanted) {
    NightInLedger out;
    auto solution = ledger.newest();
    if (!solution) return fail(solution.error());
    out.solution = std::move(*solution);
    std::set<std::string> known;
    for (const night::FrameMeasurement& frame : out.solution.frames)
        known.insert(frame.night);
    if (known.empty()) {
        return fail({.what = "No night has been measured yet.",
                     .where = workspace.ledger_path(),
                     .mend = "Measure frames first: `emberline measure FRAMES`."});
    }
    out.night = wanted.value_or(*known.rbegin());
    if (!known.contains(out.night)) {
        std::vector<std::string> named(known.begin(), known.end());
        const bool many = named.size() > most_nights_named;
        if (many) named.erase(named.begin(), named.end() - most_nights_named);
        return fail({.what = fmt::format("No frame of the night of {} was measured.", out.night),
                     .where = workspace.ledger_path(),
                     .mend = fmt::format("The nights are {}{}.", many ? "… " : "", fmt::join(named, ", ")),
                     .kind = ProblemKind::request});
    }
    auto frames = ledger.frames_of(out.night);
    if (!frames) return fail(frames.error());
    out.frames = std::move(*frames);
    out.judged = night::judge_nights(out.frames, out.solution);
    auto exclusions = ledger.exclusions();
    if (!exclusions) return fail(exclusions.error());
    out.exclusions = std::move(*exclusions);
    return out;
}

// The whole campaign's, and what each band fades by.
void add_curve(const Workspace& workspace, int threads, picture::NightSheet& sheet,
               std::vector<std::string>& remarks) {
    CurveRequest request;
    request.campaign_folder = workspace.campaign.folder;
    request.draw = false;
    request.threads = threads;
    const auto outcome = curve(request);
    if (!outcome) {
        remarks.push_back("There is no light curve: " + outcome.error().what);
        return;
    }
    sheet.curve = curve_on_paper(*outcome);
    for (picture::SheetBand& band : sheet.bands) {
        for (const BandCurve& one : outcome->bands) {
            if (one.curve.band == band.measured.band && one.analysis.decline)
                band.fades_mag_per_day = one.analysis.decline->mag_per_day;
        }
    }
}

Result<std::vector<picture::SheetLine>> provenance_of(const ledger::Ledger& ledger,
                                                      const NightInLedger& night,
                                                      const Workspace& workspace) {
    const auto last = ledger.last_provenance();
    if (!last) return fail(last.error());
    const auto solutions = ledger.solutions();
    if (!solutions) return fail(solutions.error());
    std::vector<picture::SheetLine> lines;
    lines.push_back({"software", software});
    if (*last && (*last)->software != software) lines.push_back({"measured by", (*last)->software});
    lines.push_back({"made", sky::iso(sky::now(), 0)});
    lines.push_back(
        {"ledger", fmt::format("solution {} of campaign.ledger, schema {}: {} frames of {} nights",
                               *solutions, ledger::schema_version, night.solution.frames.size(), [&] {
                                   std::set<std::string> nights;
                                   for (const auto& frame : night.solution.frames)
                                       nights.insert(frame.night);
                                   return nights.size();
                               }())});
    const night::Campaign& campaign = workspace.campaign;
    lines.push_back(
        {"sequence", fmt::format("{}, {} stars{}", campaign.catalog, workspace.sequence.stars.size(),
                                 campaign.chart.empty() ? "" : fmt::format("; chart {}", campaign.chart))});
    return lines;
}

struct Files {
    std::string html, pdf;  // empty: not asked for
};

Result<Files> files_of(const Workspace& workspace, const NightSheetRequest& request,
                       const std::string& night) {
    std::string file = request.file;
    if (file.empty()) {
        if (auto made = make_out_folder(workspace); !made) return fail(made.error());
        file = workspace.out_path(fmt::format("night_{}.html", night));
    }
    std::filesystem::path path(file);
    const std::string ending = lower_case(path.extension().string());
    if (ending == ".pdf") return Files{{}, file};
    if (ending != ".html" && ending != ".htm") {
        return fail({.what = "A night's page is HTML or PDF.",
                     .where = file,
                     .mend = "End the file name in .html or .pdf.",
                     .kind = ProblemKind::request});
    }
    return Files{file, request.pdf ? path.replace_extension(".pdf").string() : std::string()};
}

}  // namespace

Result<NightSheetOutcome> night_sheet(const Workspace& workspace, const NightSheetRequest& request) {
    const auto ledger = ledger::Ledger::open(workspace.ledger_path(), ledger::Ledger::Access::read);
    if (!ledger) return fail(ledger.error());
    const auto night = read_night(*ledger, workspace, request.night);
    if (!night) return fail(night.error());
    const auto files = files_of(workspace, request, night->night);
    if (!files) return fail(files.error());
    NightSheetOutcome outcome{.night = night->night, .files = {}, .remarks = {}};

    const night::Campaign& campaign = workspace.campaign;
    picture::NightSheet sheet;
    sheet.title = campaign.name;
    sheet.night = night->night;
    sheet.observer = campaign.observer_name.empty() || campaign.observer_code.empty()
                         ? campaign.observer_name + campaign.observer_code
                         : fmt::format("{} ({})", campaign.observer_name, campaign.observer_code);
    sheet.limit_sigma = campaign.measure.limit_sigma;
    sheet.bands = sheet_bands(*night, workspace);
    sheet.frames = sheet_frames(*night);
    add_curve(workspace, request.threads, sheet, outcome.remarks);
    SheetFinder finder = sheet_finder(*night, sheet.bands, workspace);
    if (finder.gone) outcome.remarks.push_back(finder.words);
    sheet.finder = std::move(finder.image);
    sheet.finder_words = std::move(finder.words);
    sheet.place = sheet_place(*night, workspace);
    sheet.settings = sheet_settings(*night, workspace);
    auto provenance = provenance_of(*ledger, *night, workspace);
    if (!provenance) return fail(provenance.error());
    sheet.provenance = std::move(*provenance);
    sheet.remarks = night->judged.remarks;

    if (!files->html.empty()) {
        if (auto good = write_text_file(files->html, picture::night_sheet_html(sheet)); !good)
            return fail(good.error());
        outcome.files.push_back(files->html);
    }
    if (!files->pdf.empty()) {
        if (auto good = picture::draw_night_sheet(sheet, files->pdf); !good) return fail(good.error());
        outcome.files.push_back(files->pdf);
    }
    return outcome;
}

}  // namespace emberline::tasks
