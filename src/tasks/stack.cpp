// SPDX-License-Identifier: MIT
#include "tasks/stack.hpp"
