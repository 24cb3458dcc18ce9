// SPDX-License-Identifier: MIT
#include "rehearsal/invented_sky.hpp"
