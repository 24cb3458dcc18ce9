// SPDX-License-Identifier: MIT
#include "exchange/network_report.hpp"
