// SPDX-License-Identifier: MIT
#include "stars/chip_marks.hpp"
