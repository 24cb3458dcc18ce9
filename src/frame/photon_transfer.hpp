// SPDX-License-Identifier: MIT
// frame/photon_transfer — a camera's gain and read noise from its own noise: light comes in electrons, whose
// number varies by its root. Of two flats alike, the difference holds no pattern of the sensor, only noise.
// Source: Janesick 2007, chapter 5, from memory; the variance of a difference.
// Notation: a, b light of the two flats above the bias, ADU; r = a / b, box by box; V variance of A − r B;
// σ² variance of a bias, ADU²; g gain, e-/ADU:   V = (a + r² b) / g + (1 + r²) σ².
#pragma once

#include <optional>
#include <string>
#include <vector>

#include "frame/frame_facts.hpp"
#include "frame/instrument.hpp"
#include "quantities/problem.hpp"
#include "quantities/value_with_error.hpp"

namespace emberline::frame {

struct TransferPair {  // of flats
    std::string first, second;
    std::string filter;
    double exposure_s = 0.0;  // of the first
    double level_adu = 0.0;   // above the bias, mean of the two
    double ratio = 1.0;       // of their levels
    ValueWithError gain_e_per_adu;
};
struct PhaseGain {  // of a colour mosaic's pixels (x & 1) + 2 (y & 1)
    int phase = 0;
    char colour = ' ';  // 'R', 'G' or 'B'
    double level_adu = 0.0;
    ValueWithError gain_e_per_adu;
};
struct PhotonTransfer {
    ValueWithError gain_e_per_adu;
    ValueWithError read_noise_e;  // of one pixel, the rounding to whole ADU taken out
    double read_noise_adu = 0.0;  // likewise
    double bias_level_adu = 0.0;
    double step_adu = 1.0;          // between the values that a pixel can have
    MaybeFact<double> header_gain;  // what the flats' header, or the campaign, says
    bool from_darks = false;        // short darks stood in for biases
    double dark_exposure_s = 0.0;
    std::size_t bias_pairs = 0;
    std::vector<TransferPair> pairs;
    std::vector<PhaseGain> phases;  // of a mosaic
    std::vector<std::string> remarks;
    std::vector<LeftOut> left_out;
    std::size_t lights = 0;  // pictures of the sky among the files, passed over
};

// Of single flats and biases (or short darks) in any order, told apart by their headers. Pairs are made of
// flats through one filter, of one exposure where there are; they may differ in level by a factor of two.
// Errors are one sigma, from the scatter of small boxes all over the frame. Memory: some rows of four frames.
// Problem: no pair of flats or of biases that can be used, with the reason of each.
[[nodiscard]] Result<PhotonTransfer> photon_transfer(const std::vector<std::string>& paths,
                                                     const std::vector<Instrument>& instruments);

}  // namespace emberline::frame
