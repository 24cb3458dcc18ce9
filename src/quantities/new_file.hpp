// SPDX-License-Identifier: MIT
// quantities/new_file — a file that takes its name only when it is whole: written beside its target, flushed
// to disk, then renamed. The old file or the new one, never half of one.
#pragma once

#include <fstream>
#include <memory>
#include <ostream>
#include <string>

#include "quantities/problem.hpp"

namespace emberline {
inline namespace quantities {

class NewFile {
  public:
    // Problem (storage): it cannot be made there.
    [[nodiscard]] static Result<NewFile> open(const std::string& path);
    NewFile(NewFile&& other) noexcept;
    NewFile& operator=(NewFile&&) = delete;
    ~NewFile();  // without commit() nothing is left

    [[nodiscard]] std::ostream& out() { return *stream_; }
    // Where it lies until then, to be read back; what was written so far is there.
    [[nodiscard]] const std::string& beside() {
        stream_->flush();
        return beside_;
    }
    // Problem (storage): the disk did not take it all. Nothing is left then, and the old file stands.
    [[nodiscard]] Result<void> commit();

  private:
    NewFile(std::string path, std::string beside);
    std::string path_, beside_;
    std::unique_ptr<std::ofstream> stream_;
};

// A name in the folder of `path` that no other file being written has, of any thread or process:
// "path.PID.N.part".
[[nodiscard]] std::string name_beside(const std::string& path);

// The whole file `beside` takes the name `path`: flushed to disk first, and its folder afterwards, so that a
// power cut leaves one or the other too. False: errno says why, and `beside` lies there still.
[[nodiscard]] bool take_name(const std::string& beside, const std::string& path);

// Of errno: "Cannot write the file: …".
[[nodiscard]] Problem disk_problem(const std::string& path, std::string_view doing);

}  // namespace quantities
}  // namespace emberline
