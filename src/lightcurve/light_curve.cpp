// SPDX-License-Identifier: MIT
#include "lightcurve/light_curve.hpp"
