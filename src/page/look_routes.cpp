// SPDX-License-Identifier: MIT
#include "page/route.hpp"

namespace emberline::page {

std::vector<Route> look_routes() {
    return {};
}

}  // namespace emberline::page
