// SPDX-License-Identifier: MIT
#include "night/campaign.hpp"
