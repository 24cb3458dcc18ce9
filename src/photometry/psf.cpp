// SPDX-License-Identifier: MIT
#include "photometry/psf.hpp"
