// SPDX-License-Identifier: MIT
#include "stars/solve_plate.hpp"
