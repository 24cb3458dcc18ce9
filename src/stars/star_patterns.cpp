// SPDX-License-Identifier: MIT
#include "stars/star_patterns.hpp"
