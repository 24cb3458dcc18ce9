// SPDX-License-Identifier: MIT
#include "stars/background.hpp"
