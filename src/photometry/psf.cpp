// SPDX-License-Identifier: MIT
// Notation: α of the Moffat profile, FWHM = 2 α √(2^(1/β) − 1); X, Y the place on the frame in spans.
#include "photometry/psf.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <numbers>
#include <optional>

#include "photometry/circle_pixel.hpp"
#include "photometry/psf_grid.hpp"

namespace emberline::photometry {
namespace {

// Beyond five widths of the long axis a profile of β = 2.5 has a ten-thousandth of its peak left, of β = 3.5
// a millionth: below the noise of any star that does not saturate.
constexpr double reach_long_fwhm = 5.0;
constexpr double nodes_per_fwhm = 12.0;  // of the short axis, for psf_grid_accuracy
constexpr double least_fwhm_px = 0.3, most_fwhm_px = 60.0;
constexpr double most_elongation = 6.0;
constexpr int most_half = 200;
// Of the grid: the widest core that is allowed needs 1473; a wide table on a sharp core would need gigabytes.
constexpr double most_grid_half = 2000.0;
constexpr double most_table_reach_px = 300.0;
// The variation holds still beyond the stars that it was learned from.
constexpr double most_spans = 1.2;
constexpr int margin_nodes = 3;  // around the reach, so that every look-up finds its sixteen nodes

constexpr double numbers_version = 1.0;
constexpr std::size_t numbers_before_table = 11;

Problem no_psf(std::string what) {
    return {.what = std::move(what),
            .where = "point-spread function",
            .mend = "Use stars that are round and sharp enough to be told from the sky."};
}

bool finite(const std::vector<double>& values) {
    return std::all_of(values.begin(), values.end(), [](double v) { return std::isfinite(v); });
}

std::string fault_of(const MoffatCore& core) {
    if (!(core.fwhm_px >= least_fwhm_px && core.fwhm_px <= most_fwhm_px))
        return fmt::format("Its core's width of {:g} px is not between {:g} and {:g} px.", core.fwhm_px,
                           least_fwhm_px, most_fwhm_px);
    if (!(core.moffat_beta > 1.0) || !std::isfinite(core.moffat_beta))
        return fmt::format("Its Moffat exponent {:g} is not above 1: such wings hold no finite light.",
                           core.moffat_beta);
    if (!(core.elongation >= 1.0 && core.elongation <= most_elongation))
        return fmt::format("Its elongation {:g} is not between 1 and {:g}.", core.elongation,
                           most_elongation);
    if (!std::isfinite(core.direction_rad)) return "Its direction is not a number.";
    return "";
}

std::string fault_of(const PsfTable& table) {
    if (table.constant.empty() && table.along_x.empty() && table.along_y.empty()) return "";
    if (table.half < 1 || table.half > most_half)
        return fmt::format("Its table cannot have {} nodes to a side.", table.half);
    if (!(table.step_px > 0.0) || !(table.half * table.step_px <= most_table_reach_px))
        return fmt::format("Its table cannot have a step of {:g} px.", table.step_px);
    const auto side = static_cast<std::size_t>(2 * table.half + 1);
    const bool varies = !table.along_x.empty() || !table.along_y.empty();
    if (table.constant.size() != side * side ||
        (varies && (table.along_x.size() != side * side || table.along_y.size() != side * side)))
        return fmt::format("Its table does not hold {0} × {0} nodes.", side);
    if (!finite(table.constant) || !finite(table.along_x) || !finite(table.along_y))
        return "Its table holds values that are not numbers.";
    if (varies && (!std::isfinite(table.middle.x) || !std::isfinite(table.middle.y) ||
                   !(table.span_px > 0.0) || !std::isfinite(table.span_px)))
        return "The place from which its variation counts makes no sense.";
    return "";
}

}  // namespace

struct Psf::Grids {
    std::vector<PsfGrid> parts;  // constant; where it varies also along x and along y
};

Result<Psf> Psf::make(const MoffatCore& core, PsfTable table) {
    std::string fault = fault_of(core);
    if (fault.empty()) fault = fault_of(table);
    if (!fault.empty()) return fail(no_psf(std::move(fault)));
    Psf psf;
    psf.core_ = core;
    const double root = std::sqrt(core.elongation);
    psf.reach_px_ = reach_long_fwhm * core.fwhm_px * root;
    const bool tabled = !table.constant.empty();
    if (tabled) psf.reach_px_ = std::max(psf.reach_px_, (table.half + 1) * table.step_px);
    const int per_px =
        2 * std::max(1, static_cast<int>(std::ceil(0.5 * nodes_per_fwhm * root / core.fwhm_px)));
    if (!(psf.reach_px_ * per_px <= most_grid_half)) {
        return fail(no_psf(fmt::format("Its table reaches {:g} px, too far for a core of {:g} px.",
                                       psf.reach_px_, core.fwhm_px)));
    }
    const int half = static_cast<int>(std::ceil(psf.reach_px_ * per_px)) + margin_nodes;
    PsfGrid light = PsfGrid::of_core(core, half, per_px);
    if (tabled) light.add(PsfGrid::of_table(table, table.constant, half, per_px), 1.0);
    const double sum = light.sum_within(psf.reach_px_);
    if (!(sum > 0.0) || !std::isfinite(sum)) return fail(no_psf("Its table takes away all its light."));
    light.scale(1.0 / sum);
    auto grids = std::make_shared<Grids>();
    grids->parts.push_back(std::move(light));
    if (!table.along_x.empty()) {
        for (const auto* values : {&table.along_x, &table.along_y}) {
            PsfGrid slope = PsfGrid::of_table(table, *values, half, per_px);
            slope.scale(1.0 / sum);
            // What varies moves light about; the sum stays 1 everywhere.
            slope.add(grids->parts.front(), -slope.sum_within(psf.reach_px_));
            grids->parts.push_back(std::move(slope));
        }
    }
    for (PsfGrid& part : grids->parts)
        part.to_coefficients();
    psf.grids_ = std::move(grids);
    psf.table_ = std::move(table);
    return psf;
}

// The images that sum up at that place of the frame, and by how much each counts.
std::array<double, 3> Psf::factors(const frame::PixelPosition& star) const {
    if (grids_->parts.size() < 3) return {1.0, 0.0, 0.0};
    const auto spans = [&](double from_middle) {
        return std::clamp(from_middle / table_.span_px, -most_spans, most_spans);
    };
    return {1.0, spans(star.x - table_.middle.x), spans(star.y - table_.middle.y)};
}

double Psf::share(const frame::PixelPosition& star, int x, int y) const {
    const double dx = x - star.x, dy = y - star.y;
    if (!(dx * dx + dy * dy <= reach_px_ * reach_px_)) return 0.0;
    const auto factor = factors(star);
    double share = 0.0;
    for (std::size_t k = 0; k < grids_->parts.size(); ++k) {
        const PsfGrid& part = grids_->parts[k];
        share += factor[k] * part.at(part.place(dx), part.place(dy));
    }
    return share;
}

std::vector<double> Psf::stamp(const frame::PixelPosition& star, const frame::PixelBox& box) const {
    if (box.empty()) return {};
    const auto width = static_cast<std::size_t>(box.width);
    std::vector<double> out(width * static_cast<std::size_t>(box.height), 0.0);
    const double x_low = std::max(std::ceil(star.x - reach_px_), static_cast<double>(box.x0));
    const double x_high = std::min(std::floor(star.x + reach_px_), box.x0 + (box.width - 1.0));
    const double y_low = std::max(std::ceil(star.y - reach_px_), static_cast<double>(box.y0));
    const double y_high = std::min(std::floor(star.y + reach_px_), box.y0 + (box.height - 1.0));
    if (!(x_low <= x_high && y_low <= y_high)) return out;
    const auto factor = factors(star);
    // Every pixel lies at the same fraction of a step between nodes: a pixel is a whole number of steps.
    const PsfGrid& grid = grids_->parts.front();
    PsfGrid::Place x_place = grid.place(x_low - star.x), y_place = grid.place(y_low - star.y);
    const int x_first = static_cast<int>(x_low), x_last = static_cast<int>(x_high);
    const int first_node = x_place.first;
    for (int y = static_cast<int>(y_low); y <= static_cast<int>(y_high); ++y) {
        const double dy = y - star.y;
        const double chord_2 = reach_px_ * reach_px_ - dy * dy;
        double* row = out.data() + static_cast<std::size_t>(y - box.y0) * width;
        x_place.first = first_node;
        for (int x = x_first; x <= x_last; ++x) {
            const double dx = x - star.x;
            if (dx * dx <= chord_2) {
                double share = grid.at(x_place, y_place);
                for (std::size_t k = 1; k < grids_->parts.size(); ++k)
                    share += factor[k] * grids_->parts[k].at(x_place, y_place);
                row[x - box.x0] = share;
            }
            x_place.first += grid.per_px();
        }
        y_place.first += grid.per_px();
    }
    return out;
}

namespace {

// The star's own square of pixels about (0, 0), so that a star anywhere, even absurdly far out, has one.
struct Own {
    frame::PixelPosition star;  // with the place within its pixel alone
    frame::PixelBox box;
};
std::optional<Own> own_square(const frame::PixelPosition& star, double radius_px) {
    if (!std::isfinite(star.x) || !std::isfinite(star.y) || !(radius_px >= 0.0)) return std::nullopt;
    const int half = static_cast<int>(std::ceil(radius_px)) + 1;
    return Own{{star.x - std::round(star.x), star.y - std::round(star.y)},
               {-half, -half, 2 * half + 1, 2 * half + 1}};
}

}  // namespace

std::vector<double> Psf::own_stamp(const frame::PixelPosition& star, const frame::PixelPosition& within,
                                   const frame::PixelBox& box) const {
    std::vector<double> out;
    out.reserve(box.pixels());
    const auto factor = factors(star);
    for (int y = box.y0; y < box.y0 + box.height; ++y) {
        for (int x = box.x0; x < box.x0 + box.width; ++x) {
            const double dx = x - within.x, dy = y - within.y;
            double share = 0.0;
            if (dx * dx + dy * dy <= reach_px_ * reach_px_) {
                for (std::size_t k = 0; k < grids_->parts.size(); ++k) {
                    const PsfGrid& part = grids_->parts[k];
                    share += factor[k] * part.at(part.place(dx), part.place(dy));
                }
            }
            out.push_back(share);
        }
    }
    return out;
}

double Psf::encircled(const frame::PixelPosition& star, double radius_px) const {
    const double radius = std::min(radius_px, reach_px_ + 1.0);
    const auto own = own_square(star, radius);
    if (!own) return 0.0;
    const std::vector<double> shares = own_stamp(star, own->star, own->box);
    double sum = 0.0;
    std::size_t i = 0;
    for (int y = own->box.y0; y < own->box.y0 + own->box.height; ++y) {
        for (int x = own->box.x0; x < own->box.x0 + own->box.width; ++x)
            sum += shares[i++] * circle_pixel_overlap(x - own->star.x, y - own->star.y, radius);
    }
    return sum;
}

double Psf::noise_area_px(const frame::PixelPosition& star) const {
    const auto own = own_square(star, reach_px_);
    if (!own) return 0.0;
    double squares = 0.0;
    for (const double share : own_stamp(star, own->star, own->box))
        squares += share * share;
    return 1.0 / squares;
}

double Psf::photon_factor(const frame::PixelPosition& star) const {
    const auto own = own_square(star, reach_px_);
    if (!own) return 1.0;
    double squares = 0.0, cubes = 0.0;
    for (const double share : own_stamp(star, own->star, own->box)) {
        squares += share * share;
        cubes += share * share * share;
    }
    return cubes / (squares * squares);
}

std::vector<double> Psf::numbers() const {
    const auto count = static_cast<double>(table_.constant.size());
    std::vector<double> out{numbers_version,
                            core_.fwhm_px,
                            core_.moffat_beta,
                            core_.elongation,
                            core_.direction_rad,
                            static_cast<double>(table_.half),
                            table_.step_px,
                            table_.middle.x,
                            table_.middle.y,
                            table_.span_px,
                            count + (table_.along_x.empty() ? 0.0 : 0.5)};
    for (const auto* values : {&table_.constant, &table_.along_x, &table_.along_y})
        out.insert(out.end(), values->begin(), values->end());
    return out;
}

Result<Psf> Psf::from_numbers(std::span<const double> numbers) {
    if (numbers.size() < numbers_before_table || numbers[0] != numbers_version)
        return fail(no_psf("The list of numbers does not hold one."));
    const MoffatCore core{numbers[1], numbers[2], numbers[3], numbers[4]};
    PsfTable table;
    const bool whole = numbers[5] >= 0.0 && numbers[5] <= most_half && numbers[5] == std::floor(numbers[5]);
    const double stored = numbers[10];
    const double most_nodes = std::pow(2.0 * most_half + 1.0, 2) + 1.0;
    if (!whole || !(stored >= 0.0 && stored <= most_nodes))
        return fail(no_psf("The list of numbers does not hold one."));
    table.half = static_cast<int>(numbers[5]);
    table.step_px = numbers[6];
    table.middle = {numbers[7], numbers[8]};
    table.span_px = numbers[9];
    const auto count = static_cast<std::size_t>(stored);
    const bool varies = stored > static_cast<double>(count);
    const auto rest = numbers.subspan(numbers_before_table);
    if (rest.size() != (varies ? 3 : 1) * count)
        return fail(no_psf("The list of numbers is too short or too long."));
    const auto part = [&](std::size_t k) {
        const auto values = rest.subspan(k * count, count);
        return std::vector<double>(values.begin(), values.end());
    };
    table.constant = part(0);
    if (varies) {
        table.along_x = part(1);
        table.along_y = part(2);
    }
    return make(core, std::move(table));
}

double moffat_encircled(double fwhm_px, double moffat_beta, double radius_px) {
    const double alpha = 0.5 * fwhm_px / std::sqrt(std::exp2(1.0 / moffat_beta) - 1.0);
    return 1.0 - std::pow(1.0 + std::pow(radius_px / alpha, 2), 1.0 - moffat_beta);
}

double moffat_variance_px2(double fwhm_px, double moffat_beta) {
    const double alpha = 0.5 * fwhm_px / std::sqrt(std::exp2(1.0 / moffat_beta) - 1.0);
    return 0.5 * alpha * alpha / (moffat_beta - 2.0);
}

double gaussian_encircled(double fwhm_px, double radius_px) {
    return 1.0 - std::exp(-4.0 * std::numbers::ln2 * std::pow(radius_px / fwhm_px, 2));
}

}  // namespace emberline::photometry
