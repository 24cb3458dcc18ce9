// SPDX-License-Identifier: MIT
// A master dark from many large frames: peak memory, and time against reading the frames twice.
//   emberline_masters_bench [FRAMES 100] [DISTINCT 5] [MEMORY MiB 256] [THREADS 2] [FOLDER here]
// The frames are 6248 × 4176 pixels of 16 bits. DISTINCT of them are made; the others are hard links to them,
// so that the disk need not hold all. Every file is read once before anything is timed: what is compared then
// comes from the system's cache alike, which is the harder case: there is no waiting for a disk to work in.
#include <fcntl.h>
#include <fmt/format.h>
#include <sys/resource.h>
#include <sys/wait.h>
#include <unistd.h>

#include <chrono>
#include <cmath>
#include <cstdlib>
#include <filesystem>
#include <fstream>
#include <string>
#include <vector>

#include "frame/write_frame.hpp"
#include "numerics/random.hpp"
#include "tasks/build_masters.hpp"

namespace {

using namespace emberline;
namespace fs = std::filesystem;

constexpr int width = 6248, height = 4176;

struct Spent {
    double wall_s = 0.0, processor_s = 0.0;  // the second of all threads together
};
double processor_s() {
    rusage usage{};
    ::getrusage(RUSAGE_SELF, &usage);
    const auto seconds = [](const timeval& t) {
        return static_cast<double>(t.tv_sec) + 1e-6 * static_cast<double>(t.tv_usec);
    };
    return seconds(usage.ru_utime) + seconds(usage.ru_stime);
}
Spent spent_on(const auto& work) {
    const auto start = std::chrono::steady_clock::now();
    const double before = processor_s();
    work();
    return {std::chrono::duration<double>(std::chrono::steady_clock::now() - start).count(),
            processor_s() - before};
}

// In a process of its own: its memory is not the masters'.
bool make_frame(const std::string& path, std::uint64_t seed) {
    const pid_t child = ::fork();
    if (child == 0) {
        numerics::Random random(seed);
        std::vector<std::uint16_t> adu;
        adu.reserve(static_cast<std::size_t>(width) * height);
        for (int i = 0; i < width * height; ++i) {
            const double hit = random.uniform() < 2e-5 ? random.uniform(200.0, 5000.0) : 0.0;
            adu.push_back(static_cast<std::uint16_t>(std::lround(random.gaussian(500.0, 6.0) + hit)));
        }
        const std::vector<frame::Card> cards{
            {"IMAGETYP", "Dark", "", true}, {"EXPTIME", "60.0", "", false}, {"CCD-TEMP", "-10.0", "", false}};
        std::_Exit(frame::write_frame(path, width, height, adu, cards) ? 0 : 1);
    }
    int status = 1;
    return child > 0 && ::waitpid(child, &status, 0) == child && status == 0;
}

void read_all(const std::vector<std::string>& files) {
    std::vector<char> bytes(1U << 20U);
    for (const std::string& file : files) {
        const int descriptor = ::open(file.c_str(), O_RDONLY);
        while (::read(descriptor, bytes.data(), bytes.size()) > 0) {
        }
        ::close(descriptor);
    }
}

std::string status_line(const std::string& name) {
    std::ifstream status("/proc/self/status");
    for (std::string line; std::getline(status, line);) {
        if (line.starts_with(name)) return line;
    }
    return name + " unknown";
}

}  // namespace

int main(int argc, char** argv) {
    const auto number = [&](int at, int otherwise) { return argc > at ? std::atoi(argv[at]) : otherwise; };
    const int frames = number(1, 100), distinct = std::min(frames, number(2, 5));
    const fs::path folder = fs::path(argc > 5 ? argv[5] : ".") / "masters_bench";
    fs::create_directories(folder);
    std::vector<std::string> files;
    for (int i = 0; i < frames; ++i) {
        files.push_back((folder / fmt::format("dark_{:04}.fits", i)).string());
        fs::remove(files.back());
        if (i < distinct) {
            if (!make_frame(files.back(), static_cast<std::uint64_t>(i) + 1)) return 1;
        } else {
            fs::create_hard_link(files[static_cast<std::size_t>(i % distinct)], files.back());
        }
    }
    read_all(files);
    const Spent twice = spent_on([&] {
        read_all(files);
        read_all(files);
    });
    tasks::MastersRequest request;
    // Named one by one: each link counts.
    request.places = files;
    request.campaign = folder.string();
    request.replace = true;
    request.memory_bytes = static_cast<std::size_t>(number(3, 256)) << 20U;
    request.threads = number(4, 2);
    std::string made;
    const Spent built = spent_on([&] {
        const auto outcome = tasks::build_masters(request);
        made = !outcome ? one_line(outcome.error())
               : outcome->masters.empty()
                   ? std::string("nothing")
                   : fmt::format("{} frames, {:.4f} % clipped, {} hot, {} unstable",
                                 outcome->masters[0].frames, 100.0 * outcome->masters[0].clipped_share,
                                 outcome->defects[0].hot, outcome->defects[0].unstable);
    });
    fmt::print("{} frames of {} × {} ({} distinct): {}\n", frames, width, height, distinct, made);
    fmt::print("read twice: {:.2f} s, {:.2f} s of processor\n", twice.wall_s, twice.processor_s);
    fmt::print("master, variance and map built: {:.2f} s, {:.2f} s of processor: {:.2f} times as long\n",
               built.wall_s, built.processor_s, built.wall_s / twice.wall_s);
    fmt::print("{}\n", status_line("VmHWM"));
    fs::remove_all(folder);
    return 0;
}
