// SPDX-License-Identifier: MIT
#include "linearity_cases.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>

namespace study {
namespace {

using namespace emberline;
using rehearsal::InventedCampaign;
using rehearsal::Processing;
using rehearsal::RehearsalOptions;

RehearsalOptions plain(std::uint64_t seed) {
    RehearsalOptions o;
    o.seed = seed;
    o.nights = 1;
    o.frames = 1;
    o.width_px = 480;
    o.height_px = 400;
    o.cloud = false;
    o.trailing = false;
    o.host = false;
    return o;
}

Picture single(const InventedCampaign& campaign) {
    const auto exposed = rehearsal::expose(campaign, campaign.frames.front());
    return {{exposed.adu.begin(), exposed.adu.end()}, exposed.width_px, exposed.height_px};
}

// Exposures of one pointing, each with its own noise.
Picture mean_of(const InventedCampaign& campaign, int exposures) {
    Picture sum;
    for (int i = 0; i < exposures; ++i) {
        auto planned = campaign.frames.front();
        planned.seed += static_cast<std::uint64_t>(i);
        const auto exposed = rehearsal::expose(campaign, planned);
        if (i == 0) sum = {std::vector<float>(exposed.adu.size(), 0.0F), exposed.width_px, exposed.height_px};
        for (std::size_t p = 0; p < sum.adu.size(); ++p)
            sum.adu[p] += static_cast<float>(exposed.adu[p]);
    }
    for (float& v : sum.adu)
        v /= static_cast<float>(exposures);
    return sum;
}

float at(const Picture& p, int x, int y) {
    const auto i = static_cast<std::size_t>(std::clamp(x, 0, p.width_px - 1));
    const auto j = static_cast<std::size_t>(std::clamp(y, 0, p.height_px - 1));
    return p.adu[j * static_cast<std::size_t>(p.width_px) + i];
}

// Each pixel from the old ones about the place where it came from, by `weight` of the distance along an axis.
Picture resampled(const Picture& p, double dx, double dy, double turned_deg, int reach,
                  const std::function<double(double)>& weight) {
    Picture out = p;
    const double c = std::cos(turned_deg * 0.017453292519943295),
                 s = std::sin(turned_deg * 0.017453292519943295);
    const double mx = 0.5 * p.width_px, my = 0.5 * p.height_px;
    for (int y = 0; y < p.height_px; ++y) {
        for (int x = 0; x < p.width_px; ++x) {
            const double u = mx + c * (x - mx) - s * (y - my) + dx, v = my + s * (x - mx) + c * (y - my) + dy;
            const int i0 = static_cast<int>(std::floor(u)), j0 = static_cast<int>(std::floor(v));
            double sum = 0.0, weights = 0.0;
            for (int j = j0 - reach + 1; j <= j0 + reach; ++j) {
                for (int i = i0 - reach + 1; i <= i0 + reach; ++i) {
                    const double w = weight(u - i) * weight(v - j);
                    sum += w * static_cast<double>(at(p, i, j));
                    weights += w;
                }
            }
            out.adu[static_cast<std::size_t>(y) * static_cast<std::size_t>(p.width_px) +
                    static_cast<std::size_t>(x)] = static_cast<float>(sum / weights);
        }
    }
    return out;
}

double bilinear(double d) {
    return std::max(0.0, 1.0 - std::abs(d));
}
double nearest(double d) {
    return d > -0.5 && d <= 0.5 ? 1.0 : 0.0;
}
double cubic(double d) {  // Keys 1981, IEEE Trans. ASSP 29, 1153
    const double x = std::abs(d);
    if (x < 1.0) return (1.5 * x - 2.5) * x * x + 1.0;
    return x < 2.0 ? ((-0.5 * x + 2.5) * x - 4.0) * x + 2.0 : 0.0;
}
double lanczos(double d) {
    if (d == 0.0) return 1.0;
    if (std::abs(d) >= 3.0) return 0.0;
    const double a = 3.14159265358979 * d;
    return 3.0 * std::sin(a) * std::sin(a / 3.0) / (a * a);
}

// As if every second pixel of every second row had been seen, and the others taken from their neighbours:
// red or blue of a debayered picture; green is denser.
Picture debayered(const Picture& p, bool green) {
    Picture out = p;
    for (int y = 0; y < p.height_px; ++y) {
        for (int x = 0; x < p.width_px; ++x) {
            const bool odd_x = x % 2 == 1, odd_y = y % 2 == 1;
            float v = at(p, x, y);
            const auto cross = [&] {
                return 0.25F * (at(p, x - 1, y) + at(p, x + 1, y) + at(p, x, y - 1) + at(p, x, y + 1));
            };
            if (green) {
                if (odd_x == odd_y) v = cross();
            } else if (odd_x && odd_y) {
                v = 0.25F *
                    (at(p, x - 1, y - 1) + at(p, x + 1, y - 1) + at(p, x - 1, y + 1) + at(p, x + 1, y + 1));
            } else if (odd_x) {
                v = 0.5F * (at(p, x - 1, y) + at(p, x + 1, y));
            } else if (odd_y) {
                v = 0.5F * (at(p, x, y - 1) + at(p, x, y + 1));
            }
            out.adu[static_cast<std::size_t>(y) * static_cast<std::size_t>(p.width_px) +
                    static_cast<std::size_t>(x)] = v;
        }
    }
    return out;
}

Picture scaled(Picture p, double factor, double offset) {
    for (float& v : p.adu)
        v = static_cast<float>(factor * static_cast<double>(v) + offset);
    return p;
}

Picture as_float(Picture p) {
    p.floating = true;
    return p;
}

using Change = std::function<void(InventedCampaign&)>;
using Take = std::function<Picture(const InventedCampaign&)>;

class Cases {
  public:
    Cases(std::uint64_t seed, bool linear) : seed_(seed), linear_(linear) {}
    void add(std::string name, const std::function<void(RehearsalOptions&)>& options, Change change = {},
             Take take = single) {
        PictureCase c{std::move(name), linear_, plain(seed_++), std::move(change), std::move(take)};
        if (options) options(c.options);
        list.push_back(std::move(c));
    }
    std::vector<PictureCase> list;

  private:
    std::uint64_t seed_;
    bool linear_;
};

Change air(const std::function<void(rehearsal::InventedAir&)>& change) {
    return [change](InventedCampaign& c) { change(c.frames.front().air); };
}

}  // namespace

std::vector<PictureCase> linear_cases(std::uint64_t first_seed) {
    Cases cases(first_seed, true);
    const auto stars = [](int n) { return [n](RehearsalOptions& o) { o.comparison_stars = n; }; };
    const auto exposed = [](double s) { return [s](RehearsalOptions& o) { o.exposure_s = s; }; };
    cases.add("single exposure", {});
    cases.add("single exposure, B", [](auto& o) { o.bands = {"B"}; });
    cases.add("unfiltered, strong colour term", [](auto& o) {
        o.bands = {"CV"};
        o.colour_term = 0.35;
    });
    cases.add("TG, colour term", [](auto& o) {
        o.bands = {"TG"};
        o.colour_term = 0.15;
    });
    cases.add("TB, colour term", [](auto& o) {
        o.bands = {"TB"};
        o.colour_term = -0.25;
    });
    cases.add("short exposure", exposed(5.0));
    cases.add("long exposure, bright stars saturated", exposed(300.0));
    cases.add("very long exposure, most stars saturated", exposed(1200.0));
    cases.add("thin cloud", {}, air([](auto& a) {
                  a.cloud_mag = 0.8;
                  a.cloud_unevenness_mag = 0.05;
              }));
    cases.add("thick uneven cloud", {}, air([](auto& a) {
                  a.cloud_mag = 2.0;
                  a.cloud_unevenness_mag = 0.25;
              }));
    cases.add("bright moon", {}, air([](auto& a) { a.sky_mag_per_arcsec2 = 17.0; }));
    cases.add("dark sky, short exposure", exposed(3.0), air([](auto& a) { a.sky_mag_per_arcsec2 = 21.8; }));
    cases.add("trailed", {}, air([](auto& a) {
                  a.trail_px = 6.0;
                  a.trail_direction_deg = 20.0;
              }));
    cases.add("long trails", {}, air([](auto& a) {
                  a.trail_px = 15.0;
                  a.trail_direction_deg = 75.0;
              }));
    cases.add("elongated", {}, air([](auto& a) { a.elongation = 1.9; }));
    cases.add("a little out of focus", {}, air([](auto& a) { a.defocus_px = 2.0; }));
    cases.add("far out of focus", {}, air([](auto& a) { a.defocus_px = 7.0; }));
    cases.add("sharp, few pixels a star", {},
              [](InventedCampaign& c) { c.frames.front().air.fwhm_arcsec = 2.0; });
    cases.add("poor seeing", {}, air([](auto& a) { a.fwhm_arcsec = 7.0; }));
    cases.add("narrow wings", {}, air([](auto& a) { a.moffat_beta = 8.0; }));
    cases.add("wide wings", {}, air([](auto& a) { a.moffat_beta = 2.2; }));
    cases.add("host galaxy", [](auto& o) { o.host = true; });
    cases.add("bright host, clumpy", [](auto& o) {
        o.host = true;
        o.host_kind = rehearsal::HostKind::clumpy;
        o.host_offset_arcsec = 5.0;
    });
    cases.add("three comparison stars", stars(3));
    cases.add("four comparison stars", stars(4));
    cases.add("five comparison stars", stars(5));
    cases.add("forty comparison stars, crowded", [](auto& o) { o.comparison_stars = 40; });
    cases.add("crowded with faint stars", {}, [](InventedCampaign& c) {
        numerics::Random random(99);
        const auto centre = c.sky.transient.position;
        const Band band = sequence_band(c.bands.front());
        for (int i = 0; i < 3000; ++i) {
            rehearsal::InventedStar star;
            star.position = displaced(centre, {Angle::arcseconds(random.uniform(-320.0, 320.0)),
                                               Angle::arcseconds(random.uniform(-280.0, 280.0))});
            star.true_mag[band] = random.uniform(15.0, 19.0);
            c.sky.stars.push_back(star);
        }
    });
    cases.add("poor catalogue", [](auto& o) { o.catalogue_err_mag = 0.2; });
    cases.add("one comparison star wrong by 2 mag", stars(6), [](InventedCampaign& c) {
        for (auto& [band, value] : c.sky.stars.front().catalogue)
            value.value += 2.0;
    });
    cases.add("two comparison stars wrong", stars(9), [](InventedCampaign& c) {
        for (std::size_t i : {std::size_t{0}, std::size_t{1}}) {
            for (auto& [band, value] : c.sky.stars[i].catalogue)
                value.value += 1.5;
        }
    });
    cases.add("comparison stars all alike", [](auto& o) { o.faintest_comparison_mag = 12.6; });
    cases.add("pixel response of 2 %", {}, [](InventedCampaign& c) { c.instrument.flat_err = 0.02; });
    cases.add("12-bit converter, saturation not known", exposed(120.0), [](InventedCampaign& c) {
        c.instrument.gain_e_per_adu = 14.0;
        c.instrument.offset_adu = 60.0;
        c.instrument.full_adu = 4095.0;
    });
    cases.add(
        "14 bits shifted to 16", {},
        [](InventedCampaign& c) {
            c.instrument.gain_e_per_adu = 3.6;
            c.instrument.full_adu = 16383.0;
        },
        [](const InventedCampaign& c) { return scaled(single(c), 4.0, 0.0); });
    cases.add(
        "12 bits shifted to 16", {},
        [](InventedCampaign& c) {
            c.instrument.gain_e_per_adu = 14.0;
            c.instrument.full_adu = 4095.0;
            c.instrument.offset_adu = 60.0;
        },
        [](const InventedCampaign& c) { return scaled(single(c), 16.0, 0.0); });
    cases.add("multiplied by 1.7", {}, {},
              [](const InventedCampaign& c) { return scaled(single(c), 1.7, 0.0); });
    cases.add("bias taken away, cut at zero", exposed(10.0), {},
              [](const InventedCampaign& c) { return scaled(single(c), 1.0, -c.instrument.offset_adu); });
    cases.add("sky taken away, a pedestal added", {}, {}, [](const InventedCampaign& c) {
        return scaled(single(c), 1.0, -c.instrument.offset_adu - 50.0);
    });
    cases.add("sky taken away, a quarter of it cut at zero", exposed(20.0), {},
              [](const InventedCampaign& c) {
                  Picture p = single(c);
                  std::vector<float> sorted = p.adu;
                  const auto quarter = sorted.begin() + static_cast<std::ptrdiff_t>(sorted.size() / 4);
                  std::nth_element(sorted.begin(), quarter, sorted.end());
                  return scaled(std::move(p), 1.0, -static_cast<double>(*quarter));
              });
    cases.add("sky taken away, floating point", {}, {}, [](const InventedCampaign& c) {
        return as_float(scaled(single(c), 1.0, -c.instrument.offset_adu - 150.0));
    });
    cases.add("odd columns higher", {}, {}, [](const InventedCampaign& c) {
        Picture p = single(c);
        for (std::size_t i = 1; i < p.adu.size(); i += 2)
            p.adu[i] += 12.0F;
        return p;
    });
    cases.add("scaled to 0..1", {}, {},
              [](const InventedCampaign& c) { return as_float(scaled(single(c), 1.0 / 65535.0, 0.0)); });
    cases.add("mean of 10, floating point", exposed(20.0), {},
              [](const InventedCampaign& c) { return as_float(mean_of(c, 10)); });
    cases.add("mean of 10, whole numbers", exposed(20.0), {},
              [](const InventedCampaign& c) { return mean_of(c, 10); });
    cases.add("sum of 8, clipped at the top", exposed(20.0), {},
              [](const InventedCampaign& c) { return scaled(mean_of(c, 8), 8.0, 0.0); });
    const auto shifted = [](double dx, double dy, double turn, int reach, double (*weight)(double)) {
        return [=](const InventedCampaign& c) { return resampled(single(c), dx, dy, turn, reach, weight); };
    };
    cases.add("shifted by half a pixel, bilinear", {}, {}, shifted(0.5, 0.5, 0.0, 1, bilinear));
    cases.add("turned by 3 degrees, bilinear", {}, {}, shifted(0.2, 0.7, 3.0, 1, bilinear));
    cases.add("turned by 3 degrees, nearest pixel", {}, {}, shifted(0.2, 0.7, 3.0, 1, nearest));
    cases.add("turned by 2 degrees, cubic", {}, {}, shifted(0.2, 0.7, 2.0, 2, cubic));
    cases.add("turned by 2 degrees, Lanczos", {}, {}, shifted(0.2, 0.7, 2.0, 3, lanczos));
    cases.add("sharp stars, half a pixel by Lanczos", {}, air([](auto& a) { a.fwhm_arcsec = 2.0; }),
              shifted(0.5, 0.5, 0.0, 3, lanczos));
    cases.add("mean of 6, each shifted, bilinear", exposed(20.0), {}, [](const InventedCampaign& c) {
        Picture sum;
        for (int i = 0; i < 6; ++i) {
            auto planned = c.frames.front();
            planned.seed += static_cast<std::uint64_t>(i);
            const double d = 0.17 * i;
            planned.pointing.dx_px += d;
            const auto e = rehearsal::expose(c, planned);
            const Picture one =
                resampled({{e.adu.begin(), e.adu.end()}, e.width_px, e.height_px}, d, 0.0, 0.0, 1, bilinear);
            if (i == 0) sum = scaled(one, 0.0, 0.0);
            for (std::size_t p = 0; p < sum.adu.size(); ++p)
                sum.adu[p] += one.adu[p] / 6.0F;
        }
        return as_float(sum);
    });
    cases.add("debayered green", {}, {},
              [](const InventedCampaign& c) { return debayered(single(c), true); });
    cases.add("debayered red", {}, {}, [](const InventedCampaign& c) { return debayered(single(c), false); });
    cases.add("debayered red, turned, floating point", {}, {}, [](const InventedCampaign& c) {
        return as_float(resampled(debayered(single(c), false), 0.3, 0.4, 1.5, 1, bilinear));
    });
    cases.add("debayered, mean of 12", exposed(20.0), {},
              [](const InventedCampaign& c) { return as_float(debayered(mean_of(c, 12), false)); });
    return std::move(cases.list);
}

std::vector<PictureCase> processed_cases(std::uint64_t first_seed) {
    Cases cases(first_seed, false);
    const auto processed = [](Processing processing, double strength, bool stack) {
        return [=](const InventedCampaign& c) {
            const Picture raw = stack ? mean_of(c, 6) : single(c);
            auto image = rehearsal::process(raw.adu, raw.width_px, raw.height_px, processing, strength);
            return Picture{std::move(image.adu), raw.width_px, raw.height_px, false, image.eight_bits};
        };
    };
    int number = 0;
    for (const Processing processing : rehearsal::all_processings()) {
        if (processing == Processing::none || processing == Processing::smoothed) continue;
        for (const double strength : {0.8, 1.0, 1.6}) {
            ++number;
            const int n = number;
            cases.add(
                fmt::format("{}, strength {}", word(processing), strength),
                [n](RehearsalOptions& o) {
                    o.comparison_stars = n % 4 == 3 ? 6 : 12;
                    o.host = n % 3 == 0;
                    o.fwhm_arcsec = n % 5 == 0 ? 4.5 : 3.0;
                    if (n % 4 == 1) o.exposure_s = 25.0;
                },
                {}, processed(processing, strength, n % 4 == 1));
        }
    }
    return std::move(cases.list);
}

}  // namespace study
