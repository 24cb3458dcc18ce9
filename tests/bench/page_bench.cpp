// SPDX-License-Identifier: MIT
// How soon the page's first view can be there: the campaign and its newest night, of a ledger of 1000 nights
// of 100 frames, opened anew by each. The frames are those of a small rehearsal, measured, and multiplied.
//   emberline_page_bench [NIGHTS [FRAMES [FOLDER to keep]]]
#include <fmt/format.h>

#include <unistd.h>

#include <chrono>
#include <cstdlib>
#include <ctime>
#include <filesystem>
#include <functional>
#include <nlohmann/json.hpp>

#include "bench.hpp"
#include "page/route.hpp"
#include "page/session.hpp"
#include "rehearsal/rehearse.hpp"
#include "sky/time_scales.hpp"
#include "tasks/measure.hpp"

using namespace emberline;

namespace {

using emberline::bench::must;

struct Taken {
    double wall_s = 0.0, processor_s = 0.0;  // the second is the first on an idle machine
};
Taken taken_by(const std::function<void()>& work) {
    const auto start = std::chrono::steady_clock::now();
    const std::clock_t busy = std::clock();
    work();
    return {std::chrono::duration<double>(std::chrono::steady_clock::now() - start).count(),
            static_cast<double>(std::clock() - busy) / CLOCKS_PER_SEC};
}

// Night n of the campaign, its frames each from one of the example's.
struct Multiplied {
    std::vector<photometry::FrameFluxes> examples;
    ledger::Solution solution;

    [[nodiscard]] std::string date(int n) const {
        return sky::iso_date(sky::from_jd(2459000.0 + n, TimeScale::utc));
    }

    std::vector<photometry::FrameFluxes> fluxes(int n, int frames) const {
        std::vector<photometry::FrameFluxes> night;
        for (int i = 0; i < frames; ++i) {
            photometry::FrameFluxes f = examples[static_cast<std::size_t>(i) % examples.size()];
            f.night = date(n);
            f.frame = fmt::format("frames/{}/{:03}.fits", f.night, i);
            f.fingerprint = fmt::format("{:032x}{:032x}", n, i);
            f.mid_exposure = sky::from_jd(2459000.4 + n, i * 60.0 / 86400.0, TimeScale::utc);
            night.push_back(std::move(f));
        }
        return night;
    }

    void add_to(ledger::Solution& all, int n, const std::vector<photometry::FrameFluxes>& night) const {
        for (std::size_t i = 0; i < night.size(); ++i) {
            night::FrameMeasurement m = solution.frames[i % solution.frames.size()];
            m.night = night[i].night;
            m.frame = night[i].frame;
            m.fingerprint = night[i].fingerprint;
            m.jd_utc = night[i].mid_exposure.jd();
            all.frames.push_back(std::move(m));
        }
        for (night::NightMeasurement m : solution.nights) {
            m.night = date(n);
            m.jd_utc += n;
            m.n_frames = static_cast<int>(night.size() / solution.nights.size());
            all.nights.push_back(std::move(m));
        }
    }
};

void fill(const tasks::Workspace& workspace, int nights, int frames) {
    auto ledger = must(ledger::Ledger::open(workspace.ledger_path(), ledger::Ledger::Access::write));
    const Multiplied example{must(ledger.frames()), must(ledger.newest())};
    ledger::Solution all;
    all.stars = example.solution.stars;
    for (int n = 0; n < nights; ++n) {
        const auto night = example.fluxes(n, frames);
        must(ledger.record(night, workspace.provenance()));
        example.add_to(all, n, night);
    }
    must(ledger.store(all, workspace.provenance()));
}

page::Answer asked(page::Session& session, const std::string& path) {
    for (const page::Route& route : page::campaign_routes()) {
        if (auto parts = page::match(route.pattern, path)) {
            page::Query query;
            query.path = std::move(*parts);
            return must(route.handle(session, query));
        }
    }
    std::exit(1);
}

}  // namespace

int main(int argc, char** argv) {
    const int nights = argc > 1 ? std::atoi(argv[1]) : 1000;
    const int frames = argc > 2 ? std::atoi(argv[2]) : 100;
    // A folder that is named stays, to be looked at in a browser.
    const bool keep = argc > 3;
    const auto folder =
        keep ? std::filesystem::path(argv[3])
             : std::filesystem::temp_directory_path() / fmt::format("emberline_page_bench_{}", ::getpid());
    rehearsal::RehearsalOptions options;
    options.nights = 1;
    options.frames = 4;
    options.bands = {"B", "V"};
    options.width_px = 420;
    options.height_px = 360;
    must(rehearsal::rehearse(folder.string(), options));
    const auto workspace = must(tasks::open_workspace(folder.string()));
    must(tasks::measure(workspace, {}));
    const double filling_s = taken_by([&] { fill(workspace, nights, frames); }).wall_s;
    fmt::print("{} nights of {} frames: filled in {:.1f} s, {:.0f} MB\n", nights, frames, filling_s,
               static_cast<double>(std::filesystem::file_size(workspace.ledger_path())) / 1e6);
    for (int run = 0; run < 5; ++run) {
        page::Session session({.campaign_folder = folder.string()});
        std::size_t bytes = 0;
        const Taken own = taken_by([&] { bytes = asked(session, "/api/campaign").body.size(); });
        std::size_t night_bytes = 0;
        const Taken newest =
            taken_by([&] { night_bytes = asked(session, "/api/nights/newest").body.size(); });
        fmt::print(
            "campaign {:.1f} ms ({} kB), newest night {:.1f} ms ({} kB), together {:.1f} ms, of the "
            "processor {:.1f} + {:.1f} ms\n",
            1e3 * own.wall_s, bytes / 1000, 1e3 * newest.wall_s, night_bytes / 1000,
            1e3 * (own.wall_s + newest.wall_s), 1e3 * own.processor_s, 1e3 * newest.processor_s);
    }
    std::error_code error;
    if (!keep) std::filesystem::remove_all(folder, error);
    return 0;
}
