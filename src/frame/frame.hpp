// SPDX-License-Identifier: MIT
// frame/frame — one exposure: its facts, its WCS, and pixels on demand. Never written to.
#pragma once

#include <memory>
#include <optional>
#include <string>
#include <vector>

#include "frame/calibration.hpp"
#include "frame/frame_facts.hpp"
#include "frame/header.hpp"
#include "frame/instrument.hpp"
#include "frame/pixels.hpp"
#include "frame/wcs.hpp"
#include "quantities/problem.hpp"

namespace emberline::frame {

class FitsImage;  // fits_image.hpp: cfitsio behind this room's door

// Where a frame's plate solution comes from.
struct PlateOrigin {
    bool solved = false;      // from the frame's own stars, not from its header
    int stars = 0;            // that a solution made here stands on
    double rms_arcsec = 0.0;  // of their residuals, both axes together
    bool operator==(const PlateOrigin&) const = default;
};

class Frame {
  public:
    [[nodiscard]] const FrameFacts& facts() const { return facts_; }
    [[nodiscard]] const Header& header() const;
    // Problem when the frame has no usable plate solution: what is missing and where.
    [[nodiscard]] const Result<Wcs>& wcs() const { return *wcs_; }
    [[nodiscard]] const PlateOrigin& plate() const { return plate_; }
    // The same frame with another plate solution, given for its stored pixels (of a mosaic for all of them
    // together, not for one colour's picture).
    [[nodiscard]] Frame with_plate(const Wcs& stored, const PlateOrigin& origin) const;
    // In the picture's pixels. Only the part inside it is read; a box wholly outside is a Problem, and so is
    // a short file. Of a mosaic's green picture, which is turned, places off the stored frame are NaN.
    [[nodiscard]] Result<Cutout> read(const PixelBox& box) const;
    // Several boxes in one go, read in row order; results in the order asked.
    [[nodiscard]] Result<std::vector<Cutout>> read(const std::vector<PixelBox>& boxes) const;
    [[nodiscard]] Result<Cutout> read_whole() const;
    // What is done to the pixels as they are read; nothing where no masters were given.
    [[nodiscard]] const Calibration& calibration() const { return calibration_; }
    // Boxes of all the stored pixels, of a mosaic whatever their colour, before calibration. Only the part
    // inside the stored frame; a box wholly outside comes back empty.
    [[nodiscard]] Result<std::vector<Cutout>> read_stored(const std::vector<PixelBox>& boxes) const;

  private:
    [[nodiscard]] int stored_plane() const;
    friend Result<std::vector<Frame>> open_frames(const std::string&, const std::vector<Instrument>&,
                                                  const Masters*);
    FrameFacts facts_;
    Calibration calibration_;
    std::shared_ptr<FitsImage> image_;
    std::shared_ptr<const Result<Wcs>> wcs_;
    PlateOrigin plate_;
};

// A file holds one frame; three for a colour cube (its planes) and for a colour mosaic (the pixels of each
// colour, see lattice.hpp): red, green, blue. The first HDU with a 2- or 3-dimensional image is taken. What
// `masters` has for the frame is applied to all that is read of it. A Frame is used by one thread at a time;
// different files may be read by different threads. Problem: not FITS, empty, cut short, no image, NAXIS 1 or
// 4. Pixels of 8 bits are remarked.
[[nodiscard]] Result<std::vector<Frame>> open_frames(const std::string& path,
                                                     const std::vector<Instrument>& instruments,
                                                     const Masters* masters = nullptr);

// Stands for the file's content: size, header and sampled data blocks, as 32 hexadecimal digits. The same
// for a renamed or copied file; different after any reprocessing. Reads at most some hundred kilobytes.
[[nodiscard]] Result<std::string> fingerprint(const std::string& path);

}  // namespace emberline::frame
