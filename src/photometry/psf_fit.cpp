// SPDX-License-Identifier: MIT
#include "photometry/psf_fit.hpp"
