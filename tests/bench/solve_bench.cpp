// SPDX-License-Identifier: MIT
// Stars found and the plate solved of one large frame: time against reading its file twice.
//   emberline_solve_bench [STARS 3000] [THREADS 1] [ROUNDS 5] [FOLDER here]
// The frame is 6248 × 4176 pixels of 16 bits: Gaussian stars over a sloping sky with noise. Each time is the
// shortest of ROUNDS, of the processor (all threads together); the file lies in the system's cache
// throughout, which is the harder case: there is no waiting for a disk to work in. `most` is 300: the
// brightest few hundred stars suffice for a solution.
#include <fcntl.h>
#include <fmt/format.h>
#include <unistd.h>

#include <algorithm>
#include <cmath>
#include <cstdlib>
#include <filesystem>
#include <string>
#include <vector>

#include "bench.hpp"
#include "frame/write_frame.hpp"
#include "numerics/random.hpp"
#include "stars/detect.hpp"
#include "stars/solve_plate.hpp"

namespace {

using namespace emberline;
namespace fs = std::filesystem;

constexpr int width = 6248, height = 4176;
constexpr double scale_arcsec = 0.8, turned_rad = 0.7;
constexpr std::size_t most_stars = 300;

using bench::must;
double seconds_of(int rounds, const auto& work) {
    return bench::least_processor_s(rounds, work);
}

SkyPosition sky_at(double x, double y) {
    const SkyPosition centre{Angle::degrees(210.0), Angle::degrees(35.0)};
    const double u = scale_arcsec * (0.5 * width - x), v = scale_arcsec * (y - 0.5 * height);
    const double xi = (u * std::cos(turned_rad) - v * std::sin(turned_rad)) / 206264.806;
    const double eta = (u * std::sin(turned_rad) + v * std::cos(turned_rad)) / 206264.806;
    const double sin0 = std::sin(centre.dec.radians()), cos0 = std::cos(centre.dec.radians());
    const double ra = centre.ra.radians() + std::atan2(xi, cos0 - eta * sin0);
    const double dec = std::atan2(sin0 + eta * cos0, std::hypot(xi, cos0 - eta * sin0));
    return {Angle::radians(ra), Angle::radians(dec)};
}

struct Made {
    std::vector<stars::ReferenceStar> references;
    double fwhm_px = 3.4;
};

// Counts of stars grow by 10^0.4 a magnitude.
Made make_frame(const std::string& path, int stars, double fwhm_px) {
    numerics::Random random(26);
    std::vector<float> light(static_cast<std::size_t>(width) * height);
    for (int y = 0; y < height; ++y) {
        for (int x = 0; x < width; ++x)
            light[static_cast<std::size_t>(y) * width + static_cast<std::size_t>(x)] =
                900.0F + 0.01F * static_cast<float>(x) + 0.02F * static_cast<float>(y);
    }
    Made made;
    made.fwhm_px = fwhm_px;
    const double sigma = fwhm_px / 2.3548;
    for (int i = 0; i < stars; ++i) {
        const double mag = 10.0 + 7.0 * (1.0 + std::log10(std::max(1e-3, random.uniform())) / 2.8);
        const double flux = 2e6 * std::pow(10.0, -0.4 * (mag - 10.0));
        const double x0 = random.uniform(0.0, width - 1.0), y0 = random.uniform(0.0, height - 1.0);
        made.references.push_back({sky_at(x0, y0), 0.05, mag, {}});
        const int reach = static_cast<int>(std::ceil(5.0 * sigma));
        for (int y = std::max(0, static_cast<int>(y0) - reach);
             y <= std::min(height - 1, static_cast<int>(y0) + reach); ++y) {
            for (int x = std::max(0, static_cast<int>(x0) - reach);
                 x <= std::min(width - 1, static_cast<int>(x0) + reach); ++x) {
                const double squared = (x - x0) * (x - x0) + (y - y0) * (y - y0);
                light[static_cast<std::size_t>(y) * width + static_cast<std::size_t>(x)] +=
                    static_cast<float>(flux / (2.0 * 3.14159265 * sigma * sigma) *
                                       std::exp(-0.5 * squared / (sigma * sigma)));
            }
        }
    }
    std::vector<std::uint16_t> adu;
    adu.reserve(light.size());
    for (const float v : light) {
        const double noisy = random.gaussian(static_cast<double>(v), std::sqrt(static_cast<double>(v)));
        adu.push_back(static_cast<std::uint16_t>(std::clamp(std::lround(noisy), 0L, 65535L)));
    }
    const std::vector<frame::Card> cards{{"EXPTIME", "60.0", "", false}};
    if (const auto written = frame::write_frame(path, width, height, adu, cards); !written) {
        fmt::print(stderr, "{}\n", one_line(written.error()));
        std::exit(1);
    }
    return made;
}

void read_all(const std::string& file) {
    std::vector<char> bytes(1U << 20U);
    const int descriptor = ::open(file.c_str(), O_RDONLY);
    while (::read(descriptor, bytes.data(), bytes.size()) > 0) {
    }
    ::close(descriptor);
}

void run(const std::string& path, const Made& made, int threads, int rounds) {
    const double twice = seconds_of(rounds, [&] {
        read_all(path);
        read_all(path);
    });
    const auto open = [&] { return std::move(must(frame::open_frames(path, {})).front()); };
    const double whole_twice = seconds_of(rounds, [&] {
        const frame::Frame frame = open();
        must(frame.read_whole());
        must(frame.read_whole());
    });
    stars::DetectionField field;
    const double detected = seconds_of(
        rounds, [&] { field = must(stars::detect_stars(open(), {.most = most_stars, .threads = threads})); });
    stars::DetectionField all;
    const double detected_all =
        seconds_of(rounds, [&] { all = must(stars::detect_stars(open(), {.threads = threads})); });
    std::vector<stars::PictureStar> found;
    for (const stars::Detection& star : field.stars)
        found.push_back({star.position, star.err_px, star.flux_adu});
    stars::PlateSolution plate;
    const double solved = seconds_of(rounds, [&] {
        plate = must(stars::solve_plate(found, width, height, made.references,
                                        {.scale_arcsec_per_px = scale_arcsec, .scale_factor = 1.2}));
    });
    fmt::print("{:5.1f} | {:9.1f} {:11.1f} | {:9.1f} {:9.1f} {:9.1f} | {:6.2f} {:11.2f} | {:5} {:7} {:.3f}\n",
               made.fwhm_px, 1e3 * twice, 1e3 * whole_twice, 1e3 * detected, 1e3 * detected_all, 1e3 * solved,
               (detected + solved) / twice, (detected + solved) / whole_twice, all.stars.size(),
               plate.matched, plate.fit.rms_arcsec);
    bench::figure(fmt::format("26 Mpx, FWHM {} px: detected and solved / read twice", made.fwhm_px),
                  bench::Goal::at_most, 1.5, (detected + solved) / whole_twice, "");
}

}  // namespace

int main(int argc, char** argv) {
    const auto number = [&](int at, int otherwise) { return argc > at ? std::atoi(argv[at]) : otherwise; };
    const int stars = number(1, 3000), threads = number(2, 1), rounds = std::max(1, number(3, 5));
    const fs::path folder = fs::path(argc > 4 ? argv[4] : ".") / "solve_bench";
    fs::create_directories(folder);
    fmt::print("{} × {} pixels of 16 bits, {} stars, {} threads; times in ms\n", width, height, stars,
               threads);
    fmt::print(
        " FWHM |    read twice        |  detected  detected  plate    | ratio to twice     | stars matched "
        "rms\n");
    fmt::print(
        "   px |     bytes      pixels | brightest       all   solved  |  bytes      pixels | found         "
        "arcsec\n");
    for (const double fwhm_px : {1.8, 3.4, 5.0}) {
        const std::string path = (folder / "field.fits").string();
        const Made made = make_frame(path, stars, fwhm_px);
        run(path, made, threads, rounds);
    }
    fs::remove_all(folder);
    return 0;
}
