// SPDX-License-Identifier: MIT
#include "photometry/scene.hpp"

#include <catch2/catch.hpp>
