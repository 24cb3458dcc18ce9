// SPDX-License-Identifier: MIT
// frame/transfer_boxes — noise of pairs of exposures in small boxes all over the frame. Private to this room.
#pragma once

#include <optional>
#include <vector>

#include "frame/frame.hpp"
#include "quantities/problem.hpp"

namespace emberline::frame {

// Boxes of one strip of rows; of a mosaic twice as large, since a quarter of their pixels is of one phase.
class TransferGrid {
  public:
    TransferGrid(int width_px, int height_px, bool mosaic);
    [[nodiscard]] const std::vector<std::vector<PixelBox>>& strips() const { return strips_; }
    [[nodiscard]] int phases() const { return mosaic_ ? 4 : 1; }
    // The box's pixels of one phase.
    [[nodiscard]] std::vector<double> pixels(const Cutout& box, int phase) const;

  private:
    bool mosaic_;
    std::vector<std::vector<PixelBox>> strips_;
};

struct BiasNoise {
    double level_adu = 0.0;
    double variance_adu2 = 0.0, variance_err_adu2 = 0.0;  // of one bias
};
[[nodiscard]] Result<BiasNoise> noise_of_biases(const Frame& first, const Frame& second,
                                                const TransferGrid& grid);

struct FlatBox {
    int phase = 0;
    double a_adu = 0.0, b_adu = 0.0;  // above the bias
    double variance_adu2 = 0.0;       // of A − r B
    [[nodiscard]] double ratio() const { return a_adu / b_adu; }
    [[nodiscard]] double light_adu() const { return a_adu + ratio() * ratio() * b_adu; }
    [[nodiscard]] double level_adu() const { return 0.5 * (a_adu + b_adu); }
};
// Boxes where the light is above the bias in both.
[[nodiscard]] Result<std::vector<FlatBox>> noise_of_flats(const Frame& first, const Frame& second,
                                                          const Frame& bias, const TransferGrid& grid);

// Level, and what the sampled pixels look like.
struct Exposed {
    double level_adu = 0.0;
    double at_top = 0.0;             // share of pixels that hold the highest value
    std::optional<double> step_adu;  // between values that occur; absent: they are not whole numbers
};
[[nodiscard]] Result<Exposed> look_at(const Frame& frame);

}  // namespace emberline::frame
