// SPDX-License-Identifier: MIT
#include "picture/night_picture.hpp"
