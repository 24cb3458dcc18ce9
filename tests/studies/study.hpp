// SPDX-License-Identifier: MIT
// tests/studies/study — what the studies share: results that must be there, truth by frame, many seeds at
// once.
#pragma once

#include <fmt/format.h>
#include <unistd.h>

#include <atomic>
#include <cmath>
#include <filesystem>
#include <functional>
#include <map>
#include <stdexcept>
#include <string>
#include <thread>
#include <vector>

#include "quantities/delimited_table.hpp"
#include "quantities/problem.hpp"
#include "quantities/text.hpp"

namespace study {

template <class T>
T must(emberline::Result<T> result) {
    if (!result) throw std::runtime_error(emberline::one_line(result.error()));
    return std::move(*result);
}

inline double mean_of(const std::vector<double>& values) {
    double sum = 0.0;
    for (const double v : values)
        sum += v / static_cast<double>(values.size());
    return sum;
}

// The truth of each frame, by its path.
inline std::map<std::string, double> read_truth(const std::string& folder) {
    std::map<std::string, double> truth;
    const auto table = must(emberline::read_table(folder + "/truth.csv"));
    for (const emberline::TableRow& row : table.rows) {
        truth[row.fields[*table.column("frame")]] =
            *emberline::parse_number(row.fields[*table.column("true_mag")]);
    }
    return truth;
}

// Calls `one(seed, folder)` for each seed, in its own empty place on disk that is gone afterwards; a seed
// that throws is told and passed over.
inline void over_seeds(std::size_t seeds, unsigned threads, std::uint64_t first_seed,
                       const std::function<void(std::uint64_t seed, const std::string& folder)>& one) {
    namespace fs = std::filesystem;
    std::atomic<std::size_t> next{0};
    std::vector<std::thread> workers;
    const fs::path root = fs::temp_directory_path() / fmt::format("emberline-study-{}", ::getpid());
    for (unsigned t = 0; t < threads; ++t) {
        workers.emplace_back([&] {
            for (std::size_t i = next++; i < seeds; i = next++) {
                const std::string folder = (root / std::to_string(first_seed + i)).string();
                try {
                    one(first_seed + i, folder);
                } catch (const std::exception& error) {
                    fmt::print(stderr, "seed {}: {}\n", first_seed + i, error.what());
                }
                std::error_code ignored;
                fs::remove_all(folder, ignored);
            }
        });
    }
    for (std::thread& worker : workers)
        worker.join();
    std::error_code ignored;
    fs::remove_all(root, ignored);
}

}  // namespace study
