// SPDX-License-Identifier: MIT
// Notation: P covariance of the state; F, Q its motion; G the gain of a step back in time; columns: the
// values first, then those of B, since everything is linear in them. Source: Rauch, Tung & Striebel 1965,
// AIAA Journal 3, 1445, with the covariance as a sum of positive parts.
#include <algorithm>

#include "numerics/matern_pass.hpp"

namespace emberline::numerics {

struct MaternPosterior::Smoother {
    MaternEvidence evidence;
    std::vector<MeanAndVariance> at_values;
    std::vector<double> coefficients;
    Matrix coefficient_covariance;
    Matrix coefficient_root;  // R⁻¹: times unit Gaussians it draws b around its mean

    virtual ~Smoother() = default;
    [[nodiscard]] virtual MeanAndVariance at(double time, std::span<const double> basis) const = 0;
    [[nodiscard]] virtual Matrix draws(std::span<const double> times, const Matrix& basis, std::size_t count,
                                       Random& random) const = 0;

    void take_fit(const UnitRidge& fit, std::size_t n, double log_determinant) {
        evidence = evidence_from(fit, n, log_determinant);
        coefficients = fit.solution();
        const Matrix& r = fit.triangle();
        const std::size_t k = r.rows();
        coefficient_root = Matrix(k, k);
        for (std::size_t c = 0; c < k; ++c) {
            for (std::size_t j = c + 1; j-- > 0;) {
                double sum = j == c ? 1.0 : 0.0;
                for (std::size_t l = j + 1; l <= c; ++l)
                    sum -= r(j, l) * coefficient_root(l, c);
                coefficient_root(j, c) = sum / r(j, j);
            }
        }
        coefficient_covariance = Matrix(k, k);
        for (std::size_t i = 0; i < k; ++i) {
            for (std::size_t j = 0; j < k; ++j) {
                for (std::size_t l = std::max(i, j); l < k; ++l)
                    coefficient_covariance(i, j) += coefficient_root(i, l) * coefficient_root(j, l);
            }
        }
    }
};

namespace {

template <std::size_t D>
using Columns = std::vector<StateColumn<D>>;

// The state at one time, given the values up to it.
template <std::size_t D>
struct Known {
    double time = 0.0;
    StateSquare<D> p{};
    Columns<D> means;
};

// The state at one time, given a later state x and the values in between: mean + G x, and the covariance.
// Where nothing is drawn later, G is zero and this is what all values say.
template <std::size_t D>
struct Behind {
    StateSquare<D> gain{}, rest{};
    Columns<D> means;
};

// One step back, from what is known at a time and what is behind the next one; null: the next state itself is
// given.
template <std::size_t D>
Behind<D> step_back(const StateKernel<D>& kernel, const Known<D>& here, double next_time,
                    const Behind<D>* behind_next) {
    Behind<D> out;
    const double elapsed = next_time - here.time;
    if (!(elapsed > 0.0)) {  // the same state
        if (behind_next) return *behind_next;
        for (std::size_t d = 0; d < D; ++d)
            out.gain[d][d] = 1.0;
        out.means.resize(here.means.size());
        return out;
    }
    const Motion<D> motion = kernel.motion(elapsed);
    StateSquare<D> there = carried(motion.carry, here.p, motion.added);
    StateSquare<D> crossed{};  // P Fᵀ
    for (std::size_t i = 0; i < D; ++i) {
        for (std::size_t j = 0; j < D; ++j) {
            for (std::size_t k = 0; k < D; ++k)
                crossed[i][j] += here.p[i][k] * motion.carry[j][k];
        }
    }
    const StateSquare<D> gain = over(crossed, there);
    // (I − G F) P (I − G F)ᵀ + G Q Gᵀ: right to first order even where G is not exact.
    StateSquare<D> left = times(gain, motion.carry);
    for (std::size_t i = 0; i < D; ++i) {
        for (std::size_t j = 0; j < D; ++j)
            left[i][j] = (i == j ? 1.0 : 0.0) - left[i][j];
    }
    out.rest = carried(left, here.p, carried(gain, motion.added, StateSquare<D>{}));
    if (behind_next) {
        out.rest = carried(gain, behind_next->rest, out.rest);
        out.gain = times(gain, behind_next->gain);
    } else {
        out.gain = gain;
    }
    out.means.resize(here.means.size());
    for (std::size_t c = 0; c < here.means.size(); ++c) {
        StateColumn<D> ahead = times(motion.carry, here.means[c]);
        for (std::size_t d = 0; d < D; ++d)
            ahead[d] = (behind_next ? behind_next->means[c][d] : 0.0) - ahead[d];
        out.means[c] = times(gain, ahead);
        for (std::size_t d = 0; d < D; ++d)
            out.means[c][d] += here.means[c][d];
    }
    return out;
}

template <std::size_t D>
class SmootherOf final : public MaternPosterior::Smoother {
  public:
    SmootherOf(const Matern& process, const MaternData& data) : kernel_(process) {
        const std::size_t n = data.times.size();
        known_.resize(n);
        UnitRidge fit(data.basis.columns());
        const double log_determinant = pass_forward<D>(
            process, data, fit, [&](std::size_t i, const StateSquare<D>& p, const Columns<D>& means) {
                known_[i] = {.time = data.times[i], .p = p, .means = means};
            });
        take_fit(fit, n, log_determinant);
        smoothed_.resize(n);
        smoothed_[n - 1] = {.gain = {}, .rest = known_[n - 1].p, .means = known_[n - 1].means};
        for (std::size_t i = n - 1; i-- > 0;)
            smoothed_[i] = step_back(kernel_, known_[i], known_[i + 1].time, &smoothed_[i + 1]);
        std::vector<double> basis(data.basis.columns());
        for (std::size_t i = 0; i < n; ++i) {
            for (std::size_t c = 0; c < basis.size(); ++c)
                basis[c] = data.basis(i, c);
            at_values.push_back(seen_through(smoothed_[i].means, smoothed_[i].rest[0][0], basis));
        }
    }

    [[nodiscard]] MeanAndVariance at(double time, std::span<const double> basis) const override {
        const std::size_t next = after(time);
        const Known<D> here = known_at(time, next);
        if (next == known_.size()) return seen_through(here.means, here.p[0][0], basis);
        const auto behind = step_back(kernel_, here, known_[next].time, &smoothed_[next]);
        return seen_through(behind.means, behind.rest[0][0], basis);
    }

    [[nodiscard]] Matrix draws(std::span<const double> times, const Matrix& basis, std::size_t count,
                               Random& random) const override;

  private:
    // The first of the values later than that time.
    [[nodiscard]] std::size_t after(double time) const {
        const auto found = std::upper_bound(known_.begin(), known_.end(), time,
                                            [](double t, const Known<D>& k) { return t < k.time; });
        return static_cast<std::size_t>(found - known_.begin());
    }
    [[nodiscard]] Known<D> known_at(double time, std::size_t next) const {
        if (next == 0) {
            return {.time = time, .p = kernel_.at_rest(), .means = Columns<D>(known_.front().means.size())};
        }
        const Known<D>& before = known_[next - 1];
        if (!(time > before.time)) return before;
        const Motion<D> motion = kernel_.motion(time - before.time);
        Known<D> here{
            .time = time, .p = carried(motion.carry, before.p, motion.added), .means = before.means};
        for (auto& mean : here.means)
            mean = emberline::numerics::times(motion.carry, mean);
        return here;
    }
    // f + basis · b: what b moves, f's smoothed columns move back.
    [[nodiscard]] MeanAndVariance seen_through(const Columns<D>& means, double variance,
                                               std::span<const double> basis) const {
        const std::size_t k = coefficients.size();
        MeanAndVariance out{.mean = means[0][0], .variance = variance};
        std::vector<double> lever(k);
        for (std::size_t j = 0; j < k; ++j) {
            lever[j] = (basis.empty() ? 0.0 : basis[j]) - means[j + 1][0];
            out.mean += lever[j] * coefficients[j];
        }
        for (std::size_t l = 0; l < k; ++l) {
            double along = 0.0;
            for (std::size_t j = 0; j <= l; ++j)
                along += lever[j] * coefficient_root(j, l);
            out.variance += along * along;
        }
        return out;
    }

    StateKernel<D> kernel_;
    std::vector<Known<D>> known_;
    std::vector<Behind<D>> smoothed_;
};

template <std::size_t D>
Matrix SmootherOf<D>::draws(std::span<const double> times, const Matrix& basis, std::size_t count,
                            Random& random) const {
    const std::size_t m = times.size(), k = coefficients.size();
    Matrix out(count, m);
    if (m == 0) return out;
    // From the last time to the first, what is behind each given the state at the next, and its root.
    std::vector<Behind<D>> behind(m);
    std::vector<StateSquare<D>> roots(m);
    for (std::size_t j = m; j-- > 0;) {
        const std::size_t next = after(times[j]);
        const Known<D> here = known_at(times[j], next);
        if (j + 1 == m) {
            behind[j] = next == known_.size() ? Behind<D>{.gain = {}, .rest = here.p, .means = here.means}
                                              : step_back(kernel_, here, known_[next].time, &smoothed_[next]);
        } else {
            const std::size_t end = after(times[j + 1]);  // values next … end − 1 lie up to the next time
            Behind<D> later;
            const Behind<D>* later_or_none = nullptr;
            double later_time = times[j + 1];
            for (std::size_t i = end; i-- > next;) {
                later = step_back(kernel_, known_[i], later_time, later_or_none);
                later_or_none = &later;
                later_time = known_[i].time;
            }
            behind[j] = step_back(kernel_, here, later_time, later_or_none);
        }
        roots[j] = state_cholesky(behind[j].rest);
    }
    std::vector<double> b(k), kick(k);
    for (std::size_t r = 0; r < count; ++r) {
        for (double& v : kick)
            v = random.gaussian();
        b = coefficients;
        for (std::size_t j = 0; j < k; ++j) {
            for (std::size_t l = j; l < k; ++l)
                b[j] += coefficient_root(j, l) * kick[l];
        }
        StateColumn<D> state{};
        for (std::size_t j = m; j-- > 0;) {
            StateColumn<D> shocks{};
            for (double& v : shocks)
                v = random.gaussian();
            const StateColumn<D> moved = emberline::numerics::times(roots[j], shocks);
            state = emberline::numerics::times(behind[j].gain, state);
            double line = 0.0;
            for (std::size_t d = 0; d < D; ++d)
                state[d] += moved[d] + behind[j].means[0][d];
            for (std::size_t c = 0; c < k; ++c) {
                for (std::size_t d = 0; d < D; ++d)
                    state[d] -= behind[j].means[c + 1][d] * b[c];
                if (basis.columns() > 0) line += basis(j, c) * b[c];
            }
            out(r, j) = state[0] + line;
        }
    }
    return out;
}

}  // namespace

MaternPosterior::MaternPosterior(std::shared_ptr<const Smoother> smoother) : smoother_(std::move(smoother)) {}

Result<MaternPosterior> MaternPosterior::make(const Matern& process, const MaternData& data) {
    if (const auto good = check(data); !good) return fail(good.error());
    for (const double scale : {process.amplitude, process.time_scale}) {
        if (!(scale > 0.0) || !std::isfinite(scale)) {
            return fail({.what = "The amplitude or the time scale is not above zero.",
                         .where = "Matérn process",
                         .mend = "Give positive numbers."});
        }
    }
    if (process.order == MaternOrder::three_halves)
        return MaternPosterior(std::make_shared<const SmootherOf<2>>(process, data));
    return MaternPosterior(std::make_shared<const SmootherOf<3>>(process, data));
}

const MaternEvidence& MaternPosterior::evidence() const {
    return smoother_->evidence;
}
const std::vector<double>& MaternPosterior::coefficients() const {
    return smoother_->coefficients;
}
const Matrix& MaternPosterior::coefficient_covariance() const {
    return smoother_->coefficient_covariance;
}
MeanAndVariance MaternPosterior::at(double time, std::span<const double> basis) const {
    return smoother_->at(time, basis);
}
const std::vector<MeanAndVariance>& MaternPosterior::at_values() const {
    return smoother_->at_values;
}
Matrix MaternPosterior::draws(std::span<const double> times, const Matrix& basis, std::size_t count,
                              Random& random) const {
    return smoother_->draws(times, basis, count, random);
}

}  // namespace emberline::numerics
