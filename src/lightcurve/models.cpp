// SPDX-License-Identifier: MIT
#include <fmt/format.h>
#include <fmt/ranges.h>

#include "lightcurve/model.hpp"

namespace emberline::lightcurve {
namespace {

using Maker = std::unique_ptr<Model> (*)();
constexpr Maker makers[] = {straight_line};

}  // namespace

std::vector<std::string> model_names() {
    std::vector<std::string> names;
    for (const Maker make : makers)
        names.push_back(make()->name());
    return names;
}

Result<std::unique_ptr<Model>> make_model(std::string_view name) {
    for (const Maker make : makers) {
        if (auto model = make(); model->name() == name) return model;
    }
    return fail({.what = fmt::format("No model of a light curve is called '{}'.", name),
                 .where = {},
                 .mend = fmt::format("Choose one of: {}.", fmt::join(model_names(), ", ")),
                 .kind = ProblemKind::request});
}

}  // namespace emberline::lightcurve
