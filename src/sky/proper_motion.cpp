// SPDX-License-Identifier: MIT
#include "sky/proper_motion.hpp"
