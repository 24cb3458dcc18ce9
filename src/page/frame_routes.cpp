// SPDX-License-Identifier: MIT
#include "page/route.hpp"

namespace emberline::page {

std::vector<Route> frame_routes() {
    return {};
}

}  // namespace emberline::page
