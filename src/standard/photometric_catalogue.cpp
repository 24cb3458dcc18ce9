// SPDX-License-Identifier: MIT
#include "standard/photometric_catalogue.hpp"
