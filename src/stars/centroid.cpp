// SPDX-License-Identifier: MIT
#include "stars/centroid.hpp"
