// SPDX-License-Identifier: MIT
#include "photometry/template_difference.hpp"

#include <catch2/catch.hpp>
