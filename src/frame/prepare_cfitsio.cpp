// SPDX-License-Identifier: MIT
#include "frame/prepare_cfitsio.hpp"

#include <fitsio.h>

namespace emberline::frame {

void prepare_cfitsio() {
    // What it says is said again by the opening that follows.
    static const int prepared = fits_init_cfitsio();
    static_cast<void>(prepared);
}

}  // namespace emberline::frame
