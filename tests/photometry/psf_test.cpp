// SPDX-License-Identifier: MIT
#include "photometry/psf.hpp"

#include <catch2/catch.hpp>
