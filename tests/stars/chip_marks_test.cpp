// SPDX-License-Identifier: MIT
#include <catch2/catch.hpp>
