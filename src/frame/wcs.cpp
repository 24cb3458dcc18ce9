// SPDX-License-Identifier: MIT
#include "frame/wcs.hpp"
