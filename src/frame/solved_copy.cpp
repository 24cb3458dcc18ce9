// SPDX-License-Identifier: MIT
#include "frame/solved_copy.hpp"
