// SPDX-License-Identifier: MIT
// lightcurve/model — the one interface that every model of a light curve has.
#pragma once

#include <memory>
#include <span>
#include <string>
#include <string_view>
#include <vector>

#include "lightcurve/light_curve.hpp"
#include "quantities/problem.hpp"

namespace emberline::lightcurve {

struct ParameterInfo {
    std::string name;   // "decline_rate"
    std::string unit;   // "mag/d"
    std::string about;  // one sentence
};

class Model {
  public:
    virtual ~Model() = default;
    [[nodiscard]] virtual std::string name() const = 0;    // "straight-line"
    [[nodiscard]] virtual std::string source() const = 0;  // paper, or what it is
    [[nodiscard]] virtual std::vector<ParameterInfo> parameters() const = 0;
    // Starting values from the data, for times that count from that epoch; a few bad points must not spoil
    // them. Problem: too few points for this model, said in words.
    [[nodiscard]] virtual Result<std::vector<double>> start(const LightCurve& curve,
                                                            double reference_bjd_tdb) const = 0;
    // Magnitude at a time, days since the reference epoch of the fit.
    [[nodiscard]] virtual double magnitude(double days, std::span<const double> parameters) const = 0;
    // Whether those values make sense (bounds).
    [[nodiscard]] virtual bool allowed(std::span<const double> parameters) const = 0;
};

// magnitude = mag_at_reference + decline_rate · days
[[nodiscard]] std::unique_ptr<Model> straight_line();

// Every model by its name(), the simplest first. A new one is one file beside straight_line.cpp, its maker
// declared above and listed in models.cpp.
[[nodiscard]] std::vector<std::string> model_names();
// Problem: a name that none has; the message lists those that exist.
[[nodiscard]] Result<std::unique_ptr<Model>> make_model(std::string_view name);

}  // namespace emberline::lightcurve
