// SPDX-License-Identifier: MIT
// frame/row_writer — a FITS file of one image or several of a size, written row by row: never whole in
// memory, and under its name only when it is whole.
// Source: FITS standard 4.0, sections 3, 4.4 and 7.1.
#pragma once

#include <memory>
#include <span>
#include <string>
#include <vector>

#include "frame/header.hpp"
#include "quantities/problem.hpp"

namespace emberline::frame {

struct FitsPart {
    std::string name;         // EXTNAME; the first part, which is the primary image, needs none
    int bits = -32;           // BITPIX: −32, or 16 of whole numbers from −32768 to 32767
    std::vector<Card> cards;  // after the structural ones
};

class RowWriter {
  public:
    // Every problem is of the kind storage. The space is taken at once, so that a full disk is known before
    // hours of work.
    [[nodiscard]] static Result<std::shared_ptr<RowWriter>> create(const std::string& path, int width,
                                                                   int height,
                                                                   const std::vector<FitsPart>& parts);
    RowWriter(const RowWriter&) = delete;
    RowWriter& operator=(const RowWriter&) = delete;
    ~RowWriter();  // what was not finished is gone

    // Whole rows, from row y on; NaN is undefined (0 in whole numbers).
    [[nodiscard]] Result<void> write(std::size_t part, int y, std::span<const float> rows);
    [[nodiscard]] Result<void> read(std::size_t part, int y, std::span<float> rows) const;
    // A card that was among the part's cards gets another value, no longer than a card.
    [[nodiscard]] Result<void> change(std::size_t part, const Card& card);
    // Under its own name, in place of a file that may be there. Nothing can be written afterwards.
    [[nodiscard]] Result<void> finish();

    [[nodiscard]] const std::string& path() const { return path_; }
    [[nodiscard]] int width_px() const { return width_; }
    [[nodiscard]] int height_px() const { return height_; }

  private:
    struct Place {
        int bits = -32;
        long long header = 0, data = 0;     // offsets, bytes
        std::vector<std::string> keywords;  // of each card, in its order
    };
    RowWriter() = default;
    [[nodiscard]] Result<void> put(const void* bytes, std::size_t n, long long offset);
    [[nodiscard]] Problem problem(const std::string& why) const;

    std::string path_, beside_;
    int width_ = 0, height_ = 0;
    int descriptor_ = -1;
    std::vector<Place> places_;
    mutable std::vector<unsigned char> bytes_;
};

}  // namespace emberline::frame
