// SPDX-License-Identifier: MIT
// tests/fuzz/replay_main — the short run of a target, without clang:
//   PROGRAM CHANGES DICTIONARY FOLDER|FILE …
// Every file of the folders is given to the target as it is, then that many changes of them: bits turned,
// bytes cut out, put in and doubled, words of the dictionary, two files spliced. The same changes in every
// run. Where the target stops the program, what it was given is left in `fuzz_broken_input`.
#include <fcntl.h>
#include <unistd.h>

#include <algorithm>
#include <csignal>
#include <cstdint>
#include <cstdio>
#include <cstdlib>
#include <ctime>
#include <filesystem>
#include <fstream>
#include <iterator>
#include <random>
#include <string>
#include <vector>

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size);
// A target may have one, to make what all inputs share.
extern "C" __attribute__((weak)) int LLVMFuzzerInitialize(int* argc, char*** argv);

namespace {

namespace fs = std::filesystem;

constexpr std::size_t longest = 1U << 16U;
constexpr double slow_s = 5.0;  // of the processor: far above what any input should take

std::string current;  // what the target is given now

void keep_current(int signal) {
    const int file = ::open("fuzz_broken_input", O_WRONLY | O_CREAT | O_TRUNC, 0644);
    if (file >= 0) {
        const auto written = ::write(file, current.data(), current.size());
        static_cast<void>(written);
        ::close(file);
    }
    constexpr char words[] = "The input lies in fuzz_broken_input.\n";
    const auto told = ::write(STDERR_FILENO, words, sizeof words - 1);
    static_cast<void>(told);
    std::signal(signal, SIG_DFL);
    std::raise(signal);
}

void give(std::string input, const std::string& name) {
    current = std::move(input);
    const std::clock_t start = std::clock();
    LLVMFuzzerTestOneInput(reinterpret_cast<const std::uint8_t*>(current.data()), current.size());
    const double took_s = static_cast<double>(std::clock() - start) / CLOCKS_PER_SEC;
    if (took_s > slow_s) {
        std::fprintf(stderr, "%s took %.1f s\n", name.c_str(), took_s);
        std::abort();
    }
}

std::string contents(const fs::path& path) {
    std::ifstream in(path, std::ios::binary);
    return {std::istreambuf_iterator<char>(in), {}};
}

// Lines `"word"` or `name="word"` with \xHH, \\ and \" in it.
std::vector<std::string> words_of(const std::string& path) {
    std::vector<std::string> words;
    std::ifstream in(path);
    for (std::string line; std::getline(in, line);) {
        const auto first = line.find('"'), last = line.rfind('"');
        if (line.starts_with('#') || first == std::string::npos || last <= first) continue;
        std::string word;
        for (auto i = first + 1; i < last; ++i) {
            if (line[i] != '\\') {
                word += line[i];
            } else if (line[++i] == 'x' && i + 2 < last + 1) {
                word += static_cast<char>(std::stoi(line.substr(i + 1, 2), nullptr, 16));
                i += 2;
            } else {
                word += line[i];
            }
        }
        words.push_back(std::move(word));
    }
    return words;
}

class Changes {
  public:
    Changes(std::vector<std::string> inputs, std::vector<std::string> words)
        : inputs_(std::move(inputs)), words_(std::move(words)) {}

    std::string next() {
        std::string input = any(inputs_);
        for (std::size_t n = 1 + below(4); n > 0; --n)
            change(input);
        if (input.size() > longest) input.resize(longest);
        return input;
    }

  private:
    std::size_t below(std::size_t n) { return n == 0 ? 0 : static_cast<std::size_t>(random_() % n); }
    const std::string& any(const std::vector<std::string>& of) { return of[below(of.size())]; }

    void change(std::string& input) {
        const std::size_t at = below(input.size() + 1);
        const std::size_t n = std::min(1 + below(below(2) == 0 ? 4 : 64), input.size() - at);
        switch (below(7)) {
            case 0:
                if (at < input.size()) input[at] = static_cast<char>(input[at] ^ (1 << below(8)));
                break;
            case 1:
                if (at < input.size()) input[at] = static_cast<char>(below(256));
                break;
            case 2:
                input.erase(at, n);
                break;
            case 3:
                input.insert(at, input.substr(below(input.size()), n));
                break;
            case 4:
                if (!words_.empty()) input.insert(at, any(words_));
                break;
            case 5:
                if (!words_.empty()) input.replace(at, n, any(words_));
                break;
            default: {
                const std::string& other = any(inputs_);
                input.replace(at, input.size() - at, other, below(other.size()), std::string::npos);
            }
        }
    }

    std::vector<std::string> inputs_, words_;
    std::mt19937_64 random_{20240314};
};

}  // namespace

int main(int argc, char** argv) {
    if (argc < 4) {
        std::fprintf(stderr, "usage: %s CHANGES DICTIONARY FOLDER|FILE ...\n", argv[0]);
        return 2;
    }
    for (const int signal : {SIGABRT, SIGSEGV, SIGFPE, SIGBUS, SIGILL, SIGTERM})
        std::signal(signal, keep_current);
    if (LLVMFuzzerInitialize != nullptr) LLVMFuzzerInitialize(&argc, &argv);
    std::vector<fs::path> paths;
    for (int i = 3; i < argc; ++i) {
        if (!fs::is_directory(argv[i])) {
            if (fs::is_regular_file(argv[i])) paths.emplace_back(argv[i]);
            continue;
        }
        for (const auto& entry : fs::directory_iterator(argv[i]))
            paths.push_back(entry.path());
    }
    if (paths.empty()) {
        std::fprintf(stderr, "There are no inputs.\n");
        return 2;
    }
    std::sort(paths.begin(), paths.end());
    std::vector<std::string> inputs{""};
    for (const fs::path& path : paths) {
        inputs.push_back(contents(path));
        give(inputs.back(), path.string());
    }
    Changes changes(inputs, words_of(argv[2]));
    const int n = std::atoi(argv[1]);
    for (int i = 0; i < n; ++i)
        give(changes.next(), "change " + std::to_string(i));
    std::printf("%zu inputs and %d changes of them\n", paths.size(), n);
    return 0;
}
