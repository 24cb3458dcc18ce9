// SPDX-License-Identifier: MIT
// lightcurve/straight_line — a fade at one rate in magnitudes: an exponential in flux, as radioactive decay
// is. Notation: m magnitude, mag; t days since the reference epoch. Source: the start is the median of
// pairwise slopes [Theil 1950, Indag. Math. 12, 85; Sen 1968, JASA 63, 1379].
#include <cmath>

#include "lightcurve/model.hpp"
#include "lightcurve/samples.hpp"
#include "numerics/robust.hpp"

namespace emberline::lightcurve {
namespace {

// All pairs of a short curve; in a long one each point meets the one half a curve later, so that the cost
// stays in proportion to its length.
std::vector<double> pairwise_slopes(const std::vector<Sample>& samples) {
    constexpr std::size_t short_curve = 300;
    std::vector<double> slopes;
    const auto add = [&](const Sample& a, const Sample& b) {
        if (a.days != b.days) slopes.push_back((b.mag - a.mag) / (b.days - a.days));
    };
    if (samples.size() <= short_curve) {
        for (std::size_t i = 0; i < samples.size(); ++i) {
            for (std::size_t k = i + 1; k < samples.size(); ++k)
                add(samples[i], samples[k]);
        }
    } else {
        const std::size_t half = samples.size() / 2;
        for (std::size_t i = 0; i + half < samples.size(); ++i)
            add(samples[i], samples[i + half]);
    }
    return slopes;
}

class StraightLine final : public Model {
  public:
    [[nodiscard]] std::string name() const override { return "straight-line"; }
    [[nodiscard]] std::string source() const override {
        return "a constant rate in magnitudes, as under exponential decay";
    }
    [[nodiscard]] std::vector<ParameterInfo> parameters(double) const override {
        return {{"mag_at_reference", "mag", "Magnitude at the reference epoch."},
                {"decline_rate", "mag/d", "Change of magnitude a day; positive when it fades."}};
    }
    [[nodiscard]] Result<std::vector<std::vector<double>>> starts(const LightCurve& curve,
                                                                  double reference_bjd_tdb) const override {
        const auto samples = detections(curve, reference_bjd_tdb);
        const auto slopes = pairwise_slopes(samples);
        if (slopes.empty()) {
            return fail({.what = "A straight line needs two detections at different times.",
                         .where = {},
                         .mend = "Add a night, or widen the range of dates."});
        }
        const double rate = numerics::median(slopes);
        std::vector<double> levels;
        for (const Sample& s : samples)
            levels.push_back(s.mag - rate * s.days);
        return std::vector<std::vector<double>>{{numerics::median(levels), rate}};
    }
    [[nodiscard]] double magnitude(double days, std::span<const double> parameters) const override {
        return parameters[0] + parameters[1] * days;
    }
    void gradient(double days, std::span<const double>, std::span<double> slopes) const override {
        slopes[0] = 1.0;
        slopes[1] = days;
    }
    [[nodiscard]] bool allowed(std::span<const double> parameters) const override {
        return std::isfinite(parameters[0]) && std::isfinite(parameters[1]);
    }
};

}  // namespace

std::unique_ptr<Model> straight_line() {
    return std::make_unique<StraightLine>();
}

}  // namespace emberline::lightcurve
