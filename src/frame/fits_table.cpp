// SPDX-License-Identifier: MIT
#include "frame/fits_table.hpp"
