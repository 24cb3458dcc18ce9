// SPDX-License-Identifier: MIT
#include "photometry/smooth_host.hpp"

#include <catch2/catch.hpp>
