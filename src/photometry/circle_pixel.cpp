// SPDX-License-Identifier: MIT
#include "photometry/circle_pixel.hpp"
