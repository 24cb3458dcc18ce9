// SPDX-License-Identifier: MIT
#include "ledger/ledger.hpp"
