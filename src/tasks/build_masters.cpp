// SPDX-License-Identifier: MIT
#include "tasks/build_masters.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <filesystem>
#include <limits>
#include <tuple>

#include "frame/calibration_sets.hpp"
#include "frame/write_defects.hpp"
#include "night/campaign.hpp"
#include "tasks/find_files.hpp"
#include "tasks/name_masters.hpp"

namespace emberline::tasks {
namespace {

namespace fs = std::filesystem;
using frame::CalibrationFrame;
using frame::CalibrationSet;
using frame::FrameKind;

constexpr double longest_dark_share = 0.5;   // hot pixels from darks at least half as long as the longest
constexpr double most_defects_share = 0.05;  // more are a sensor's nature, and no map helps

// A bias or dark that flats may have taken off.
struct Pedestal {
    std::string path;
    FrameKind kind = FrameKind::bias;
    CalibrationFrame like;
    double exposure_s = 0.0;
};

// The dark as long as the flat, else a bias, else a short dark for a short flat.
const Pedestal* pedestal_for(const CalibrationFrame& flat, const std::vector<Pedestal>& all) {
    const double exposure = flat.facts.exposure_s ? flat.facts.exposure_s->value : 0.0;
    const Pedestal* best = nullptr;
    double best_rank = std::numeric_limits<double>::infinity();
    for (const Pedestal& one : all) {
        if (!same_setting(one.like, flat)) continue;
        const bool dark = one.kind == FrameKind::dark;
        double rank = 1.0;
        if (dark && frame::same_exposure(one.exposure_s, exposure))
            rank = 0.0;
        else if (dark && one.exposure_s <= longest_as_bias_s && exposure <= longest_as_bias_s)
            rank = 2.0 + std::abs(one.exposure_s - exposure);
        else if (dark)
            continue;
        if (rank < best_rank) {
            best = &one;
            best_rank = rank;
        }
    }
    return best;
}

Problem exists(const std::string& path) {
    return {.what = "There is a file of that name already.",
            .where = path,
            .mend = "Name another folder with --output, or say --replace.",
            .kind = ProblemKind::request};
}

struct Sensor {  // defects of one format of pictures
    CalibrationFrame like;
    std::string map;  // the file of them
    double longest_s = 0.0;
    std::vector<std::pair<double, std::vector<frame::Defect>>> found;  // exposure of the dark; −1: others
};

class Work {
  public:
    explicit Work(const MastersRequest& request) : request_(request) {}

    Result<MastersOutcome> run() {
        if (auto good = open_campaign(); !good) return fail(good.error());
        const auto files = find_frame_files(request_.places, out_.folder);
        if (!files) return fail(files.error());
        sorted_ = frame::sort_calibration(*files, instruments_);
        out_.left_out = std::move(sorted_.left_out);
        out_.lights = std::move(sorted_.lights);
        out_.made_before = std::move(sorted_.made);
        names_ = frame_paths();
        name_maps();
        if (auto good = check_output(); !good) return fail(good.error());
        for (std::size_t i = 0; i < sorted_.sets.size(); ++i) {
            if (auto good = build(i); !good) return fail(good.error());
        }
        if (auto good = map_defects(); !good) return fail(good.error());
        remark_darks();
        if (!out_.masters.empty()) out_.settings = masters_settings(out_, request_.campaign);
        return std::move(out_);
    }

  private:
    Result<void> open_campaign() {
        std::error_code error;
        const bool there = fs::exists(fs::path(request_.campaign) / "campaign.toml", error);
        if (there) {
            auto campaign = night::read_campaign(request_.campaign);
            if (!campaign) return fail(campaign.error());
            instruments_ = campaign->instruments;
        }
        const fs::path beside = there ? fs::path(request_.campaign) : fs::path(".");
        out_.folder =
            request_.output.empty() ? (beside / "masters").lexically_normal().string() : request_.output;
        return {};
    }

    [[nodiscard]] std::vector<std::string> frame_paths() const {
        std::vector<std::string> paths = master_names(sorted_.sets);
        for (std::string& path : paths)
            path = (fs::path(out_.folder) / path).string();
        return paths;
    }

    // Before hours of work, not after.
    Result<void> check_output() {
        if (sorted_.sets.empty()) return {};
        std::error_code error;
        if (!request_.replace) {
            std::vector<std::string> paths = names_;
            for (const Sensor& sensor : sensors_)
                paths.push_back(sensor.map);
            for (const std::string& path : paths) {
                if (fs::exists(path, error)) return fail(exists(path));
            }
        }
        fs::create_directories(out_.folder, error);
        if (error) {
            return fail({.what = fmt::format("The folder cannot be made: {}.", error.message()),
                         .where = out_.folder,
                         .mend = "Check the permissions there, or name another with --output.",
                         .kind = ProblemKind::storage});
        }
        return {};
    }

    [[nodiscard]] std::vector<Pedestal> pedestals_before() const {
        std::vector<Pedestal> out;
        std::error_code error;
        std::vector<fs::path> files;
        for (fs::directory_iterator it(out_.folder, error), end; !error && it != end; it.increment(error)) {
            if (it->path().extension() == ".fits") files.push_back(it->path());
        }
        std::sort(files.begin(), files.end());
        for (const fs::path& file : files) {
            if (std::find(names_.begin(), names_.end(), file.string()) != names_.end()) continue;
            auto like = frame::read_calibration_frame(file.string(), instruments_);
            if (!like || !like->made || !like->kind) continue;
            if (*like->kind != FrameKind::bias && *like->kind != FrameKind::dark) continue;
            const double exposure = like->facts.exposure_s ? like->facts.exposure_s->value : 0.0;
            out.push_back({file.string(), *like->kind, std::move(*like), exposure});
        }
        return out;
    }

    void add_pedestals(const CalibrationSet& set, frame::MasterPlan& plan, MasterMade& made) {
        if (!looked_before_) before_ = pedestals_before();
        looked_before_ = true;
        bool without = false;
        for (std::size_t f = 0; f < set.frames.size(); ++f) {
            const CalibrationFrame& one = set.frames[f];
            if (one.facts.calibrated) continue;  // has its bias off already
            const Pedestal* pedestal = pedestal_for(one, pedestals_);
            if (pedestal == nullptr) pedestal = pedestal_for(one, before_);
            if (pedestal == nullptr) {
                without = true;
                continue;
            }
            auto known = std::find(plan.pedestals.begin(), plan.pedestals.end(), pedestal->path);
            if (known == plan.pedestals.end()) known = plan.pedestals.insert(known, pedestal->path);
            plan.frames[f].pedestal = static_cast<int>(known - plan.pedestals.begin());
        }
        for (const std::string& path : plan.pedestals)
            made.pedestal += (made.pedestal.empty() ? "" : ", ") + path;
        if (without) {
            out_.remarks.push_back(fmt::format(
                "{}: neither bias nor dark was there to take off: what is darker in the flat is too "
                "bright in it by the bias's share. Take biases, or darks as long as the flats.",
                plan.output));
        }
    }

    Result<void> build(std::size_t number) {
        const CalibrationSet& set = sorted_.sets[number];
        const CalibrationFrame& first = set.first();
        frame::MasterPlan plan;
        plan.kind = set.kind;
        plan.output = names_[number];
        plan.width_px = first.facts.width_px;
        plan.height_px = first.facts.height_px;
        plan.mosaic = first.facts.pattern.has_value();
        if (first.facts.saturation_adu) plan.saturation_adu = first.facts.saturation_adu->value;
        if (first.facts.gain_e_per_adu) plan.gain_e_per_adu = first.facts.gain_e_per_adu->value;
        plan.cards = cards_of(set);
        plan.memory_bytes = request_.memory_bytes;
        plan.threads = request_.threads;
        for (const CalibrationFrame& one : set.frames)
            plan.frames.push_back(
                {one.facts.path, -1, one.facts.exposure_s ? one.facts.exposure_s->value : 0.0});
        if (request_.progress) {
            const std::size_t sets = sorted_.sets.size();
            plan.progress = [this, number, sets](std::size_t done, std::size_t of) {
                request_.progress(number * 100 + 100 * done / std::max<std::size_t>(of, 1), sets * 100);
            };
        }
        MasterMade made;
        if (set.kind == FrameKind::flat) add_pedestals(set, plan, made);
        auto built = frame::build_master(plan);
        if (!built) return fail(built.error());
        out_.left_out.insert(out_.left_out.end(), built->left_out.begin(), built->left_out.end());
        if (built->used.empty()) return {};
        keep(set, std::move(*built), std::move(made));
        return {};
    }

    [[nodiscard]] static std::vector<frame::Card> cards_of(const CalibrationSet& set) {
        std::vector<frame::Card> cards = set.first().kept;
        if (const auto t = set.temperature_c())
            cards.push_back({"CCD-TEMP", fmt::format("{:.2f}", *t), "[C] mean of the frames", false});
        return cards;
    }

    void keep(const CalibrationSet& set, frame::BuiltMaster built, MasterMade made) {
        const CalibrationFrame& first = set.first();
        made.path = built.path;
        made.kind = set.kind;
        if (first.facts.filter) made.filter = first.facts.filter->value;
        if (first.facts.band && !first.facts.pattern) made.band = first.facts.band->value.name();
        made.frames = built.used.size();
        made.refused = built.left_out.size();
        made.exposure_s = set.exposure_s().value_or(0.0);
        made.for_flats = set.kind == FrameKind::dark && serves_flats(set);
        made.temperature_c = set.temperature_c();
        if (first.facts.gain_setting) made.gain_setting = first.facts.gain_setting->value;
        made.level_adu = built.level_adu;
        made.scatter_adu = built.scatter_adu;
        made.clipped_share = built.clipped_share;
        made.pixel_err = built.pixel_err;
        if (made.frames == 1) {
            out_.remarks.push_back(fmt::format(
                "{} is one frame alone: its hits stay in it, and its noise goes into every frame.",
                made.path));
        }
        if (set.kind != FrameKind::flat) pedestals_.push_back({made.path, set.kind, first, made.exposure_s});
        const double pixels = static_cast<double>(first.facts.width_px) * first.facts.height_px;
        if (static_cast<double>(built.defects.size()) > most_defects_share * pixels) {
            out_.remarks.push_back(fmt::format(
                "{}: {} of its pixels stand out, too many for a map of defects; they are not in it.",
                made.path, built.defects.size()));
        } else {
            note_defects(set, made, std::move(built.defects));
        }
        out_.masters.push_back(std::move(made));
    }

    [[nodiscard]] bool serves_flats(const CalibrationSet& dark) const {
        return std::any_of(sorted_.sets.begin(), sorted_.sets.end(), [&](const CalibrationSet& set) {
            const auto exposure = set.exposure_s();
            return set.kind == FrameKind::flat && exposure && same_setting(set.first(), dark.first()) &&
                   frame::same_exposure(*exposure, *dark.exposure_s());
        });
    }

    std::vector<Sensor>::iterator sensor_of(const CalibrationFrame& frame) {
        const auto form = [](const CalibrationFrame& f) {
            return std::tuple(f.facts.width_px, f.facts.height_px, f.left_px, f.bottom_px,
                              f.facts.binning ? f.facts.binning->value : 1);
        };
        return std::find_if(sensors_.begin(), sensors_.end(),
                            [&](const Sensor& s) { return form(s.like) == form(frame); });
    }

    void name_maps() {
        for (const CalibrationSet& set : sorted_.sets) {
            if (sensor_of(set.first()) == sensors_.end()) sensors_.push_back({set.first(), {}, 0.0, {}});
        }
        for (Sensor& sensor : sensors_)
            sensor.map = map_path(sensor.like.facts);
    }

    void note_defects(const CalibrationSet& set, const MasterMade& made, std::vector<frame::Defect> defects) {
        const auto sensor = sensor_of(set.first());
        const bool dark = set.kind == FrameKind::dark;
        if (dark) sensor->longest_s = std::max(sensor->longest_s, made.exposure_s);
        sensor->found.emplace_back(dark ? made.exposure_s : -1.0, std::move(defects));
    }

    // Hot is what is hot in the long darks: that of a second's dark would be in them too.
    Result<void> map_defects() {
        for (Sensor& sensor : sensors_) {
            if (sensor.found.empty()) continue;
            std::vector<frame::Defect> all;
            for (auto& [exposure_s, some] : sensor.found) {
                if (exposure_s >= 0.0 && exposure_s < longest_dark_share * sensor.longest_s) continue;
                all.insert(all.end(), some.begin(), some.end());
            }
            all = frame::joined(std::move(all));
            DefectMapMade made;
            made.width_px = sensor.like.facts.width_px;
            made.height_px = sensor.like.facts.height_px;
            made.path = sensor.map;
            if (auto good =
                    frame::write_defects(made.path, made.width_px, made.height_px, all, sensor.like.kept);
                !good)
                return fail(good.error());
            for (const frame::Defect& d : all) {
                made.hot += (d.bits & frame::defect_hot) != 0 ? 1 : 0;
                made.dead += (d.bits & frame::defect_dead) != 0 ? 1 : 0;
                made.unstable += (d.bits & frame::defect_unstable) != 0 ? 1 : 0;
            }
            out_.defects.push_back(made);
        }
        return {};
    }

    [[nodiscard]] std::string map_path(const frame::FrameFacts& facts) const {
        std::string name = "defects";
        if (sensors_.size() > 1) name += fmt::format("_{}x{}", facts.width_px, facts.height_px);
        const auto taken = [&](const std::string& path) {
            return std::any_of(sensors_.begin(), sensors_.end(),
                               [&](const Sensor& other) { return other.map == path; });
        };
        const auto whole = [&](const std::string& n) {
            return (fs::path(out_.folder) / (n + ".fits")).string();
        };
        std::string path = whole(name);
        for (int k = 2; taken(path); ++k)
            path = whole(fmt::format("{}_{}", name, k));
        return path;
    }

    void remark_darks() {
        const bool flats = std::any_of(out_.masters.begin(), out_.masters.end(),
                                       [](const MasterMade& m) { return m.kind == FrameKind::flat; });
        const bool darks = std::any_of(out_.masters.begin(), out_.masters.end(),
                                       [](const MasterMade& m) { return m.kind == FrameKind::dark; });
        if (flats && !darks) {
            out_.remarks.emplace_back("There are no darks: hot pixels stay unknown.");
        }
        double longest_s = 0.0;
        for (const MasterMade& made : out_.masters)
            longest_s = std::max(longest_s, made.kind == FrameKind::dark ? made.exposure_s : 0.0);
        if (darks && longest_s <= longest_as_bias_s) {
            out_.remarks.push_back(fmt::format(
                "The longest dark has {:g} s: pixels that are hot in longer exposures stay unknown.",
                longest_s));
        }
    }

    const MastersRequest& request_;
    MastersOutcome out_;
    std::vector<frame::Instrument> instruments_;
    frame::SortedCalibration sorted_;
    std::vector<std::string> names_;
    std::vector<Pedestal> pedestals_, before_;
    bool looked_before_ = false;
    std::vector<Sensor> sensors_;
};

}  // namespace

Result<MastersOutcome> build_masters(const MastersRequest& request) {
    return Work(request).run();
}

}  // namespace emberline::tasks
