// SPDX-License-Identifier: MIT
#include "page/route.hpp"

namespace emberline::page {

std::vector<Route> star_routes() {
    return {};
}

}  // namespace emberline::page
