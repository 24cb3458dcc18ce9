// SPDX-License-Identifier: MIT
#include "standard/field_catalogue.hpp"
