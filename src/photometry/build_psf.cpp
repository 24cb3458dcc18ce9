// SPDX-License-Identifier: MIT
#include "photometry/build_psf.hpp"
