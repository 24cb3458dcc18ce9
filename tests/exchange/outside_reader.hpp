// SPDX-License-Identifier: MIT
// Somebody else's programs, to read what we wrote: a folder for the files, and what the programs said.
#pragma once

#include <sys/wait.h>
#include <unistd.h>

#include <array>
#include <cstdio>
#include <filesystem>
#include <fstream>
#include <string>

namespace emberline::test {

// astropy and numpy are Debian's, whatever other Python stands first in the path.
inline constexpr const char* python = "/usr/bin/python3";

struct Said {
    int status = -1;  // 127: no such program
    std::string out;
};
inline Said say(const std::string& command) {
    Said said;
    FILE* pipe = ::popen((command + " 2>&1").c_str(), "r");
    if (pipe == nullptr) return said;
    std::array<char, 4096> piece{};
    while (const std::size_t n = std::fread(piece.data(), 1, piece.size(), pipe))
        said.out.append(piece.data(), n);
    const int status = ::pclose(pipe);
    said.status = WIFEXITED(status) ? WEXITSTATUS(status) : -1;
    return said;
}
inline bool has_astropy() {
    return say(std::string(python) + " -c 'import astropy'").status == 0;
}

class ScratchFolder {
  public:
    ScratchFolder()
        : path_(std::filesystem::temp_directory_path() /
                ("emberline_exchange_" + std::to_string(::getpid()))) {
        std::filesystem::create_directories(path_);
    }
    ~ScratchFolder() { std::filesystem::remove_all(path_); }
    ScratchFolder(const ScratchFolder&) = delete;
    ScratchFolder& operator=(const ScratchFolder&) = delete;
    // Writes it and returns its path.
    std::string file(const std::string& name, const std::string& text) const {
        std::ofstream(path_ / name, std::ios::binary) << text;
        return (path_ / name).string();
    }

  private:
    std::filesystem::path path_;
};

}  // namespace emberline::test
