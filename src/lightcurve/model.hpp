// SPDX-License-Identifier: MIT
// lightcurve/model — the one interface that every model of a light curve has.
#pragma once

#include <memory>
#include <optional>
#include <span>
#include <string>
#include <string_view>
#include <vector>

#include "lightcurve/light_curve.hpp"
#include "quantities/problem.hpp"
#include "quantities/value_with_error.hpp"

namespace emberline::lightcurve {

// What is known before the points speak: a Gaussian.
struct Prior {
    double mean = 0.0, sigma = 1.0;
};

struct ParameterInfo {
    std::string name;                           // "decline_rate"
    std::string unit;                           // "mag/d"
    std::string about;                          // one sentence
    std::optional<Prior> prior = std::nullopt;  // absent: flat wherever allowed() says yes
    bool is_epoch = false;  // a time, in days since the reference epoch of the fit: reported as BJD(TDB)
};

// What a model may know of the transient beside its points.
struct ModelContext {
    std::optional<ValueWithError> explosion_bjd_tdb;
    double redshift = 0.0;  // clocks there run slower here by 1 + z
};

class Model {
  public:
    virtual ~Model() = default;
    [[nodiscard]] virtual std::string name() const = 0;    // "straight-line"
    [[nodiscard]] virtual std::string source() const = 0;  // paper, or what it is
    // Epochs and their priors count from that reference.
    [[nodiscard]] virtual std::vector<ParameterInfo> parameters(double reference_bjd_tdb) const = 0;
    // Starting values from the data, for times that count from that epoch, the likeliest first; a few bad
    // points must not spoil all of them. Problem: too few points for this model, said in words.
    [[nodiscard]] virtual Result<std::vector<std::vector<double>>> starts(const LightCurve& curve,
                                                                          double reference_bjd_tdb) const = 0;
    // Magnitude at a time, days since the reference epoch of the fit.
    [[nodiscard]] virtual double magnitude(double days, std::span<const double> parameters) const = 0;
    // d magnitude / d parameter into `slopes`, as many as there are parameters. By default central
    // differences, one-sided at a bound.
    virtual void gradient(double days, std::span<const double> parameters, std::span<double> slopes) const;
    // Whether those values make sense (bounds).
    [[nodiscard]] virtual bool allowed(std::span<const double> parameters) const = 0;
};

// magnitude = mag_at_reference + decline_rate · days
[[nodiscard]] std::unique_ptr<Model> straight_line();
// Straight pieces that meet at `breaks` (1 to 3) free times.
[[nodiscard]] std::unique_ptr<Model> broken_line(int breaks);
// A polynomial of that order (2 to 7) about the time of its own maximum of light: for the days around a peak.
// `scale_d`: days in which a type Ia would fade by most of a magnitude from there; weak priors hold the
// shape.
[[nodiscard]] std::unique_ptr<Model> peak_polynomial(int order, double scale_d = 12.0);
// A Gaussian peak on a linear decline, behind an exponential rise (Contardo, Leibundgut & Vacca 2000).
[[nodiscard]] std::unique_ptr<Model> rise_and_fall();
// The same with the second maximum that type Ia have in bands redder than V.
[[nodiscard]] std::unique_ptr<Model> rise_and_two_peaks();
// A Fermi-Dirac step on a line (Olivares et al. 2010; Valenti et al. 2016): a plateau and what follows it.
[[nodiscard]] std::unique_ptr<Model> plateau_and_drop();
// The same with a rate of its own before the drop and after it.
[[nodiscard]] std::unique_ptr<Model> sloping_plateau_and_drop();
// And with a Gaussian for the first weeks, before the plateau is one.
[[nodiscard]] std::unique_ptr<Model> humped_plateau_and_drop();
// ⁵⁶Co: its decay with all gamma rays kept, and with their growing escape.
[[nodiscard]] std::unique_ptr<Model> cobalt_tail(const ModelContext& context = {});
[[nodiscard]] std::unique_ptr<Model> leaking_tail(const ModelContext& context = {});

// Every model of a whole light curve by its name(), the simplest first. A new one is one file beside
// straight_line.cpp, its maker declared above and listed in models.cpp.
[[nodiscard]] std::vector<std::string> model_names();
// Problem: a name that none has; the message lists those that exist.
[[nodiscard]] Result<std::unique_ptr<Model>> make_model(std::string_view name,
                                                        const ModelContext& context = {});

}  // namespace emberline::lightcurve
