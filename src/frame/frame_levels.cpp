// SPDX-License-Identifier: MIT
#include "frame/frame_levels.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <cstdint>
#include <numeric>
#include <optional>

#include "numerics/clip_columns.hpp"
#include "numerics/robust.hpp"
#include "numerics/share_out.hpp"

namespace emberline::frame {
namespace {

constexpr std::size_t most_values = 24'000'000;  // of all frames together: 96 MB
constexpr int most_row_pairs = 16;
constexpr double saturated_share = 0.01;  // of a flat's pixels; of the others' ten times as much
constexpr double near_saturation = 0.95;  // where sensors are no longer linear; common practice, no source
// Of the pixels at one and the same highest value: a converter's end.
constexpr double piled_up_share = 0.005;
// Common practice, no source: 1000 electrons are 3 % noise a pixel and frame.
constexpr double least_flat_e = 1000.0;
constexpr double least_of_the_others = 0.1;
constexpr double outlier_sigma = 6.0;
constexpr const char* expose_flats = "Expose flats to a third or a half of the range.";
constexpr const char* look_for_light = "Look whether light fell in, or a setting was another.";

std::vector<PixelSample::Place> places_for(std::size_t frames, int width, int height) {
    const int all_row_pairs = height / 2, row_pairs = std::clamp(all_row_pairs, 1, most_row_pairs);
    const std::size_t each = std::max<std::size_t>(64, most_values / std::max<std::size_t>(frames, 1));
    const auto column_pairs = static_cast<std::size_t>(std::max(1, width / 2));
    const std::size_t wanted =
        std::clamp<std::size_t>(each / static_cast<std::size_t>(4 * row_pairs), 1, column_pairs);
    std::vector<PixelSample::Place> places;
    for (int r = 0; r < row_pairs; ++r) {
        const int y0 = 2 * static_cast<int>((r + 0.5) * all_row_pairs / row_pairs);
        for (int y = y0; y < std::min(y0 + 2, height); ++y) {
            for (std::size_t c = 0; c < wanted; ++c) {
                const int x0 = 2 * static_cast<int>(c * column_pairs / wanted);
                for (int x = x0; x < std::min(x0 + 2, width); ++x)
                    places.push_back({x, y});
            }
        }
    }
    return places;
}

Result<std::vector<float>> sample_of(FrameRows& rows, std::size_t frame,
                                     const std::vector<PixelSample::Place>& places) {
    std::vector<float> row(static_cast<std::size_t>(rows.width_px()));
    std::vector<float> out;
    out.reserve(places.size());
    int y = -1;
    for (const PixelSample::Place& place : places) {
        if (place.y != y) {
            y = place.y;
            if (auto good = rows.read(frame, y, 1, row.data()); !good) return fail(good.error());
        }
        out.push_back(row[static_cast<std::size_t>(place.x)]);
    }
    return out;
}

double median_of_phase(const std::vector<float>& adu, const std::vector<PixelSample::Place>& places,
                       std::size_t phase) {
    std::vector<double> values;
    for (std::size_t i = 0; i < adu.size(); ++i) {
        if (places[i].phase() == phase) values.push_back(static_cast<double>(adu[i]));
    }
    return numerics::median(std::move(values));
}

// A frame of one row or one column has no second phase there: it takes what there is.
std::array<double, 4> filled(std::array<double, 4> of_phase) {
    double any = 0.0;
    for (const double v : of_phase) {
        if (std::isfinite(v)) any = v;
    }
    for (double& v : of_phase) {
        if (!std::isfinite(v)) v = any;
    }
    return of_phase;
}

class Judge {
  public:
    Judge(PixelSample& sample, const MasterPlan& plan, std::vector<LeftOut>& left_out)
        : sample_(sample), plan_(plan), left_out_(left_out), flat_(plan.kind == FrameKind::flat) {
        levels_.level.resize(sample.adu.size());
    }
    FrameLevels run() {
        for (std::size_t f = 0; f < sample_.adu.size(); ++f)
            leave_saturated(f);
        for (std::size_t f = 0; f < sample_.adu.size(); ++f)
            subtract(f);
        measure();
        if (flat_) {
            leave_faint();
            refine();
        } else {
            leave_outliers();
        }
        common();
        typical();
        return std::move(levels_);
    }

  private:
    [[nodiscard]] double value(std::size_t f, std::size_t i) const {
        return static_cast<double>(sample_.adu[f][i]);
    }
    [[nodiscard]] bool there(std::size_t f) const { return !sample_.adu[f].empty(); }
    void leave(std::size_t f, std::string what, std::string mend) {
        sample_.adu[f].clear();
        left_out_.push_back(
            {plan_.frames[f].path,
             {.what = std::move(what), .where = plan_.frames[f].path, .mend = std::move(mend)}});
    }

    void leave_saturated(std::size_t f) {
        const std::vector<float>& adu = sample_.adu[f];
        if (!there(f)) return;
        const auto top = static_cast<double>(*std::max_element(adu.begin(), adu.end()));
        const auto share = [&](double from) {
            return static_cast<double>(std::count_if(
                       adu.begin(), adu.end(), [&](float v) { return static_cast<double>(v) >= from; })) /
                   static_cast<double>(adu.size());
        };
        const double allowed = flat_ ? saturated_share : 10.0 * saturated_share;
        const double over = share(near_saturation * plan_.saturation_adu);
        // Of light's own spread the highest value is the rarest.
        const double at_top = share(top), below = share(0.99 * top) - at_top;
        const bool piled = flat_ && at_top > std::max(piled_up_share, below);
        if (over > allowed) {
            leave(
                f,
                fmt::format("The frame is saturated: {:.0f} % of its pixels are above {:.0f} % of {:g} ADU.",
                            100.0 * over, 100.0 * near_saturation, plan_.saturation_adu),
                flat_ ? expose_flats : look_for_light);
        } else if (piled) {
            leave(f,
                  fmt::format("The frame is saturated: {:.1f} % of its pixels share the highest value, {:g} "
                              "ADU.",
                              100.0 * at_top, top),
                  expose_flats);
        }
    }

    void subtract(std::size_t f) {
        const int pedestal = plan_.frames[f].pedestal;
        if (!there(f) || pedestal < 0) return;
        const std::vector<float>& off = sample_.pedestals[static_cast<std::size_t>(pedestal)];
        for (std::size_t i = 0; i < sample_.adu[f].size(); ++i)
            sample_.adu[f][i] -= off[i];
    }

    void measure() {
        numerics::share_out(sample_.adu.size(), plan_.threads, [&](std::size_t f) {
            if (!there(f)) return;
            for (std::size_t p = 0; p < 4; ++p)
                levels_.level[f][p] = median_of_phase(sample_.adu[f], sample_.places, p);
            levels_.level[f] = filled(levels_.level[f]);
            if (flat_ && !plan_.mosaic) levels_.level[f].fill(levels_.mean_level(f));
        });
    }

    [[nodiscard]] std::vector<double> mean_levels() const {
        std::vector<double> all;
        for (std::size_t f = 0; f < sample_.adu.size(); ++f) {
            if (there(f)) all.push_back(levels_.mean_level(f));
        }
        return all;
    }

    void leave_faint() {
        const double usual = numerics::median(mean_levels());
        for (std::size_t f = 0; f < sample_.adu.size(); ++f) {
            if (!there(f)) continue;
            const double level = levels_.mean_level(f);
            if (level * plan_.gain_e_per_adu < least_flat_e) {
                leave(f,
                      fmt::format("The flat is too faint: {:.0f} ADU of light, {:.0f} electrons a pixel.",
                                  level, level * plan_.gain_e_per_adu),
                      expose_flats);
            } else if (level < least_of_the_others * usual) {
                leave(f,
                      fmt::format("The flat is too faint: {:.0f} ADU of light, the others have {:.0f}.",
                                  level, usual),
                      "It would add noise only.");
            }
        }
    }

    // A light leak, a shutter that stayed shut, another setting that no card tells.
    void leave_outliers() {
        const std::vector<double> all = mean_levels();
        if (all.size() < 3) return;
        const double noise = any_neighbours_scatter();
        const double middle = numerics::median(all);
        const double spread = numerics::mad_to_sigma * numerics::small_sample_factor(all.size()) *
                              numerics::median_absolute_deviation(all, middle);
        for (std::size_t f = 0; f < sample_.adu.size(); ++f) {
            if (!there(f)) continue;
            const double level = levels_.mean_level(f);
            const double allowed = std::max(outlier_sigma * spread, noise);
            if (std::abs(level - middle) <= allowed) continue;
            leave(f, fmt::format("Its level is {:.1f} ADU, that of the others {:.1f}.", level, middle),
                  look_for_light);
        }
    }

    // Each flat over the mean of all at the same pixels: vignetting falls out.
    void refine() {
        std::vector<double> sum(sample_.places.size(), 0.0);
        std::size_t n = 0;
        for (std::size_t f = 0; f < sample_.adu.size(); ++f) {
            if (!there(f)) continue;
            ++n;
            for (std::size_t i = 0; i < sum.size(); ++i)
                sum[i] += value(f, i) / levels_.level[f][sample_.places[i].phase()];
        }
        if (n < 2) return;
        numerics::share_out(sample_.adu.size(), plan_.threads, [&](std::size_t f) {
            if (there(f)) refine(f, sum, static_cast<double>(n));
        });
    }
    void refine(std::size_t f, const std::vector<double>& sum, double n) {
        std::array<std::vector<double>, 4> ratios;
        for (std::size_t i = 0; i < sum.size(); ++i) {
            const std::size_t p = sample_.places[i].phase();
            if (sum[i] > 0.0) ratios[plan_.mosaic ? p : 0].push_back(value(f, i) / (sum[i] / n));
        }
        for (std::size_t p = 0; p < 4; ++p) {
            const double level = numerics::median(std::move(ratios[p]));
            if (std::isfinite(level)) levels_.level[f][p] = level;
        }
        if (!plan_.mosaic) levels_.level[f].fill(levels_.level[f][0]);
    }

    void common() {
        for (std::size_t p = 0; p < 4; ++p) {
            std::vector<double> all;
            for (std::size_t f = 0; f < sample_.adu.size(); ++f) {
                if (there(f)) all.push_back(levels_.level[f][p]);
            }
            levels_.common[p] = all.empty() ? 0.0 : numerics::median(std::move(all));
        }
    }

    [[nodiscard]] double scale(std::size_t f, std::size_t p) const {
        return flat_ ? levels_.common[p] / levels_.level[f][p] : 1.0;
    }

    [[nodiscard]] double any_neighbours_scatter() const {
        for (std::size_t f = 0; f < sample_.adu.size(); ++f) {
            if (there(f)) return neighbours_scatter(f);
        }
        return 0.0;
    }
    // Of neighbours of one phase in one frame.
    [[nodiscard]] double neighbours_scatter(std::size_t f) const {
        std::vector<double> differences;
        for (std::size_t i = 2; i < sample_.places.size(); ++i) {
            if (sample_.places[i].y == sample_.places[i - 2].y)
                differences.push_back(value(f, i) - value(f, i - 2));
        }
        if (differences.empty()) return 0.0;
        return numerics::robust_spread(std::move(differences)) / std::sqrt(2.0);
    }

    // Mean of the columns' variances without the few that hits or noisy pixels raise: less its cut-off tail
    // it is 3 % low for two frames and right for many, which neither cut nor error feels.
    [[nodiscard]] static double typical_of(std::vector<double> variances) {
        std::erase_if(variances, [](double v) { return !std::isfinite(v); });
        if (variances.empty()) return 0.0;
        double usual = numerics::median(variances);
        if (usual == 0.0) {
            usual = std::accumulate(variances.begin(), variances.end(), 0.0) /
                    static_cast<double>(variances.size());
        }
        for (int round = 0; round < 10; ++round) {
            double sum = 0.0;
            std::size_t n = 0;
            for (const double v : variances) {
                if (v > 9.0 * usual) continue;
                sum += v;
                ++n;
            }
            const double next = n > 0 ? sum / static_cast<double>(n) : usual;
            if (next == usual) break;
            usual = next;
        }
        return std::sqrt(usual);
    }

    void typical() {
        std::vector<std::size_t> kept;
        for (std::size_t f = 0; f < sample_.adu.size(); ++f) {
            if (there(f)) kept.push_back(f);
        }
        if (kept.empty()) return;
        if (kept.size() == 1) {
            levels_.typical.fill(neighbours_scatter(kept.front()));
            return;
        }
        std::array<std::vector<double>, 4> variances;
        const auto n = static_cast<double>(kept.size());
        for (std::size_t i = 0; i < sample_.places.size(); ++i) {
            const std::size_t p = sample_.places[i].phase();
            const auto scaled = [&](std::size_t f) { return value(f, i) * scale(f, p); };
            double mean = 0.0, squares = 0.0;
            for (const std::size_t f : kept)
                mean += scaled(f) / n;
            for (const std::size_t f : kept)
                squares += (scaled(f) - mean) * (scaled(f) - mean);
            variances[p].push_back(squares / (n - 1.0));
        }
        for (std::size_t p = 0; p < 4; ++p)
            levels_.typical[p] = typical_of(std::move(variances[p]));
        if (sample_.places.size() < 4) levels_.typical.fill(levels_.typical[0]);
    }

    PixelSample& sample_;
    const MasterPlan& plan_;
    std::vector<LeftOut>& left_out_;
    bool flat_;
    FrameLevels levels_;
};

}  // namespace

double FrameLevels::mean_level(std::size_t frame) const {
    return 0.25 * std::accumulate(level[frame].begin(), level[frame].end(), 0.0);
}

Result<PixelSample> sample_pixels(FrameRows& frames, FrameRows& pedestals, int threads,
                                  std::vector<LeftOut>& left_out) {
    PixelSample sample;
    sample.places = places_for(frames.size() + pedestals.size(), frames.width_px(), frames.height_px());
    for (std::size_t i = 0; i < pedestals.size(); ++i) {
        auto one = sample_of(pedestals, i, sample.places);
        if (!one) return fail(one.error());
        sample.pedestals.push_back(std::move(*one));
    }
    sample.adu.resize(frames.size());
    std::vector<std::optional<Problem>> problems(frames.size());
    numerics::share_out(frames.size(), threads, [&](std::size_t i) {
        auto one = sample_of(frames, i, sample.places);
        if (one)
            sample.adu[i] = std::move(*one);
        else
            problems[i] = one.error();
    });
    for (std::size_t i = 0; i < frames.size(); ++i) {
        if (problems[i]) left_out.push_back({frames.path(i), *problems[i]});
    }
    return sample;
}

FrameLevels judge_levels(PixelSample& sample, const MasterPlan& plan, std::vector<LeftOut>& left_out) {
    return Judge(sample, plan, left_out).run();
}

}  // namespace emberline::frame
