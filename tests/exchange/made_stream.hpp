// SPDX-License-Identifier: MIT
// Streams longer than memory: one whose text is made as it is read, one that keeps nothing.
#pragma once

#include <sys/resource.h>

#include <catch2/catch.hpp>
#include <functional>
#include <optional>
#include <streambuf>
#include <string>
#include <utility>

namespace emberline::test {

class MadeText : public std::streambuf {
  public:
    // `more` puts the next piece in place of the last one; false: there is none.
    explicit MadeText(std::function<bool(std::string& piece)> more) : more_(std::move(more)) {}

  protected:
    int_type underflow() override {
        if (!more_(piece_) || piece_.empty()) return traits_type::eof();
        setg(piece_.data(), piece_.data(), piece_.data() + piece_.size());
        return traits_type::to_int_type(piece_.front());
    }

  private:
    std::function<bool(std::string&)> more_;
    std::string piece_;
};

class Nowhere : public std::streambuf {
  protected:
    int_type overflow(int_type c) override { return traits_type::not_eof(c); }
    std::streamsize xsputn(const char*, std::streamsize n) override { return n; }
};

#if defined(__SANITIZE_ADDRESS__) || defined(__SANITIZE_THREAD__)
inline constexpr bool watched = true;
#elif defined(__has_feature)
inline constexpr bool watched = __has_feature(address_sanitizer) || __has_feature(thread_sanitizer);
#else
inline constexpr bool watched = false;
#endif

// The most that this program has held so far; nothing under a sanitizer, which holds what was given back.
inline std::optional<long> peak_memory_kib() {
    if (watched) return std::nullopt;
    rusage usage{};
    getrusage(RUSAGE_SELF, &usage);
    return usage.ru_maxrss;
}

inline void check_peak_growth(std::optional<long> before_kib, long most_kib) {
    const auto now_kib = peak_memory_kib();
    if (before_kib && now_kib) {
        CHECK(*now_kib - *before_kib < most_kib);
    } else {
        WARN("Memory is not looked at under a sanitizer: SKIPPED.");
    }
}

}  // namespace emberline::test
