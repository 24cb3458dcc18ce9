// SPDX-License-Identifier: MIT
// tests/bench/measure_bench — what measuring a frame costs, as ratios within one run: against reading the
// same file whole with cfitsio, for several sizes, plain and tile-compressed (processor time, one thread);
// with one and two threads beside a purely arithmetic loop (wall time). Reports, asserts nothing.
//
//   emberline_measure_bench [FOLDER for temporary files [profile]]
#include <fitsio.h>
#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <functional>
#include <numbers>
#include <string_view>
#include <thread>
#include <vector>

#include "bench.hpp"
#include "frame/frame.hpp"
#include "frame/write_frame.hpp"
#include "night/measure_frame.hpp"
#include "numerics/random.hpp"

namespace {

using namespace emberline;
using namespace emberline::bench;
namespace fs = std::filesystem;

constexpr int stars = 20;
constexpr double scale_arcsec = 1.0, fwhm_px = 3.0;
const SkyPosition centre{Angle::degrees(201.338), Angle::degrees(37.27)};

struct Field {
    std::string plain, tiles;
    standard::Sequence sequence;
    night::Campaign campaign;
    double megapixels = 0.0;
};

frame::Card number(const char* keyword, double value) {
    return {keyword, fmt::format("{:.12G}", value), "", false};
}
frame::Card text(const char* keyword, const char* value) {
    return {keyword, value, "", true};
}

Field make_field(const std::string& folder, int width, int height) {
    Field field;
    field.megapixels = 1e-6 * width * height;
    field.campaign.folder = folder;
    field.campaign.name = "DEMO SN 1";
    field.campaign.position = centre;
    field.campaign.site = sky::Site{Angle::degrees(51.1), Angle::degrees(-1.2), 95.0};
    field.campaign.instruments.emplace_back();
    field.campaign.instruments[0].read_noise_e = 6.0;
    field.campaign.instruments[0].aperture_mm = 280.0;
    numerics::Random random(7);
    std::vector<float> light(static_cast<std::size_t>(width) * static_cast<std::size_t>(height));
    for (float& v : light)
        v = static_cast<float>(500.0 + 15.0 * random.gaussian());
    const auto add = [&](double x, double y, double flux) {
        const double sigma = fwhm_px / 2.3548;
        for (int v = static_cast<int>(y) - 15; v <= static_cast<int>(y) + 15; ++v) {
            for (int u = static_cast<int>(x) - 15; u <= static_cast<int>(x) + 15; ++u) {
                const double r2 = (u - x) * (u - x) + (v - y) * (v - y);
                light[static_cast<std::size_t>(v) * static_cast<std::size_t>(width) +
                      static_cast<std::size_t>(u)] +=
                    static_cast<float>(flux / (2.0 * std::numbers::pi * sigma * sigma) *
                                       std::exp(-0.5 * r2 / (sigma * sigma)));
            }
        }
    };
    const double cx = 0.5 * (width - 1), cy = 0.5 * (height - 1);
    add(cx, cy, 40000.0);
    for (int i = 0; i < stars; ++i) {
        const double x = random.uniform(60.0, width - 60.0), y = random.uniform(60.0, height - 60.0);
        add(x, y, 2e5 * std::pow(10.0, -0.06 * i));
        standard::ComparisonStar star;
        star.label = std::to_string(100 + i);
        star.position = displaced(centre, {Angle::arcseconds(-(x - cx) * scale_arcsec),
                                           Angle::arcseconds((y - cy) * scale_arcsec)});
        star.magnitudes[*parse_band("V")] = {12.0 + 0.15 * i, 0.02};
        field.sequence.stars.push_back(star);
    }
    std::vector<std::uint16_t> adu(light.size());
    std::transform(light.begin(), light.end(), adu.begin(), [](float v) {
        return static_cast<std::uint16_t>(std::clamp(std::lround(v), 0L, 65535L));
    });
    const std::vector<frame::Card> cards = {text("DATE-OBS", "2024-03-14T23:10:00"),
                                            number("EXPTIME", 60.0),
                                            text("FILTER", "V"),
                                            number("EGAIN", 0.9),
                                            text("CTYPE1", "RA---TAN"),
                                            text("CTYPE2", "DEC--TAN"),
                                            number("CRVAL1", centre.ra.degrees()),
                                            number("CRVAL2", centre.dec.degrees()),
                                            number("CRPIX1", cx + 1.0),
                                            number("CRPIX2", cy + 1.0),
                                            number("CD1_1", -scale_arcsec / 3600.0),
                                            number("CD1_2", 0.0),
                                            number("CD2_1", 0.0),
                                            number("CD2_2", scale_arcsec / 3600.0)};
    field.plain = fmt::format("{}/plain_{}.fits", folder, width);
    field.tiles = fmt::format("{}/tiles_{}.fits.fz", folder, width);
    for (const auto& [path, packing] :
         {std::pair(field.plain, frame::Packing::plain), std::pair(field.tiles, frame::Packing::tiles)}) {
        if (const auto written = frame::write_frame(path, width, height, adu, cards, packing); !written) {
            fmt::print(stderr, "{}\n", one_line(written.error()));
            std::exit(1);
        }
    }
    return field;
}

void measure(const Field& field, const std::string& path) {
    const auto frames = frame::open_frames(path, field.campaign.instruments);
    const auto print = frame::fingerprint(path);
    if (!frames || !print) std::exit(1);
    const auto fluxes = night::measure_frame(frames->front(), path, *print, field.sequence, field.campaign);
    if (!fluxes || fluxes->stars.size() != stars + 1) {
        fmt::print(stderr, "{}\n", fluxes ? "stars are missing" : one_line(fluxes.error()));
        std::exit(1);
    }
}

void read_whole(const std::string& path) {
    int status = 0, any = 0, bits = 0, axes = 0;
    long sides[2] = {};
    fitsfile* file = nullptr;
    fits_open_diskfile(&file, path.c_str(), READONLY, &status);
    if (path.ends_with(".fz")) fits_movabs_hdu(file, 2, nullptr, &status);
    fits_get_img_param(file, 2, &bits, &axes, sides, &status);
    std::vector<std::uint16_t> pixels(static_cast<std::size_t>(sides[0] * sides[1]));
    fits_read_img(file, TUSHORT, 1, sides[0] * sides[1], nullptr, pixels.data(), &any, &status);
    fits_close_file(file, &status);
    if (status != 0) std::exit(1);
}

void against_whole_read(const std::string& folder) {
    fmt::print(
        "A frame measured ({} stars, one thread) against reading it whole with cfitsio; processor time, best "
        "of several, ms\n",
        stars);
    fmt::print("{:>6} | {:>9} {:>9} {:>6} | {:>9} {:>9} {:>6}\n", "Mpx", "measured", "whole", "ratio",
               "measured", "whole", "ratio");
    fmt::print("{:>6} | {:^26} | {:^26}\n", "", "plain", "tile-compressed");
    std::string growth[2];
    for (const auto& [width, height] :
         {std::pair(1152, 868), std::pair(2312, 1730), std::pair(6244, 4164), std::pair(9248, 6920)}) {
        const Field field = make_field(folder, width, height);
        double ms[2][2] = {};
        int which = 0;
        for (const std::string& path : {field.plain, field.tiles}) {
            read_whole(path);  // both from the page cache
            ms[which][0] = 1e3 * least_processor_s(9, [&] { measure(field, path); });
            ms[which][1] = 1e3 * least_processor_s(3, [&] { read_whole(path); });
            growth[which] += fmt::format("{}{:.1f} ms of {:.0f} Mpx", growth[which].empty() ? "" : ", ",
                                         ms[which][0], field.megapixels);
            ++which;
        }
        fmt::print("{:6.1f} | {:9.2f} {:9.2f} {:6.3f} | {:9.2f} {:9.2f} {:6.3f}\n", field.megapixels,
                   ms[0][0], ms[0][1], ms[0][0] / ms[0][1], ms[1][0], ms[1][1], ms[1][0] / ms[1][1]);
        if (width == 6244) {
            figure("26 Mpx plain: measured / read whole", Goal::at_most, 0.25, ms[0][0] / ms[0][1], "");
            figure("26 Mpx tile-compressed: measured / read whole", Goal::at_most, 0.5, ms[1][0] / ms[1][1],
                   "");
        }
        fs::remove(field.plain);
        fs::remove(field.tiles);
    }
    grows("a plain frame measured", growth[0]);
    grows("a tile-compressed frame measured", growth[1]);
}

double arithmetic(std::size_t n) {
    double x = 0.5;
    for (std::size_t i = 0; i < n; ++i)
        x = 3.99 * x * (1.0 - x) + 1e-9;
    return x;
}

// n pieces of work shared by that many threads.
double shared(unsigned threads, std::size_t pieces, const std::function<void()>& work) {
    return least_s(1, wall_s, [&] {
        std::vector<std::thread> workers;
        for (unsigned t = 0; t < threads; ++t) {
            workers.emplace_back([&, t] {
                for (std::size_t i = t; i < pieces; i += threads)
                    work();
            });
        }
        for (std::thread& worker : workers)
            worker.join();
    });
}

void two_threads(const std::string& folder) {
    const Field field = make_field(folder, 2312, 1730);
    volatile double sink = 0.0;
    const auto piece = [&] { sink = arithmetic(2000000); };
    fmt::print("\nFrames a second with one and two threads, beside an arithmetic loop\n");
    for (const std::string& path : {field.plain, field.tiles}) {
        const bool plain = path == field.plain;
        // Turn and turn about, so that a busy minute of the machine falls on all alike.
        double loop1 = 1e9, loop2 = 1e9, one = 1e9, two = 1e9;
        for (int round = 0; round < 4; ++round) {
            loop1 = std::min(loop1, shared(1, 64, piece));
            one = std::min(one, shared(1, 48, [&] { measure(field, path); }));
            loop2 = std::min(loop2, shared(2, 64, piece));
            two = std::min(two, shared(2, 48, [&] { measure(field, path); }));
        }
        const double share = (one / two) / (loop1 / loop2);
        fmt::print(
            "  {:<16} {:7.1f} → {:7.1f} frames/s, gain {:.2f}; the loop's gain {:.2f}; share of it {:.2f}\n",
            plain ? "plain" : "tile-compressed", 48.0 / one, 48.0 / two, one / two, loop1 / loop2, share);
        figure(fmt::format("two threads, {}: gain / arithmetic's gain", plain ? "plain" : "tile-compressed"),
               Goal::at_least, 0.9, share, "");
    }
    fs::remove(field.plain);
    fs::remove(field.tiles);
}

// The work of the inner loops alone, for a profiler to look at.
void profile(const std::string& folder) {
    const Field field = make_field(folder, 2312, 1730);
    const double s = least_processor_s(5, [&] {
        for (int i = 0; i < 40; ++i)
            measure(field, field.plain);
    });
    fmt::print("{:.2f} ms of the processor a frame\n", 1e3 * s / 40);
}

}  // namespace

int main(int argc, char** argv) {
    const Folder folder(argc > 1 ? fs::path(argv[1]) : fs::temp_directory_path());
    std::setvbuf(stdout, nullptr, _IOLBF, 0);
    if (argc > 2 && std::string_view(argv[2]) == "profile") {
        profile(folder / "");
        return 0;
    }
    against_whole_read(folder / "");
    two_threads(folder / "");
}
