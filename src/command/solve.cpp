// SPDX-License-Identifier: MIT
#include "command/face.hpp"
