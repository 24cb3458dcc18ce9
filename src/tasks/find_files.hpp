// SPDX-License-Identifier: MIT
// tasks/find_files — the frames that a list of files and folders stands for.
#pragma once

#include <string>
#include <string_view>
#include <vector>

#include "quantities/problem.hpp"

namespace emberline::tasks {

// Whether a file is named as frames are: .fits .fit .fts, also .fz or .gz.
[[nodiscard]] bool is_frame_name(std::string_view path);

// Files as they are given, folders with every FITS file under them but hidden ones and pipes, each once,
// sorted by path; links are followed, in circles once. `skip` is a folder left out. A name that does not
// exist stays in the list: opening it gives the problem. Problem: a folder that cannot be read.
[[nodiscard]] Result<std::vector<std::string>> find_frame_files(const std::vector<std::string>& places,
                                                                const std::string& skip);

// What to say where none was found: what lies there in place of frames. `places`: at least one.
[[nodiscard]] Problem no_frames_in(const std::vector<std::string>& places);

// How the ledger and the tables name a frame: relative to the campaign where it lies inside, else absolute.
[[nodiscard]] std::string frame_name(const std::string& path, const std::string& campaign_folder);

}  // namespace emberline::tasks
