// SPDX-License-Identifier: MIT
// Tables of invented measurements, written and read back.
#pragma once

#include <fmt/format.h>

#include <chrono>
#include <cmath>
#include <optional>
#include <random>
#include <sstream>
#include <string>
#include <string_view>
#include <type_traits>
#include <vector>

#include "exchange/measurement_samples.hpp"
#include "exchange/table_check.hpp"
#include "exchange/tables.hpp"

namespace emberline::test {

inline exchange::TableMeta sample_meta(const std::vector<std::string>& bands = {"B", "V"}) {
    exchange::TableMeta meta{.transient = "DEMO SN 1",
                             .position = SkyPosition{Angle::degrees(201.338), Angle::degrees(37.27)},
                             .observer_code = "XYZ",
                             .observer_name = "A. Observer",
                             .chart = "X00000",
                             .software = "emberline",
                             .campaign = "demo",
                             .solution = "campaign.ledger, solution 3",
                             .ledger_link = "campaign.ledger",
                             .bands = {}};
    for (const std::string& band : bands)
        meta.bands.push_back(parse_band(band).value());
    return meta;
}

template <class Row>
std::string table_of(const std::vector<Row>& rows, exchange::TableFormat format,
                     const exchange::TableMeta& meta = sample_meta()) {
    std::ostringstream out;
    exchange::TableWriter<Row> writer(out, format, meta);
    for (const Row& row : rows)
        writer.write(row);
    writer.finish();
    return out.str();
}

struct ReadTable {
    exchange::CheckedTable checked;
    std::vector<std::vector<exchange::Cell>> rows;
};
inline ReadTable read_back(const std::string& text) {
    std::istringstream in(text);
    ReadTable read;
    read.checked = exchange::check_table(
        in, [&](exchange::TableLevel, std::size_t, std::span<const exchange::Cell> row) {
            read.rows.emplace_back(row.begin(), row.end());
            return true;
        });
    return read;
}

inline std::string said(const exchange::CheckedTable& checked) {
    std::string all;
    for (const exchange::Finding& f : checked.findings) {
        all += std::to_string(f.line) + " " + f.field + (f.error ? " error: " : " warning: ");
        all += f.what + "\n";
    }
    return all;
}

// Its UTC date, which is within the night's noon to noon somewhere on Earth.
inline std::string date_of(double jd) {
    using namespace std::chrono;
    constexpr double jd_of_1970 = 2440587.5;
    const year_month_day date{sys_days{days{static_cast<int>(std::floor(jd - jd_of_1970))}}};
    return fmt::format("{:04}-{:02}-{:02}", static_cast<int>(date.year()),
                       static_cast<unsigned>(date.month()), static_cast<unsigned>(date.day()));
}

// A light curve of some shape: nights some days apart, limits, several bands, values missing, flags, and
// texts with all that is hostile to one format or another.
class InventedCurve {
  public:
    explicit InventedCurve(unsigned seed) : random_(seed) {}

    std::vector<night::NightMeasurement> nights(int n) {
        return rows<night::NightMeasurement>(n, [&](night::NightMeasurement& m) {
            m.n_frames = whole(1, 300);
            m.n_rejected = whole(0, 20);
        });
    }
    std::vector<night::FrameMeasurement> frames(int n) {
        int number = 0;
        return rows<night::FrameMeasurement>(n, [&](night::FrameMeasurement& m) {
            m.frame = "frames/" + word() + std::to_string(++number) + word() + ".fits";
            m.fwhm_px = chance(0.9) ? uniform(1.0, 9.0) : 0.0;
            m.aperture_px = uniform(2.0, 20.0);
            m.check.label = chance(0.8) ? word() : "";
            if (chance(0.3)) m.check.residual_mag.reset();
        });
    }

  private:
    double uniform(double low, double high) {
        return std::uniform_real_distribution<double>(low, high)(random_);
    }
    int whole(int low, int high) { return std::uniform_int_distribution<int>(low, high)(random_); }
    bool chance(double p) { return uniform(0.0, 1.0) < p; }

    std::string word() {
        static const std::vector<std::string> parts{"a", "b ", "\"",         "'",     ",",  ";",   "<",  ">",
                                                    "&", "#",  "]]>",        "&amp;", "--", "{",   ": ", "é",
                                                    "η", "星", "\U0001F30C", "%41",   "\\", "\\n", "|",  "0"};
        std::string out;
        for (int i = whole(0, 5); i > 0; --i)
            out += parts[static_cast<std::size_t>(whole(0, static_cast<int>(parts.size()) - 1))];
        return out;
    }

    template <class Row, class More>
    std::vector<Row> rows(int n, const More& more) {
        static const std::vector<std::string> bands{"B", "V", "Rc", "g", "TG", "CV"};
        std::vector<Row> all;
        double jd = uniform(2455000.0, 2461000.0);
        for (int i = 0; i < n; ++i) {
            jd += std::is_same_v<Row, night::FrameMeasurement> ? uniform(0.0005, 0.01) : uniform(0.9, 4.0);
            auto m = sample_measurement<Row>(date_of(jd), bands[static_cast<std::size_t>(whole(0, 5))]);
            m.jd_utc = jd;
            m.bjd_tdb = chance(0.9) ? jd + uniform(-0.005, 0.0064) : 0.0;
            if (chance(0.1)) m.airmass.reset();
            if (m.airmass) m.airmass = uniform(1.0, 6.0);
            m.magnitude_mag = uniform(-2.0, 22.0);
            m.random_err_mag = uniform(0.0005, 0.4);
            m.common_err_mag = chance(0.9) ? std::optional(uniform(0.0, 0.1)) : std::nullopt;
            m.limit_mag = uniform(12.0, 23.0);
            m.transformed = chance(0.5);
            for (int k = whole(0, 3); k > 0; --k)
                m.caveats.add(static_cast<Caveat>(whole(0, 37)));
            if (chance(0.2)) m = as_limit(m);
            more(m);
            all.push_back(std::move(m));
        }
        return all;
    }

    std::mt19937 random_;
};

}  // namespace emberline::test
