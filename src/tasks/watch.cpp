// SPDX-License-Identifier: MIT
#include "tasks/watch.hpp"
