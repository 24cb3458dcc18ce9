// SPDX-License-Identifier: MIT
#include "tasks/star_course.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <map>
#include <set>
#include <tuple>

namespace emberline::tasks {
namespace {

using BandKey = std::pair<Band, std::string>;  // band, instrument

StarRole role_of(const standard::ComparisonStar& star, const std::string& check) {
    if (star.label == check) return StarRole::check;
    return star.role == standard::Role::comparison ? StarRole::comparison : StarRole::unused;
}

bool before(const BandKey& a, const BandKey& b) {
    return std::tuple(facts(a.first).wavelength_nm, a.first.name(), a.second) <
           std::tuple(facts(b.first).wavelength_nm, b.first.name(), b.second);
}

std::vector<BandKey> bands_of(const night::Solution& solution) {
    std::set<BandKey> seen;
    for (const night::FrameMeasurement& frame : solution.frames)
        seen.emplace(frame.band, frame.instrument);
    std::vector<BandKey> bands(seen.begin(), seen.end());
    std::stable_sort(bands.begin(), bands.end(), before);
    return bands;
}

class Course {
  public:
    Course(const Workspace& workspace, const night::Solution& solution,
           const std::vector<ledger::Exclusion>& exclusions)
        : sequence_(workspace.sequence) {
        add_stars(workspace, bands_of(solution), exclusions);
        for (const night::NightMeasurement& night : solution.nights) {
            for (const std::string& label : night.comparison_labels) {
                if (StarInBand* band = find(label, {night.band, night.instrument})) ++band->used_in_nights;
            }
        }
        for (const night::StarVerdict& verdict : solution.stars) {
            if (StarInBand* band = find(verdict.label, {verdict.band, verdict.instrument}))
                band->verdict = verdict;
        }
        std::set<std::string> nights;
        for (const night::FrameMeasurement& frame : solution.frames) {
            measured_[{frame.fingerprint, frame.plane}] = &frame;
            nights.insert(frame.night);
        }
        out_.nights.assign(nights.begin(), nights.end());
    }

    void add(const photometry::FrameFluxes& fluxes) {
        const auto found = measured_.find({fluxes.fingerprint, fluxes.plane});
        if (found == measured_.end()) return;
        const night::FrameMeasurement& m = *found->second;
        const auto residuals = night::frame_residuals(fluxes, m, sequence_);
        if (residuals.empty()) return;
        const std::size_t place = out_.frames.size();
        out_.frames.push_back({fmt::format("{}-{}", m.fingerprint, m.plane), m.night, m.jd_utc, m.used});
        for (const night::FrameResidual& r : residuals)
            find(r.label, {m.band, m.instrument})->points.push_back({place, r.residual_mag, r.err_mag});
    }

    StarCourses finish() {
        for (StarCourse& star : out_.stars) {
            for (StarInBand& band : star.bands)
                add_nights(band);
        }
        return std::move(out_);
    }

  private:
    void add_stars(const Workspace& workspace, const std::vector<BandKey>& bands,
                   const std::vector<ledger::Exclusion>& exclusions) {
        const std::string check = check_label(workspace);
        for (const standard::ComparisonStar& star : sequence_.stars) {
            StarCourse course{.star = star, .role = role_of(star, check), .set_aside = {}, .bands = {}};
            for (const ledger::Exclusion& e : exclusions) {
                if (e.kind == ledger::SetAside::star && e.key == star.label) course.set_aside = e;
            }
            for (const BandKey& key : bands) {
                const auto catalogue = star.magnitude(sequence_band(key.first));
                if (!catalogue) continue;
                place_[{star.label, key}] = {out_.stars.size(), course.bands.size()};
                course.bands.push_back({.band = key.first,
                                        .instrument = key.second,
                                        .catalogue_mag = *catalogue,
                                        .verdict = {},
                                        .used_in_nights = 0,
                                        .nights = {},
                                        .points = {}});
            }
            out_.stars.push_back(std::move(course));
        }
    }

    StarInBand* find(const std::string& label, const BandKey& band) {
        const auto found = place_.find({label, band});
        if (found == place_.end()) return nullptr;
        return &out_.stars[found->second.first].bands[found->second.second];
    }

    void add_nights(StarInBand& band) const {
        std::map<std::string, std::pair<std::vector<double>, std::vector<double>>> nights;
        for (const StarPoint& point : band.points) {
            const StarFrame& frame = out_.frames[point.frame];
            if (!frame.used) continue;
            auto& [residuals_mag, errs_mag] = nights[frame.night];
            residuals_mag.push_back(point.residual_mag);
            errs_mag.push_back(point.err_mag);
        }
        for (const auto& [night, values] : nights)
            band.nights.push_back({night, night::mean_residual(values.first, values.second)});
    }

    const standard::Sequence& sequence_;
    std::map<std::pair<std::string, int>, const night::FrameMeasurement*> measured_;
    std::map<std::pair<std::string, BandKey>, std::pair<std::size_t, std::size_t>> place_;
    StarCourses out_;
};

}  // namespace

std::string_view word(StarRole role) {
    switch (role) {
        case StarRole::comparison:
            return "comparison";
        case StarRole::check:
            return "check";
        case StarRole::unused:
            break;
    }
    return "unused";
}

const StarCourse* StarCourses::find(std::string_view label) const {
    const auto found = std::find_if(stars.begin(), stars.end(),
                                    [&](const StarCourse& course) { return course.star.label == label; });
    return found == stars.end() ? nullptr : &*found;
}

Result<StarCourses> star_courses(const Workspace& workspace, const ledger::Ledger& ledger) {
    const auto solution = ledger.newest();
    if (!solution) return fail(solution.error());
    const auto exclusions = ledger.exclusions();
    if (!exclusions) return fail(exclusions.error());
    Course course(workspace, *solution, *exclusions);
    const auto read = ledger.for_each_frame([&](const photometry::FrameFluxes& fluxes) {
        course.add(fluxes);
        return true;
    });
    if (!read) return fail(read.error());
    return course.finish();
}

}  // namespace emberline::tasks
