// SPDX-License-Identifier: MIT
// tests/fuzz/scratch_file — a file in memory, for readers that take a path; gone with the process, however
// that ends.
#pragma once

#include <string>
#include <string_view>

namespace emberline::fuzz {

class ScratchFile {
  public:
    ScratchFile();
    ~ScratchFile();
    ScratchFile(const ScratchFile&) = delete;
    ScratchFile& operator=(const ScratchFile&) = delete;

    // Instead of what it held.
    void write(std::string_view bytes) const;
    [[nodiscard]] const std::string& path() const { return path_; }

  private:
    int file_ = -1;
    std::string path_;
};

}  // namespace emberline::fuzz
