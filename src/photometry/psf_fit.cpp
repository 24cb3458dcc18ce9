// SPDX-License-Identifier: MIT
// Notation: d pixels less what is held; A columns: PSF shares of each source, derivatives of the free ones,
// a free sky; W weights; V variances. p = (AᵀWA)⁻¹ AᵀW d, Cov p = (AᵀWA)⁻¹ AᵀWVWA (AᵀWA)⁻¹.
#include "photometry/psf_fit.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "numerics/least_squares.hpp"
#include "numerics/robust.hpp"

namespace emberline::photometry {
namespace {

constexpr double usual_radius_fwhm = 1.5;
constexpr double derivative_px = 0.05;  // half the step of a derivative: cubic terms stay below 0.1 %
constexpr int most_rounds = 25;         // of Gauss–Newton
constexpr double settled_px = 1e-4;
constexpr double least_apart_px = 0.1;  // nearer sources cannot be told apart
constexpr double cosmic_sigma = 8.0;    // of a pixel above the model …
constexpr double mismatch = 0.08;       // … whose own error is this part of its light
constexpr double alone = 0.3;           // … while its neighbours' residuals stay below this part of it
constexpr int most_cosmic_rounds = 3;

struct Pixel {
    int x, y;
    double adu;
    double more_variance;
    bool used = true;
};

struct Columns {
    std::size_t sources = 0;
    std::vector<std::size_t> free;  // sources whose position is fitted
    bool sky = false;
    [[nodiscard]] std::size_t count() const { return sources + 2 * free.size() + (sky ? 1 : 0); }
};

Problem cannot(std::string what, std::string mend) {
    return {.what = std::move(what), .where = "fit of the point-spread function", .mend = std::move(mend)};
}

class Fitter {
  public:
    Fitter(const frame::Cutout& cutout, const Psf& psf, const std::vector<PsfSource>& sources,
           const PixelNoise& noise, const PsfFitOptions& options, const std::vector<double>& variance)
        : psf_(psf), noise_(noise), options_(options), box_(cutout.box) {
        columns_.sources = sources.size();
        columns_.sky = !options.sky_adu.has_value();
        for (std::size_t i = 0; i < sources.size(); ++i) {
            start_.push_back(sources[i].position);
            if (sources[i].free_position) columns_.free.push_back(i);
        }
        at_ = start_;
        flux_.assign(sources.size(), 0.0);
        sky_ = options.sky_adu.value_or(0.0);
        gather(cutout, variance);
    }

    Result<PsfFit> fit() {
        if (pixels_.size() <= columns_.count()) {
            return fail(
                cannot(fmt::format("{} pixels do not tell {} unknowns.", pixels_.size(), columns_.count()),
                       "Use a larger cut-out or fewer sources."));
        }
        for (int round = 0; round < most_cosmic_rounds; ++round) {
            if (auto good = settle(); !good) return fail(good.error());
            if (!mask_cosmic_rays()) break;
        }
        return result();
    }

  private:
    void gather(const frame::Cutout& cutout, const std::vector<double>& variance) {
        const double radius =
            options_.radius_px > 0.0 ? options_.radius_px : usual_radius_fwhm * psf_.fwhm_px();
        double sky = sky_;
        std::vector<double> values;
        for (int y = box_.y0; y < box_.y0 + box_.height; ++y) {
            for (int x = box_.x0; x < box_.x0 + box_.width; ++x) {
                const bool near = std::any_of(
                    start_.begin(), start_.end(),
                    [&](const frame::PixelPosition& s) { return std::hypot(x - s.x, y - s.y) <= radius; });
                if (!near) continue;
                const auto i = box_.index(x, y);
                const auto adu = static_cast<double>(cutout.at(x, y));
                const double more = variance.empty() ? 0.0 : variance[i];
                if (!std::isfinite(adu) || !std::isfinite(more) || more < 0.0) {
                    ++undefined_;
                    continue;
                }
                pixels_.push_back({x, y, adu, more});
                values.push_back(adu);
            }
        }
        if (columns_.sky && !values.empty()) sky = numerics::quantile(std::move(values), 0.2);
        sky_ = sky;
    }

    [[nodiscard]] double share(const frame::PixelPosition& at, const Pixel& p) const {
        return psf_.share(at, p.x, p.y);
    }

    [[nodiscard]] double light(const Pixel& p) const {
        double sum = 0.0;
        for (std::size_t i = 0; i < at_.size(); ++i)
            sum += flux_[i] * share(at_[i], p);
        return sum;
    }

    // Of the pixel, with the light that the model puts there.
    [[nodiscard]] double variance(const Pixel& p) const {
        return noise_.variance_adu2(light(p)) + p.more_variance;
    }

    [[nodiscard]] numerics::Matrix columns(std::vector<double>& y, std::vector<double>& w) const {
        const auto used = static_cast<std::size_t>(
            std::count_if(pixels_.begin(), pixels_.end(), [](const Pixel& p) { return p.used; }));
        numerics::Matrix a(used, columns_.count());
        y.clear();
        w.clear();
        std::size_t row = 0;
        for (const Pixel& p : pixels_) {
            if (!p.used) continue;
            double held = columns_.sky ? 0.0 : sky_;
            for (std::size_t i = 0; i < at_.size(); ++i)
                a(row, i) = share(at_[i], p);
            for (std::size_t k = 0; k < columns_.free.size(); ++k) {
                const std::size_t i = columns_.free[k];
                const frame::PixelPosition& c = at_[i];
                const double per_px = flux_[i] / (2.0 * derivative_px);
                a(row, columns_.sources + 2 * k) =
                    per_px * (share({c.x + derivative_px, c.y}, p) - share({c.x - derivative_px, c.y}, p));
                a(row, columns_.sources + 2 * k + 1) =
                    per_px * (share({c.x, c.y + derivative_px}, p) - share({c.x, c.y - derivative_px}, p));
            }
            if (columns_.sky) a(row, columns_.count() - 1) = 1.0;
            y.push_back(p.adu - held);
            w.push_back(options_.weights == PsfWeights::equal ? 1.0 : 1.0 / variance(p));
            ++row;
        }
        return a;
    }

    Result<void> linear_step() {
        std::vector<double> y, w;
        const Columns all = columns_;
        columns_.free.clear();
        const numerics::Matrix a = columns(y, w);
        const auto solved = numerics::linear_fit(a, y, w);
        columns_ = all;
        if (!solved) return indistinct();
        for (std::size_t i = 0; i < flux_.size(); ++i)
            flux_[i] = solved->parameters[i];
        if (columns_.sky) sky_ = solved->parameters.back();
        return {};
    }

    static Result<void> indistinct() {
        return fail(cannot("The sources cannot be told apart from each other or from the sky.",
                           "Fit fewer sources, or hold the sky."));
    }

    // Flux first with positions held, then all together; weights follow the model.
    Result<void> settle() {
        for (int i = 0; i < 3; ++i) {
            if (auto good = linear_step(); !good) return good;
            if (options_.weights == PsfWeights::equal) break;
        }
        for (int round = 0; round < most_rounds && !columns_.free.empty(); ++round) {
            std::vector<double> y, w;
            const numerics::Matrix a = columns(y, w);
            const auto solved = numerics::linear_fit(a, y, w);
            if (!solved) return indistinct();
            double moved = 0.0;
            for (std::size_t k = 0; k < columns_.free.size(); ++k) {
                frame::PixelPosition& c = at_[columns_.free[k]];
                // A damped step: the derivatives hold within a part of the width only.
                const double most = 0.25 * psf_.fwhm_px();
                const double dx = std::clamp(solved->parameters[columns_.sources + 2 * k], -most, most);
                const double dy = std::clamp(solved->parameters[columns_.sources + 2 * k + 1], -most, most);
                c.x += dx;
                c.y += dy;
                moved = std::max({moved, std::abs(dx), std::abs(dy)});
                const frame::PixelPosition& s = start_[columns_.free[k]];
                const double away = std::hypot(c.x - s.x, c.y - s.y);
                if (!(away <= options_.most_shift_px)) {
                    return fail(
                        cannot(fmt::format("A source wanders more than {:g} px from where it should be.",
                                           options_.most_shift_px),
                               "Hold its position."));
                }
            }
            if (auto good = linear_step(); !good) return good;
            if (moved < settled_px) break;
        }
        return {};
    }

    [[nodiscard]] double residual(const Pixel& p) const { return p.adu - sky_ - light(p); }

    // Single pixels that stand out where the model and their neighbours do not.
    bool mask_cosmic_rays() {
        bool any = false;
        std::vector<std::size_t> found;
        for (std::size_t i = 0; i < pixels_.size(); ++i) {
            const Pixel& p = pixels_[i];
            if (!p.used) continue;
            const double r = residual(p);
            const double sigma = std::hypot(std::sqrt(variance(p)), mismatch * std::max(light(p), 0.0));
            if (!(r > cosmic_sigma * sigma)) continue;
            std::vector<double> around;
            for (const Pixel& q : pixels_) {
                if (q.used && &q != &p && std::abs(q.x - p.x) <= 1 && std::abs(q.y - p.y) <= 1)
                    around.push_back(residual(q));
            }
            if (around.size() >= 3 && numerics::median(std::move(around)) < alone * r) found.push_back(i);
        }
        for (const std::size_t i : found) {
            if (used() <= columns_.count() + 4) break;
            pixels_[i].used = false;
            any = true;
        }
        return any;
    }

    [[nodiscard]] std::size_t used() const {
        return static_cast<std::size_t>(
            std::count_if(pixels_.begin(), pixels_.end(), [](const Pixel& p) { return p.used; }));
    }

    Result<PsfFit> result() const {
        std::vector<double> y, w;
        const numerics::Matrix a = columns(y, w);
        const auto solved = numerics::linear_fit(a, y, w);
        if (!solved) return fail(indistinct().error());
        PsfFit out;
        out.sky_adu = sky_;
        out.masked = undefined_ + pixels_.size() - used();
        std::vector<double> v;
        for (const Pixel& p : pixels_) {
            if (!p.used) continue;
            v.push_back(variance(p));
            out.chi2 += residual(p) * residual(p) / v.back();
        }
        out.dof = v.size() - columns_.count();
        out.covariance =
            options_.weights == PsfWeights::equal ? propagated(solved->covariance, a, v) : solved->covariance;
        for (std::size_t i = 0; i < flux_.size(); ++i)
            out.sources.push_back({flux_[i], std::sqrt(out.covariance(i, i)), at_[i]});
        for (std::size_t k = 0; k < columns_.free.size(); ++k) {
            const std::size_t column = columns_.sources + 2 * k;
            out.sources[columns_.free[k]].x_err_px = std::sqrt(out.covariance(column, column));
            out.sources[columns_.free[k]].y_err_px = std::sqrt(out.covariance(column + 1, column + 1));
        }
        return out;
    }

    // (AᵀA)⁻¹ AᵀVA (AᵀA)⁻¹
    static numerics::Matrix propagated(const numerics::Matrix& inverse, const numerics::Matrix& a,
                                       const std::vector<double>& v) {
        const std::size_t n = a.columns();
        numerics::Matrix inner(n, n), half(n, n), out(n, n);
        for (std::size_t r = 0; r < a.rows(); ++r) {
            for (std::size_t i = 0; i < n; ++i) {
                for (std::size_t j = 0; j < n; ++j)
                    inner(i, j) += v[r] * a(r, i) * a(r, j);
            }
        }
        for (std::size_t i = 0; i < n; ++i) {
            for (std::size_t j = 0; j < n; ++j) {
                for (std::size_t k = 0; k < n; ++k)
                    half(i, j) += inverse(i, k) * inner(k, j);
            }
        }
        for (std::size_t i = 0; i < n; ++i) {
            for (std::size_t j = 0; j < n; ++j) {
                for (std::size_t k = 0; k < n; ++k)
                    out(i, j) += half(i, k) * inverse(k, j);
            }
        }
        return out;
    }

    const Psf& psf_;
    PixelNoise noise_;
    PsfFitOptions options_;
    frame::PixelBox box_;
    Columns columns_;
    std::vector<frame::PixelPosition> start_, at_;
    std::vector<double> flux_;
    double sky_ = 0.0;
    std::vector<Pixel> pixels_;
    std::size_t undefined_ = 0;
};

}  // namespace

Result<PsfFit> fit_psf(const frame::Cutout& cutout, const Psf& psf, const std::vector<PsfSource>& sources,
                       const PixelNoise& noise, const PsfFitOptions& options,
                       const std::vector<double>& variance_adu2) {
    if (sources.empty()) return fail(cannot("There is no source to fit.", "Name at least one."));
    if (cutout.box.empty() || cutout.adu.size() != cutout.box.pixels()) {
        return fail(
            cannot("The cut-out does not hold the pixels that it says.", "Use a cut-out read from a frame."));
    }
    if (!(noise.gain_e_per_adu > 0.0) || !(noise.sky_scatter_adu > 0.0) ||
        !std::isfinite(noise.sky_scatter_adu) || (options.sky_adu && !std::isfinite(*options.sky_adu)) ||
        (!variance_adu2.empty() && variance_adu2.size() != cutout.adu.size())) {
        return fail(cannot("The noise of a pixel is not known.", "Give a gain and a scatter above zero."));
    }
    for (std::size_t i = 0; i < sources.size(); ++i) {
        const frame::PixelPosition& at = sources[i].position;
        if (!cutout.box.covers(at.x, at.y)) {
            return fail(
                cannot(fmt::format("The source at ({:.1f}, {:.1f}) lies off the cut-out.", at.x, at.y),
                       "Use a cut-out that holds it."));
        }
        for (std::size_t j = 0; j < i; ++j) {
            const double apart = std::hypot(at.x - sources[j].position.x, at.y - sources[j].position.y);
            if (apart < least_apart_px) {
                return fail(cannot(fmt::format("Two sources {:.2f} px apart cannot be told apart.", apart),
                                   "Fit them as one."));
            }
        }
    }
    return Fitter(cutout, psf, sources, noise, options, variance_adu2).fit();
}

}  // namespace emberline::photometry
