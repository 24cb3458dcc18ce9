// SPDX-License-Identifier: MIT
// tests/faults/small_disk — a disk of its own, small enough to fill. Only a superuser may mount one.
#pragma once

#include <fmt/format.h>
#include <sys/mount.h>

#include <filesystem>
#include <string>
#include <utility>

namespace emberline::faults {

class SmallDisk {
  public:
    SmallDisk(std::string place, long kib) : place_(std::move(place)) {
        std::filesystem::create_directories(place_);
        const std::string size = fmt::format("size={}k", kib);
        mounted_ = ::mount("tmpfs", place_.c_str(), "tmpfs", 0, size.c_str()) == 0;
    }
    ~SmallDisk() {
        if (mounted_) ::umount2(place_.c_str(), MNT_DETACH);
    }
    SmallDisk(const SmallDisk&) = delete;
    SmallDisk& operator=(const SmallDisk&) = delete;
    [[nodiscard]] bool mounted() const { return mounted_; }

  private:
    std::string place_;
    bool mounted_ = false;
};

}  // namespace emberline::faults
