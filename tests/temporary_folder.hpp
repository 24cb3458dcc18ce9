// SPDX-License-Identifier: MIT
// A folder of a test's own, gone with it.
#pragma once

#include <stdlib.h>

#include <algorithm>
#include <filesystem>
#include <fstream>
#include <stdexcept>
#include <string>
#include <string_view>
#include <vector>

namespace emberline::test {

class TemporaryFolder {
  public:
    TemporaryFolder() {
        std::string name = (std::filesystem::temp_directory_path() / "emberline-test-XXXXXX").string();
        if (::mkdtemp(name.data()) == nullptr) throw std::runtime_error("no temporary folder");
        root_ = name;
    }
    TemporaryFolder(const TemporaryFolder&) = delete;
    TemporaryFolder& operator=(const TemporaryFolder&) = delete;
    // Whatever the test took away from itself.
    ~TemporaryFolder() {
        namespace fs = std::filesystem;
        std::error_code ignored;
        fs::permissions(root_, fs::perms::owner_all, fs::perm_options::add, ignored);
        for (auto walker = fs::recursive_directory_iterator(root_, ignored);
             walker != fs::recursive_directory_iterator(); walker.increment(ignored)) {
            if (walker->is_directory(ignored) && !walker->is_symlink(ignored))
                fs::permissions(walker->path(), fs::perms::owner_all, fs::perm_options::add, ignored);
        }
        fs::remove_all(root_, ignored);
    }

    [[nodiscard]] std::string path(const std::string& inside = "") const {
        return inside.empty() ? root_.string() : (root_ / inside).string();
    }
    [[nodiscard]] std::string operator/(const std::string& name) const { return path(name); }
    // Writes the bytes, into new folders where need be, and returns the path.
    std::string file(const std::string& name, std::string_view bytes) const {
        // Some file systems wait for the disk when a file is written over.
        std::filesystem::remove(path(name));
        std::filesystem::create_directories(std::filesystem::path(path(name)).parent_path());
        std::ofstream out(path(name), std::ios::binary);
        out.write(bytes.data(), static_cast<std::streamsize>(bytes.size()));
        if (!out.flush()) throw std::runtime_error("the test cannot write " + path(name));
        return path(name);
    }
    [[nodiscard]] std::vector<std::string> names() const {
        std::vector<std::string> all;
        for (const auto& entry : std::filesystem::directory_iterator(root_))
            all.push_back(entry.path().filename().string());
        std::sort(all.begin(), all.end());
        return all;
    }

  private:
    std::filesystem::path root_;
};

}  // namespace emberline::test
