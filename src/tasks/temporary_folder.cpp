// SPDX-License-Identifier: MIT
#include "tasks/temporary_folder.hpp"

#include <cstdlib>

#include "quantities/new_file.hpp"

namespace emberline::tasks {

Result<TemporaryFolder> TemporaryFolder::make() {
    std::error_code error;
    std::filesystem::path base = std::filesystem::temp_directory_path(error);
    if (error) base = "/tmp";
    std::string name = (base / "emberline-XXXXXX").string();
    if (::mkdtemp(name.data()) == nullptr) return fail(disk_problem(name, "make"));
    return TemporaryFolder(std::filesystem::path(name));
}

TemporaryFolder::~TemporaryFolder() {
    std::error_code ignored;
    if (!path_.empty()) std::filesystem::remove_all(path_, ignored);
}

}  // namespace emberline::tasks
