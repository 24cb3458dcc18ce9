// SPDX-License-Identifier: MIT
#include "standard/sequence.hpp"
