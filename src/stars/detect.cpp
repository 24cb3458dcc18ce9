// SPDX-License-Identifier: MIT
#include "stars/detect.hpp"
