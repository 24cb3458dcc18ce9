// SPDX-License-Identifier: MIT
#include "picture/curve_picture.hpp"
