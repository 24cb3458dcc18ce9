// SPDX-License-Identifier: MIT
#include "night/stack_night.hpp"
