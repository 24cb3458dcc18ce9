// SPDX-License-Identifier: MIT
#include <fmt/format.h>
#include <fmt/ranges.h>

#include <algorithm>
#include <cmath>

#include "lightcurve/model.hpp"

namespace emberline::lightcurve {
namespace {

using Maker = std::unique_ptr<Model> (*)(const ModelContext&);
constexpr Maker makers[] = {
    [](const ModelContext& context) { return cobalt_tail(context); },
    [](const ModelContext&) { return straight_line(); },
    [](const ModelContext& context) { return leaking_tail(context); },
    [](const ModelContext&) { return broken_line(1); },
    [](const ModelContext&) { return broken_line(2); },
    [](const ModelContext&) { return broken_line(3); },
    [](const ModelContext&) { return plateau_and_drop(); },
    [](const ModelContext&) { return sloping_plateau_and_drop(); },
    [](const ModelContext&) { return humped_plateau_and_drop(); },
    [](const ModelContext&) { return rise_and_fall(); },
    [](const ModelContext&) { return rise_and_two_peaks(); },
};

}  // namespace

void Model::gradient(double days, std::span<const double> parameters, std::span<double> slopes) const {
    // The cube root of a double's precision balances rounding against curvature.
    constexpr double relative_step = 6e-6, typical_size = 0.1;
    std::vector<double> moved(parameters.begin(), parameters.end());
    for (std::size_t j = 0; j < moved.size(); ++j) {
        const double here = parameters[j];
        const double step = relative_step * std::max(std::abs(here), typical_size);
        double high = here + step, low = here - step;
        moved[j] = high;
        if (!allowed(moved)) moved[j] = high = here;
        const double above = magnitude(days, moved);
        moved[j] = low;
        if (!allowed(moved)) moved[j] = low = here;
        const double below = magnitude(days, moved);
        moved[j] = here;
        slopes[j] = high > low ? (above - below) / (high - low) : 0.0;
    }
}

std::vector<std::string> model_names() {
    std::vector<std::string> names;
    for (const Maker make : makers)
        names.push_back(make({})->name());
    return names;
}

Result<std::unique_ptr<Model>> make_model(std::string_view name, const ModelContext& context) {
    for (const Maker make : makers) {
        if (auto model = make(context); model->name() == name) return model;
    }
    return fail({.what = fmt::format("No model of a light curve is called '{}'.", name),
                 .where = {},
                 .mend = fmt::format("Choose one of: {}.", fmt::join(model_names(), ", ")),
                 .kind = ProblemKind::request});
}

}  // namespace emberline::lightcurve
