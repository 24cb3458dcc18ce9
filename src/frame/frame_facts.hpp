// SPDX-License-Identifier: MIT
// frame/frame_facts — what a frame says about itself, and where each fact came from.
#pragma once

#include <optional>
#include <string>
#include <vector>

#include "frame/lattice.hpp"
#include "quantities/band.hpp"
#include "quantities/caveat.hpp"
#include "quantities/instant.hpp"
#include "sky/site.hpp"

namespace emberline::frame {

// A fact and its source, e.g. {30.0, "EXPTIME"}, {0.9, "campaign.toml, instrument.gain"}, {1.0, "assumed"}.
template <class T>
struct Fact {
    T value{};
    std::string source;
    bool operator==(const Fact&) const = default;
};
template <class T>
using MaybeFact = std::optional<Fact<T>>;

enum class FrameKind { light, bias, dark, flat, flat_dark };
enum class StackKind { single, sum, mean, median };

struct FrameFacts {
    std::string path;  // as it was given
    int hdu = 0;       // 0-based number of the HDU that holds the image
    int plane = 0;     // 0-based plane of a cube
    int planes = 1;
    int width_px = 0, height_px = 0;
    std::optional<Lattice> lattice;  // where it is one colour of a mosaic: its pixels among the stored ones
    std::string pixel_type;          // "uint16", "float32", …
    bool tile_compressed = false;

    MaybeFact<Instant> mid_exposure;    // UTC
    MaybeFact<double> exposure_s;       // open-shutter time of the whole frame, sub-exposures summed
    MaybeFact<int> stacked_exposures;   // 1 where nothing tells otherwise
    MaybeFact<StackKind> stack_kind;    // absent where nothing tells how they were put together
    MaybeFact<int> dropped_exposures;   // taken, and left out of the stack
    std::vector<std::string> stack_of;  // of a stack made by this program: its frames' fingerprints
    MaybeFact<FrameKind> kind;          // absent: nothing says, a light
    MaybeFact<std::string> filter;      // as the header writes it
    MaybeFact<Band> band;               // absent when the filter is unknown
    MaybeFact<double> gain_e_per_adu;   // of the stored pixels
    MaybeFact<double> read_noise_e;     // of one stored pixel
    MaybeFact<double> saturation_adu;
    MaybeFact<double> linear_to_adu;
    MaybeFact<int> binning;
    MaybeFact<std::string> pattern;     // of a mosaic, at its first stored pixel: "RGGB"
    MaybeFact<double> offset_adu;       // level of a stored pixel that got no light
    MaybeFact<double> gain_setting;     // of the camera, no unit
    MaybeFact<double> temperature_c;    // of the sensor
    MaybeFact<std::string> calibrated;  // what was done to it before: letters B, D, F
    double flat_pixel_err = 0.0;        // relative, of one pixel of the flat that it was divided by
    std::vector<std::string> masters;   // applied to it when read
    MaybeFact<double> aperture_mm;
    MaybeFact<double> header_airmass;
    MaybeFact<sky::Site> site;
    MaybeFact<std::string> observer, telescope, camera, object;
    std::string instrument;            // name of the campaign's instrument that matched
    Caveats caveats;                   // gain-assumed, time-uncertain …
    std::vector<std::string> remarks;  // sentences: what was inferred, what contradicts what

    // Of the frame as it is stored, whatever part of its pixels this is.
    [[nodiscard]] int stored_width_px() const { return lattice ? lattice->stored_width_px : width_px; }
    [[nodiscard]] int stored_height_px() const { return lattice ? lattice->stored_height_px : height_px; }
    [[nodiscard]] bool holds(const PixelPosition& p) const;  // that place lies on a stored pixel
    [[nodiscard]] PixelPosition middle() const;              // of the stored frame, in its own pixels
};

}  // namespace emberline::frame
