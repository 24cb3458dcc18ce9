// SPDX-License-Identifier: MIT
#include "photometry/template_difference.hpp"
