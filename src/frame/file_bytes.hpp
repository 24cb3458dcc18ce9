// SPDX-License-Identifier: MIT
// frame/file_bytes — the bytes of an open FITS file: as they lie on the disk, or unpacked where it is gzipped
// as a whole. cfitsio sees them only after their headers' counts were looked at. Private to this room.
// Source: RFC 1952 (gzip), section 2.2: a file is a series of members.
#pragma once

#include <fitsio.h>

#include <array>
#include <optional>
#include <span>
#include <string>
#include <string_view>

namespace emberline::frame {

class FileBytes {
  public:
    FileBytes() = default;
    FileBytes(const FileBytes&) = delete;
    FileBytes& operator=(const FileBytes&) = delete;
    ~FileBytes();

    // What keeps it from being opened, as the system says it; nothing where it is open.
    [[nodiscard]] std::optional<std::string> open(const std::string& path);
    [[nodiscard]] std::string_view start() const;
    [[nodiscard]] bool gzipped() const;
    // Into memory that is read like a file. A sentence where that cannot be done. Not to be called twice.
    [[nodiscard]] std::optional<std::string> unpack();

    [[nodiscard]] long long size() const { return size_; }  // unpacked
    // Fewer where the file ends, or cannot be read.
    [[nodiscard]] std::size_t read(long long offset, std::span<char> into) const;
    // A sentence on the first count that cfitsio must not see, in the header that begins there.
    [[nodiscard]] std::optional<std::string> impossible_count(long long offset) const;
    // cfitsio's status. The bytes must outlive what it opened.
    [[nodiscard]] int open_library(fitsfile** fits);

  private:
    std::string path_;  // of the unpacked bytes, where they are
    int descriptor_ = -1;
    long long size_ = 0;
    std::array<char, 512> start_{};
    std::size_t start_bytes_ = 0;
};

}  // namespace emberline::frame
