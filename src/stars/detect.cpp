// SPDX-License-Identifier: MIT
#include "stars/detect.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <iterator>
#include <new>

#include "numerics/robust.hpp"
#include "numerics/share_out.hpp"
#include "stars/background.hpp"
#include "stars/field_signs.hpp"
#include "stars/find_peaks.hpp"
#include "stars/kd_tree.hpp"
#include "stars/measure_spot.hpp"
#include "stars/pixel_source.hpp"

namespace emberline::stars {
namespace {

// Evidence: none but the rehearsals and real frames of the tests; not tuned beyond them.
constexpr double usual_fwhm_px = 3.0;       // where no star tells
constexpr double single_pixel_fwhm = 1.15;  // hits look narrower; stars too where pixels are coarse
constexpr double least_fwhm_px = 1.0;
constexpr double first_filter_fwhm_px = 4.0;  // finds stars of 1.5 to 12 px for a first look
constexpr double first_threshold_sigma = 12.0;
constexpr int first_side_px = 768;  // of the parts that are looked at first
constexpr std::size_t first_peaks = 600, first_stars = 60, enough_first_stars = 12;
constexpr double binned_from_fwhm_px = 3.2;  // sums of 2 × 2 pixels lose little of such stars
constexpr double large_pixels = 4e6;         // of a picture that is worth it
constexpr int wide_mesh_px = 128, rows_of_wide_mesh = 8;
constexpr double same_star_fwhm = 0.7;
constexpr double parted_fwhm = 3.0;
constexpr std::size_t boxes_at_a_time = 256;
constexpr double spare_peaks = 1.6;  // of so many that are wanted: some are hot pixels

class Detecting {
  public:
    Detecting(const PixelSource& source, const DetectionSettings& settings, std::string where)
        : source_(source), settings_(settings), where_(std::move(where)) {}

    Result<DetectionField> run() {
        field_.width_px = source_.box().width;
        field_.height_px = source_.box().height;
        const bool large = 1.0 * field_.width_px * field_.height_px > large_pixels;
        BackgroundSettings mesh{.mesh_px = settings_.mesh_px};
        if (large) {
            mesh.mesh_px = std::max(mesh.mesh_px, wide_mesh_px);
            mesh.rows_a_cell = rows_of_wide_mesh;
        }
        auto background = estimate_background(source_, mesh);
        if (!background) return fail(at(where_, background.error()));
        background_ = std::move(*background);
        field_.sky_adu = background_.usual_level();
        field_.sky_scatter_adu = background_.usual_scatter();
        if (auto good = settle_width(); !good) return fail(good.error());
        PeakSettings peaks{.fwhm_px = field_.fwhm_px,
                           .threshold_sigma = settings_.threshold_sigma,
                           .binning = large && field_.fwhm_px >= binned_from_fwhm_px ? 2 : 1,
                           .threads = settings_.threads};
        auto found = find_peaks(source_, background_, peaks, settings_.saturation_adu);
        if (!found) return fail(at(where_, found.error()));
        if (auto good = holds_a_picture(*found); !good) return fail(good.error());
        noise_factor_ = found->noise_factor;
        if (auto good = measure(std::move(found->peaks)); !good) return fail(good.error());
        drop_doubles();
        take_trails(field_);
        mark_parted();
        if (settings_.most > 0 && field_.stars.size() > settings_.most) field_.stars.resize(settings_.most);
        judge_stars(field_);
        return std::move(field_);
    }

  private:
    Result<void> holds_a_picture(const PeakField& found) const {
        if (!found.varies) {
            return fail(
                {.what = fmt::format("All pixels have one value, {:g} ADU.", field_.sky_adu),
                 .where = where_,
                 .mend = "The frame holds no picture: leave it out, or save it again from its source."});
        }
        if (found.saturated_share > 0.5) {
            return fail(
                {.what = fmt::format("The sky itself is saturated: most pixels are at {:.0f} ADU or above.",
                                     settings_.saturation_adu),
                 .where = where_,
                 .mend = "Expose for less time, or correct the saturation in campaign.toml."});
        }
        return {};
    }

    // Boxes about peaks, cut by the picture's edge.
    [[nodiscard]] std::vector<frame::PixelBox> boxes_about(const std::vector<Peak>& peaks, std::size_t first,
                                                           std::size_t last, int half) const {
        const frame::PixelBox& all = source_.box();
        std::vector<frame::PixelBox> boxes;
        for (std::size_t i = first; i < last; ++i) {
            const frame::PixelBox box{static_cast<int>(std::lround(peaks[i].position.x)) - half,
                                      static_cast<int>(std::lround(peaks[i].position.y)) - half, 2 * half + 1,
                                      2 * half + 1};
            boxes.push_back(box.shared(all));
        }
        return boxes;
    }

    // From the middle and, where that shows too little, from four more parts.
    Result<void> settle_width() {
        if (settings_.fwhm_px) {
            field_.fwhm_px = *settings_.fwhm_px;
            return {};
        }
        const frame::PixelBox& all = source_.box();
        std::vector<double> widths;
        for (const auto& [u, v] :
             {std::pair{0.5, 0.5}, {0.25, 0.25}, {0.75, 0.75}, {0.25, 0.75}, {0.75, 0.25}}) {
            const frame::PixelBox part =
                frame::PixelBox{all.x0 + static_cast<int>(u * all.width) - first_side_px / 2,
                                all.y0 + static_cast<int>(v * all.height) - first_side_px / 2, first_side_px,
                                first_side_px}
                    .shared(all);
            if (part.empty()) continue;
            if (auto good = widths_in(part, widths); !good) return good;
            if (widths.size() >= enough_first_stars) break;
        }
        std::vector<double> wide;
        std::copy_if(widths.begin(), widths.end(), std::back_inserter(wide),
                     [](double w) { return w >= single_pixel_fwhm; });
        if (wide.size() >= 5 && 5 * wide.size() >= widths.size()) widths = std::move(wide);
        field_.fwhm_px =
            widths.size() < 3 ? usual_fwhm_px : std::max(numerics::median(widths), least_fwhm_px);
        return {};
    }

    Result<void> widths_in(const frame::PixelBox& part, std::vector<double>& widths) const {
        auto pixels = source_.read({part});
        if (!pixels) return fail(at(where_, pixels.error()));
        const frame::Cutout& picture = pixels->front();
        const PixelSource here(picture);
        auto found = find_peaks(here, background_,
                                {.fwhm_px = first_filter_fwhm_px, .threshold_sigma = first_threshold_sigma},
                                settings_.saturation_adu);
        if (!found) return fail(at(where_, found.error()));
        auto& peaks = found->peaks;
        std::stable_sort(peaks.begin(), peaks.end(),
                         [](const Peak& a, const Peak& b) { return a.sigmas > b.sigmas; });
        if (peaks.size() > first_peaks) peaks.resize(first_peaks);
        const std::size_t enough = widths.size() + first_stars;
        for (const Peak& peak : peaks) {
            if (widths.size() >= enough) break;
            if (const auto fwhm =
                    first_fwhm_px(picture, peak.position, background_, settings_.saturation_adu))
                widths.push_back(*fwhm);
        }
        return {};
    }

    Result<void> measure(std::vector<Peak> peaks) {
        std::erase_if(peaks, [&](const Peak& p) {
            return static_cast<double>(p.sigmas) < settings_.threshold_sigma * noise_factor_;
        });
        if (settings_.most > 0) {
            const auto wanted =
                static_cast<std::size_t>(spare_peaks * static_cast<double>(settings_.most)) + 50;
            if (peaks.size() > wanted) {
                std::stable_sort(peaks.begin(), peaks.end(),
                                 [](const Peak& a, const Peak& b) { return a.sigmas > b.sigmas; });
                peaks.resize(wanted);
            }
        }
        std::stable_sort(peaks.begin(), peaks.end(),
                         [](const Peak& a, const Peak& b) { return a.position.y < b.position.y; });
        const SpotSettings spot_settings{.fwhm_px = field_.fwhm_px,
                                         .threshold_sigma = settings_.threshold_sigma,
                                         .noise_factor = noise_factor_,
                                         .gain_e_per_adu = settings_.gain_e_per_adu,
                                         .saturation_adu = settings_.saturation_adu};
        const std::size_t chunks = (peaks.size() + boxes_at_a_time - 1) / boxes_at_a_time;
        std::vector<Result<std::vector<Spot>>> results(chunks);
        numerics::share_out(chunks, settings_.threads, [&](std::size_t c) {
            results[c] = measure_chunk(peaks, c * boxes_at_a_time, spot_settings);
        });
        for (Result<std::vector<Spot>>& result : results) {
            if (!result) return fail(at(where_, result.error()));
            for (Spot& spot : *result) {
                if (spot.kind == Spot::Kind::hot) ++field_.hot_pixels;
                if (spot.kind == Spot::Kind::star) spots_.push_back(std::move(spot));
            }
        }
        std::stable_sort(spots_.begin(), spots_.end(),
                         [](const Spot& a, const Spot& b) { return a.star.flux_adu > b.star.flux_adu; });
        return {};
    }

    Result<std::vector<Spot>> measure_chunk(const std::vector<Peak>& peaks, std::size_t first,
                                            const SpotSettings& spot_settings) const {
        const std::size_t last = std::min(first + boxes_at_a_time, peaks.size());
        const auto cutouts = source_.read(boxes_about(peaks, first, last, spot_settings.half_px()));
        if (!cutouts) return fail(cutouts.error());
        std::vector<Spot> spots;
        for (std::size_t i = first; i < last; ++i)
            spots.push_back(measure_spot((*cutouts)[i - first], peaks[i].position, background_, source_.box(),
                                         spot_settings));
        return spots;
    }

    // Two peaks of one star, or of the wings of a saturated one: the brighter stays.
    void drop_doubles() {
        std::vector<KdTree<2>::Point> places;
        for (const Spot& spot : spots_)
            places.push_back({spot.star.position.x, spot.star.position.y});
        const KdTree<2> tree(places);
        std::vector<bool> dropped(spots_.size(), false);
        for (std::size_t i = 0; i < spots_.size(); ++i) {
            if (dropped[i]) continue;
            tree.within(places[i], reach_of(spots_[i]), [&](const KdTree<2>::Found& f) {
                if (f.index > i) dropped[f.index] = true;
            });
        }
        for (std::size_t i = 0; i < spots_.size(); ++i) {
            if (!dropped[i]) field_.stars.push_back(std::move(spots_[i].star));
        }
    }
    [[nodiscard]] double reach_of(const Spot& spot) const {
        return spot.saturated_radius_px > 0.0 ? 1.5 * spot.saturated_radius_px + field_.fwhm_px
                                              : same_star_fwhm * field_.fwhm_px;
    }

    void mark_parted() {
        std::vector<KdTree<2>::Point> places;
        for (const Detection& star : field_.stars)
            places.push_back({star.position.x, star.position.y});
        const KdTree<2> tree(places);
        for (std::size_t i = 0; i < places.size(); ++i)
            field_.stars[i].parted = tree.nearest(places[i], 2, parted_fwhm * field_.fwhm_px).size() > 1;
    }

    const PixelSource& source_;
    const DetectionSettings& settings_;
    std::string where_;
    Background background_;
    double noise_factor_ = 1.0;
    std::vector<Spot> spots_;
    DetectionField field_;
};

Result<DetectionField> detect(const PixelSource& source, const DetectionSettings& settings,
                              const std::string& where) try {
    return Detecting(source, settings, where).run();
} catch (const std::bad_alloc&) {
    return fail({.what = "There is not enough memory to look for stars in it.",
                 .where = where,
                 .mend = "Close other programs and try again.",
                 .kind = ProblemKind::storage});
}

}  // namespace

Result<DetectionField> detect_stars(const frame::Cutout& picture, const DetectionSettings& settings) {
    return detect(PixelSource(picture), settings, {});
}

Result<DetectionField> detect_stars(const frame::Frame& frame, const DetectionSettings& settings) {
    return detect(PixelSource(frame), settings, frame.facts().path);
}

}  // namespace emberline::stars
