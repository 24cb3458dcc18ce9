// SPDX-License-Identifier: MIT
#include "numerics/matrix.hpp"
