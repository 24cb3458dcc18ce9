// SPDX-License-Identifier: MIT
// frame/prepare_cfitsio — cfitsio makes its lock when the first file is opened, and another thread that opens
// one at that moment may take the lock while it is being made. Private to this room.
#pragma once

namespace emberline::frame {

// Before every opening: the first call prepares the library, others wait for it.
void prepare_cfitsio();

}  // namespace emberline::frame
