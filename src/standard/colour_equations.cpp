// SPDX-License-Identifier: MIT
#include "standard/colour_equations.hpp"
