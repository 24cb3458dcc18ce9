// SPDX-License-Identifier: MIT
#include "frame/build_master.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <memory>
#include <new>
#include <numeric>
#include <optional>
#include <utility>

#include "frame/find_defects.hpp"
#include "frame/frame_levels.hpp"
#include "frame/frame_rows.hpp"
#include "frame/row_writer.hpp"
#include "numerics/clip_columns.hpp"
#include "numerics/robust.hpp"
#include "numerics/share_out.hpp"

namespace emberline::frame {
namespace {

constexpr std::size_t part_mean = 0, part_variance = 1, part_used = 2;
// Of the memory allowed, what strips of pixels may take: the rest is for the sample, files and bytes.
constexpr double share_for_strips = 0.7;

const char* type_word(FrameKind kind) {
    switch (kind) {
        case FrameKind::bias:
            return "Master Bias";
        case FrameKind::flat:
            return "Master Flat";
        default:
            return "Master Dark";
    }
}

// A name of any length, on as many cards as it takes.
void add_history(std::vector<Card>& cards, const std::string& line) {
    constexpr std::size_t room = 70;
    for (std::size_t at = 0; at < line.size(); at += room)
        cards.push_back({"HISTORY", "", (at > 0 ? "  " : "") + line.substr(at, room), false});
}

std::string file_name(const std::string& path) {
    const std::size_t slash = path.find_last_of('/');
    return slash == std::string::npos ? path : path.substr(slash + 1);
}

struct Strip {
    int y = 0, rows = 0;
    std::vector<std::vector<unsigned char>> frames;  // as FrameRows takes them
    std::vector<std::vector<float>> pedestals;
    std::vector<float> mean, variance, used;
};

// So many columns are unpacked at a time, of every frame: they stay in a processor's cache.
constexpr std::size_t stretch_px = 512;

class Builder {
  public:
    Builder(const MasterPlan& plan, BuiltMaster& out) : plan_(plan), out_(out) {}

    Result<void> run() {
        if (auto good = choose(); !good) return good;
        while (!frames_.empty()) {
            std::vector<std::optional<Problem>> spoilt(frames_.size());
            if (auto good = combine(spoilt); !good) return good;
            if (std::none_of(spoilt.begin(), spoilt.end(), [](const auto& p) { return p.has_value(); }))
                break;
            // Rows that were done hold what cannot be read any more: all again without it. Every file is
            // looked through now, so that this happens once.
            look_through(spoilt);
            drop(spoilt);
        }
        return {};
    }

  private:
    struct Member {
        std::string path;
        int pedestal = -1;
        double exposure_s = 0.0;
        std::array<float, 4> scale{1.0F, 1.0F, 1.0F, 1.0F};
    };

    Result<void> choose() {
        std::vector<std::string> paths;
        for (const MasterInput& frame : plan_.frames)
            paths.push_back(frame.path);
        FrameRows frames(std::move(paths), plan_.width_px, plan_.height_px);
        FrameRows pedestals(plan_.pedestals, plan_.width_px, plan_.height_px);
        auto sample = sample_pixels(frames, pedestals, plan_.threads, out_.left_out);
        if (!sample) return fail(sample.error());
        frame_bytes_ = frames.pixel_bytes();
        const FrameLevels levels = judge_levels(*sample, plan_, out_.left_out);
        typical_ = levels.typical;
        common_ = levels.common;
        for (std::size_t f = 0; f < plan_.frames.size(); ++f) {
            if (sample->adu[f].empty()) continue;
            Member member{plan_.frames[f].path, plan_.frames[f].pedestal, plan_.frames[f].exposure_s, {}};
            for (std::size_t p = 0; p < 4; ++p)
                member.scale[p] = flat() ? static_cast<float>(common_[p] / levels.level[f][p]) : 1.0F;
            frames_.push_back(std::move(member));
        }
        out_.level_adu = 0.25 * std::accumulate(common_.begin(), common_.end(), 0.0);
        out_.scatter_adu = 0.25 * std::accumulate(typical_.begin(), typical_.end(), 0.0);
        return {};
    }

    [[nodiscard]] bool flat() const { return plan_.kind == FrameKind::flat; }
    [[nodiscard]] std::size_t width() const { return static_cast<std::size_t>(plan_.width_px); }

    [[nodiscard]] int rows_at_a_time() const {
        const std::size_t pixel_bytes = frame_bytes_ + (plan_.pedestals.size() + 4) * sizeof(float);
        const auto row_bytes = static_cast<double>(pixel_bytes * width());
        const double rows = share_for_strips * static_cast<double>(plan_.memory_bytes) / row_bytes;
        return static_cast<int>(std::clamp(rows, 1.0, static_cast<double>(plan_.height_px)));
    }

    Result<void> combine(std::vector<std::optional<Problem>>& spoilt) {
        auto created = RowWriter::create(plan_.output, plan_.width_px, plan_.height_px, parts());
        if (!created) return fail(created.error());
        writer_ = *created;
        std::vector<std::string> paths;
        for (const Member& member : frames_)
            paths.push_back(member.path);
        FrameRows rows(std::move(paths), plan_.width_px, plan_.height_px);
        FrameRows pedestals(plan_.pedestals, plan_.width_px, plan_.height_px);
        sums_ = {};
        counts_ = {};
        clipped_ = 0;
        Strip strip;
        strip.frames.resize(frames_.size());
        strip.pedestals.resize(plan_.pedestals.size());
        const int at_a_time = rows_at_a_time();
        for (int y = 0; y < plan_.height_px; y += at_a_time) {
            strip.y = y;
            strip.rows = std::min(at_a_time, plan_.height_px - y);
            if (auto good = read(strip, rows, pedestals, spoilt); !good) return good;
            if (std::any_of(spoilt.begin(), spoilt.end(), [](const auto& p) { return p.has_value(); }))
                return {};
            average(strip, rows);
            if (auto good = write(strip); !good) return good;
            if (plan_.progress)
                plan_.progress(static_cast<std::size_t>(y + strip.rows),
                               static_cast<std::size_t>(plan_.height_px));
        }
        return finish();
    }

    Result<void> read(Strip& strip, FrameRows& rows, FrameRows& pedestals,
                      std::vector<std::optional<Problem>>& spoilt) const {
        const std::size_t n = static_cast<std::size_t>(strip.rows) * width();
        for (std::size_t i = 0; i < strip.pedestals.size(); ++i) {
            strip.pedestals[i].resize(n);
            if (auto good = pedestals.read(i, strip.y, strip.rows, strip.pedestals[i].data()); !good)
                return good;
        }
        numerics::share_out(frames_.size(), plan_.threads, [&](std::size_t f) {
            if (auto good = rows.take(f, strip.y, strip.rows, strip.frames[f]); !good)
                spoilt[f] = good.error();
        });
        return {};
    }

    // A flat less its bias, at the common level; pixels at the end of the range are no measurement.
    void scale(const Strip& strip, std::size_t f, std::size_t from, std::size_t n, float* adu) const {
        const Member& member = frames_[f];
        const float* const off =
            member.pedestal < 0 ? nullptr
                                : strip.pedestals[static_cast<std::size_t>(member.pedestal)].data() + from;
        const auto full = static_cast<float>(plan_.saturation_adu);
        const std::size_t phase = 2 * ((static_cast<std::size_t>(strip.y) + from / width()) & 1U);
        const std::size_t first = from % width();
        for (std::size_t x = 0; x < n; ++x) {
            const float level = off == nullptr ? adu[x] : adu[x] - off[x];
            adu[x] = adu[x] >= full ? std::numeric_limits<float>::quiet_NaN()
                                    : level * member.scale[phase + ((first + x) & 1U)];
        }
    }

    void average(Strip& strip, const FrameRows& rows) {
        const std::size_t n = static_cast<std::size_t>(strip.rows) * width();
        strip.mean.resize(n);
        strip.variance.resize(n);
        strip.used.resize(n);
        numerics::share_out(static_cast<std::size_t>(strip.rows), plan_.threads,
                            [&](std::size_t r) { average_row(strip, rows, r); });
        for (std::size_t i = 0; i < n; ++i)
            clipped_ += frames_.size() - static_cast<std::size_t>(strip.used[i]);
    }

    void average_row(Strip& strip, const FrameRows& rows, std::size_t r) const {
        const std::size_t phase = 2 * ((static_cast<std::size_t>(strip.y) + r) & 1U);
        const numerics::ColumnClip clip{plan_.kappa, {typical_[phase], typical_[phase + 1]}};
        std::vector<float> unpacked(frames_.size() * stretch_px);
        std::vector<const float*> starts;
        for (std::size_t f = 0; f < frames_.size(); ++f)
            starts.push_back(unpacked.data() + f * stretch_px);
        numerics::ClippedRow row;
        for (std::size_t x0 = 0; x0 < width(); x0 += stretch_px) {
            const std::size_t from = r * width() + x0, n = std::min(stretch_px, width() - x0);
            for (std::size_t f = 0; f < frames_.size(); ++f) {
                float* const adu = unpacked.data() + f * stretch_px;
                rows.unpack(f, strip.frames[f], from, n, adu);
                if (flat()) scale(strip, f, from, n, adu);
            }
            numerics::clip_columns(starts, n, clip, row);
            for (std::size_t x = 0; x < n; ++x)
                keep(strip, from + x, row, x, clip.typical[x & 1U]);
        }
    }

    static void keep(Strip& strip, std::size_t at, const numerics::ClippedRow& row, std::size_t x,
                     double typical) {
        const double used = row.used[x];
        const double filled = std::max(0.0, frames_of_own_scatter - used),
                     freedom = std::max(0.0, used - 1.0);
        const double one = (filled * typical * typical + freedom * static_cast<double>(row.variance[x])) /
                           (filled + freedom);
        strip.mean[at] = row.mean[x];
        strip.variance[at] =
            used > 0.0 ? static_cast<float>(one / used) : std::numeric_limits<float>::quiet_NaN();
        strip.used[at] = row.used[x];
    }

    Result<void> write(const Strip& strip) {
        for (int r = 0; r < strip.rows; ++r) {
            const std::size_t phase = 2 * static_cast<std::size_t>((strip.y + r) & 1);
            for (std::size_t x = 0; x < width(); ++x) {
                const float v = strip.mean[static_cast<std::size_t>(r) * width() + x];
                if (!std::isfinite(v)) continue;
                sums_[phase + (x & 1U)] += static_cast<double>(v);
                ++counts_[phase + (x & 1U)];
            }
        }
        if (auto good = writer_->write(part_mean, strip.y, strip.mean); !good) return good;
        if (auto good = writer_->write(part_variance, strip.y, strip.variance); !good) return good;
        return writer_->write(part_used, strip.y, strip.used);
    }

    // Mean 1, in each phase of a mosaic.
    Result<void> normalise() {
        std::array<double, 4> mean{};
        const double all = std::accumulate(sums_.begin(), sums_.end(), 0.0) /
                           static_cast<double>(std::max<std::size_t>(
                               1, std::accumulate(counts_.begin(), counts_.end(), std::size_t{0})));
        for (std::size_t p = 0; p < 4; ++p)
            mean[p] = plan_.mosaic && counts_[p] > 0 ? sums_[p] / static_cast<double>(counts_[p]) : all;
        level_ = all;
        std::vector<float> row(width());
        for (int y = 0; y < plan_.height_px; ++y) {
            for (const std::size_t part : {part_mean, part_variance}) {
                if (auto good = writer_->read(part, y, row); !good) return good;
                for (std::size_t x = 0; x < width(); ++x) {
                    const double norm = mean[static_cast<std::size_t>(2 * (y & 1)) + (x & 1U)];
                    row[x] = static_cast<float>(static_cast<double>(row[x]) /
                                                (part == part_mean ? norm : norm * norm));
                }
                if (auto good = writer_->write(part, y, row); !good) return good;
            }
        }
        return {};
    }

    Result<void> finish() {
        if (flat()) {
            if (auto good = normalise(); !good) return good;
            if (auto good = writer_->change(part_mean, level_card()); !good) return good;
            out_.level_adu = level_;
        }
        out_.pixel_err = out_.scatter_adu / std::sqrt(static_cast<double>(frames_.size()));
        if (flat() && level_ > 0.0) out_.pixel_err /= level_;
        out_.clipped_share = static_cast<double>(clipped_) / (static_cast<double>(frames_.size()) *
                                                              static_cast<double>(width()) * plan_.height_px);
        auto defects = find_defects(
            *writer_, {plan_.kind, frames_.size(), typical_, plan_.gain_e_per_adu, plan_.threads});
        if (!defects) return fail(defects.error());
        out_.defects = std::move(*defects);
        if (auto good = writer_->finish(); !good) return good;
        out_.path = plan_.output;
        for (const Member& member : frames_)
            out_.used.push_back(member.path);
        return {};
    }

    [[nodiscard]] Card level_card() const {
        return {"FLATLEV", fmt::format("{:.2f}", level_), "[adu] light that 1.0 stands for", false};
    }

    [[nodiscard]] std::vector<FitsPart> parts() const {
        std::vector<Card> cards{{"IMAGETYP", type_word(plan_.kind), "", true},
                                {"BUNIT", flat() ? "" : "adu", "unit of the pixels", true}};
        cards.insert(cards.end(), plan_.cards.begin(), plan_.cards.end());
        std::vector<double> exposures;
        for (const Member& member : frames_)
            exposures.push_back(member.exposure_s);
        cards.push_back(
            {"EXPTIME", fmt::format("{:.6g}", numerics::median(exposures)), "[s] of one frame", false});
        cards.push_back({"NCOMBINE", fmt::format("{}", frames_.size()), "frames, averaged", false});
        cards.push_back({"COMBTYPE", "clipped mean", fmt::format("beyond {:g} sigma", plan_.kappa), true});
        const bool subtracted =
            std::all_of(frames_.begin(), frames_.end(), [](const Member& m) { return m.pedestal >= 0; });
        cards.push_back(
            {"BIASSUB", flat() && subtracted ? "T" : "F", "whether the bias was taken off", false});
        if (flat()) cards.push_back(level_card());
        for (const std::string& pedestal : plan_.pedestals)
            add_history(cards, "taken off first: " + file_name(pedestal));
        for (const Member& member : frames_)
            add_history(cards, file_name(member.path));
        return {{"", -32, std::move(cards)},
                {"VARIANCE", -32, {{"BUNIT", flat() ? "" : "adu2", "variance of the master's pixel", true}}},
                {"NUSED", 16, {{"BUNIT", "", "frames that each pixel is the mean of", true}}}};
    }

    void look_through(std::vector<std::optional<Problem>>& spoilt) const {
        std::vector<std::string> paths;
        for (const Member& member : frames_)
            paths.push_back(member.path);
        FrameRows rows(std::move(paths), plan_.width_px, plan_.height_px);
        numerics::share_out(frames_.size(), plan_.threads, [&](std::size_t f) {
            constexpr int together = 64;
            std::vector<float> adu(together * width());
            for (int y = 0; y < plan_.height_px && !spoilt[f]; y += together) {
                if (auto good = rows.read(f, y, std::min(together, plan_.height_px - y), adu.data()); !good)
                    spoilt[f] = good.error();
            }
        });
    }

    void drop(const std::vector<std::optional<Problem>>& spoilt) {
        std::vector<Member> good;
        for (std::size_t f = 0; f < frames_.size(); ++f) {
            if (spoilt[f])
                out_.left_out.push_back({frames_[f].path, *spoilt[f]});
            else
                good.push_back(std::move(frames_[f]));
        }
        frames_ = std::move(good);
        writer_.reset();
    }

    const MasterPlan& plan_;
    BuiltMaster& out_;
    std::vector<Member> frames_;
    std::size_t frame_bytes_ = 0;  // of one pixel of all frames, as they are held
    std::array<double, 4> typical_{}, common_{};
    std::shared_ptr<RowWriter> writer_;
    std::array<double, 4> sums_{};
    std::array<std::size_t, 4> counts_{};
    std::size_t clipped_ = 0;
    double level_ = 0.0;
};

}  // namespace

Result<BuiltMaster> build_master(const MasterPlan& plan) try {
    BuiltMaster out;
    if (auto good = Builder(plan, out).run(); !good) return fail(good.error());
    return out;
} catch (const std::bad_alloc&) {
    return fail({.what = "There is not enough memory to combine these frames.",
                 .where = plan.output,
                 .mend = "Allow less with --memory.",
                 .kind = ProblemKind::storage});
}

}  // namespace emberline::frame
