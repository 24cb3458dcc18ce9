// SPDX-License-Identifier: MIT
#include "night/plate_finder.hpp"
