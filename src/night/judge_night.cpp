// SPDX-License-Identifier: MIT
#include "night/judge_night.hpp"
