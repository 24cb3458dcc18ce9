// SPDX-License-Identifier: MIT
#include "photometry/psf_fit.hpp"

#include <catch2/catch.hpp>
