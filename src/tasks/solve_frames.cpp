// SPDX-License-Identifier: MIT
#include "tasks/solve_frames.hpp"
