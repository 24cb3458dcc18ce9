// SPDX-License-Identifier: MIT
#include "photometry/build_psf.hpp"

#include <catch2/catch.hpp>
