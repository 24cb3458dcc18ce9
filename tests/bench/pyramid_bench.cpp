// SPDX-License-Identifier: MIT
// Time until the first tiles of one large frame can be shown, and how many bytes they are.
//   emberline_pyramid_bench [ROUNDS 5] [FOLDER here]
// The frame is 6248 × 4176 pixels of 16 bits: 3000 Gaussian stars over a sky with noise; plain, in tiles
// packed by Rice's method, gzipped as a whole, and as a colour mosaic's green. Each time is the shortest of
// ROUNDS; the files lie in the system's cache throughout, which is the harder case against the time to read
// them whole.
#include <fmt/format.h>
#include <unistd.h>

#include <algorithm>
#include <chrono>
#include <cmath>
#include <cstdlib>
#include <filesystem>
#include <fstream>
#include <string>
#include <type_traits>
#include <vector>

#include "bench.hpp"
#include "frame/write_frame.hpp"
#include "numerics/random.hpp"
#include "picture/frame_pyramid.hpp"

namespace {

using emberline::bench::must;

using namespace emberline;
namespace fs = std::filesystem;

constexpr int width = 6248, height = 4176;

double milliseconds_of(int rounds, const auto& work) {
    double shortest = 1e9;
    for (int i = 0; i < rounds; ++i) {
        const auto start = std::chrono::steady_clock::now();
        work();
        shortest = std::min(
            shortest,
            std::chrono::duration<double, std::milli>(std::chrono::steady_clock::now() - start).count());
    }
    return shortest;
}

std::vector<std::uint16_t> invented() {
    numerics::Random random(26);
    std::vector<float> light(static_cast<std::size_t>(width) * height, 900.0F);
    for (int star = 0; star < 3000; ++star) {
        const double peak = std::min(60000.0, 30.0 / std::pow(1.0 - random.uniform(), 1.0 / 1.0));
        const double x0 = random.uniform(0.0, width), y0 = random.uniform(0.0, height);
        for (int y = std::max(0, static_cast<int>(y0) - 12); y < std::min(height, static_cast<int>(y0) + 13);
             ++y) {
            for (int x = std::max(0, static_cast<int>(x0) - 12);
                 x < std::min(width, static_cast<int>(x0) + 13); ++x)
                light[static_cast<std::size_t>(y) * width + static_cast<std::size_t>(x)] +=
                    static_cast<float>(
                        peak * std::exp(-((x - x0) * (x - x0) + (y - y0) * (y - y0)) / (2.0 * 1.6 * 1.6)));
        }
    }
    std::vector<std::uint16_t> adu;
    adu.reserve(light.size());
    for (const float v : light) {
        const double noisy =
            random.gaussian(static_cast<double>(v), std::sqrt(static_cast<double>(v) / 1.5 + 9.0));
        adu.push_back(static_cast<std::uint16_t>(std::clamp(std::lround(noisy), 0L, 65535L)));
    }
    return adu;
}

double resident_mb(const char* which) {
    std::ifstream status("/proc/self/status");
    for (std::string line; std::getline(status, line);) {
        if (line.starts_with(which)) return std::strtod(line.c_str() + line.find(':') + 1, nullptr) / 1024.0;
    }
    return 0.0;
}

void report(const std::string& name, const std::string& path, std::size_t plane, int rounds) {
    const double whole = milliseconds_of(
        rounds, [&] { static_cast<void>(must(must(frame::open_frames(path, {}))[plane].read_whole())); });
    const double before_mb = resident_mb("VmRSS");
    std::ofstream("/proc/self/clear_refs") << 5;  // the peak begins anew
    const double made = milliseconds_of(rounds, [&] {
        static_cast<void>(must(picture::FramePyramid::of(must(frame::open_frames(path, {}))[plane])));
    });
    const double peak_mb = resident_mb("VmHWM") - before_mb;
    const auto pyramid = must(picture::FramePyramid::of(must(frame::open_frames(path, {}))[plane]));
    const int top = static_cast<int>(pyramid.levels().size()) - 1;
    const auto png = [&](int level, int column, int row) {
        return picture::png_of(must(pyramid.tile(level, column, row))).size();
    };
    // What a browser of 1200 × 800 asks first: the level that fills its window.
    int fill = top;
    while (fill > 0 && pyramid.levels()[static_cast<std::size_t>(fill)].width_px < 800)
        --fill;
    const picture::PyramidLevel& of = pyramid.levels()[static_cast<std::size_t>(fill)];
    std::size_t bytes = 0;
    const double first = milliseconds_of(rounds, [&] {
        bytes = 0;
        for (int row = 0; row < of.rows; ++row) {
            for (int column = 0; column < of.columns; ++column)
                bytes += png(fill, column, row);
        }
    });
    const picture::PyramidLevel& ground = pyramid.levels().front();
    std::size_t full_bytes = 0;
    const double full =
        milliseconds_of(rounds, [&] { full_bytes = png(0, ground.columns / 2, ground.rows / 2); });
    fmt::print(
        "{:<18} {:>7.0f} {:>9.0f} {:>5.2f} {:>8.0f} {:>8.1f} | {}: {:>2} tiles {:>6.1f} ms {:>7} B | "
        "{:>5.1f} ms {:>6} B\n",
        name, whole, made, made / whole, peak_mb, static_cast<double>(pyramid.bytes()) / 1e6, fill,
        of.columns * of.rows, first, bytes, full, full_bytes);
}

}  // namespace

int main(int argc, char** argv) {
    const int rounds = argc > 1 ? std::atoi(argv[1]) : 5;
    const fs::path folder = fs::path(argc > 2 ? argv[2] : ".") / fmt::format("pyramid-bench-{}", ::getpid());
    fs::create_directories(folder);
    const auto path = [&](const char* name) { return (folder / name).string(); };
    {
        const auto adu = invented();
        must(frame::write_frame(path("plain.fits"), width, height, adu, {}));
        must(frame::write_frame(path("tiles.fits"), width, height, adu, {}, frame::Packing::tiles));
        must(frame::write_frame(path("mosaic.fits"), width, height, adu, {{"BAYERPAT", "'RGGB'", ""}}));
    }
    const std::string command =
        fmt::format("gzip -1 -c '{}' > '{}'", path("plain.fits"), path("whole.fits.gz"));
    if (std::system(command.c_str()) != 0) return 1;
    fmt::print(
        "6248 × 4176 pixels of 16 bits. Milliseconds; MB.\n"
        "{:<18} {:>7} {:>9} {:>5} {:>8} {:>8} | the level that fills a window | a tile of the frame itself\n",
        "", "read", "pyramid", "ratio", "peak", "kept");
    report("plain", path("plain.fits"), 0, rounds);
    report("tiles (Rice)", path("tiles.fits"), 0, rounds);
    report("gzip", path("whole.fits.gz"), 0, rounds);
    report("mosaic, red", path("mosaic.fits"), 0, rounds);
    report("mosaic, green", path("mosaic.fits"), 1, rounds);
    fs::remove_all(folder);
    return 0;
}
