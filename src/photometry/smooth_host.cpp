// SPDX-License-Identifier: MIT
#include "photometry/smooth_host.hpp"
