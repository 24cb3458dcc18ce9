// SPDX-License-Identifier: MIT
// Streams longer than memory: one whose text is made as it is read, one that keeps nothing.
#pragma once

#include <sys/resource.h>

#include <functional>
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

// The most that this program has held so far.
inline long peak_memory_kib() {
    rusage usage{};
    getrusage(RUSAGE_SELF, &usage);
    return usage.ru_maxrss;
}

}  // namespace emberline::test
