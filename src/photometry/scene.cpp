// SPDX-License-Identifier: MIT
#include "photometry/scene.hpp"
