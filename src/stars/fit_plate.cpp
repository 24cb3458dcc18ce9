// SPDX-License-Identifier: MIT
#include "stars/fit_plate.hpp"
