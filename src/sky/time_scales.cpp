// SPDX-License-Identifier: MIT
#include "sky/time_scales.hpp"
