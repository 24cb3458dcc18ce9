// SPDX-License-Identifier: MIT
// tests/program/process — the program as a process of its own, and how it ended. Asserts nothing, for studies
// too.
#pragma once

#include <sys/types.h>

#include <filesystem>
#include <nlohmann/json_fwd.hpp>
#include <string>
#include <vector>

#include "temporary_folder.hpp"

namespace emberline::testing {

using Folder = test::TemporaryFolder;

[[nodiscard]] std::string contents(const std::string& path);
[[nodiscard]] std::vector<std::string> lines_of(const std::string& text);

struct Outcome {
    int status = -1;  // of the shell's making: 128 + the signal for one that was killed
    std::string out, err;

    // What follows is for tests, which fail where it is not so (program.cpp).
    // The one line on standard error.
    [[nodiscard]] std::string problem() const;
    // The lines under "Refused:".
    [[nodiscard]] std::vector<std::string> refused() const;
    // Standard output, which must be one JSON document and nothing else.
    [[nodiscard]] nlohmann::json json() const;
};

using Words = std::vector<std::string>;

struct Setting {
    std::string folder;             // to run in
    std::string standard_output;    // a file or device in place of what is caught
    bool as_ordinary_user = false;  // so that permissions hold for a superuser too
    long most_file_bytes = 0;       // 0: no limit
    Words environment = {};         // "NAME=value", besides that of the test
};

class Process {
  public:
    explicit Process(const Words& words, const Setting& setting = {});
    ~Process();
    Process(const Process&) = delete;
    Process& operator=(const Process&) = delete;
    void signal(int number) const;
    [[nodiscard]] bool running();
    // Throws, and kills it, where it takes more than a minute: nothing may hang.
    [[nodiscard]] Outcome wait();

  private:
    Folder caught_;
    Words words_;
    bool out_is_elsewhere_;
    pid_t id_ = -1;
    int raw_status_ = 0;
    bool ended_ = false;
};

[[nodiscard]] Outcome run(const Words& words, const Setting& setting = {});

// Whether this process can give up the superuser's power over permissions, or never had it.
[[nodiscard]] bool can_be_ordinary();

}  // namespace emberline::testing
