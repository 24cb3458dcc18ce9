// SPDX-License-Identifier: MIT
#include "fuzz/scratch_file.hpp"

#include <sys/mman.h>
#include <unistd.h>

#include "fuzz/promise.hpp"

namespace emberline::fuzz {

ScratchFile::ScratchFile()
    : file_(::memfd_create("fuzz", MFD_CLOEXEC)), path_("/proc/self/fd/" + std::to_string(file_)) {
    ensure(file_ >= 0, "a file in memory can be made");
}

ScratchFile::~ScratchFile() {
    ::close(file_);
}

void ScratchFile::write(std::string_view bytes) const {
    ensure(::ftruncate(file_, 0) == 0, "a file in memory can be emptied");
    std::size_t written = 0;
    while (written < bytes.size()) {
        const auto now =
            ::pwrite(file_, bytes.data() + written, bytes.size() - written, static_cast<off_t>(written));
        ensure(now > 0, "a file in memory can be written");
        written += static_cast<std::size_t>(now);
    }
}

}  // namespace emberline::fuzz
