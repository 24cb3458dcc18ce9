// SPDX-License-Identifier: MIT
// exchange/server_fields — the fields of the transient server's report, for JSON and TSV alike: their keys,
// how values are written, and whether what is read can stand there. Private to this room.
#pragma once

#include <cstddef>
#include <optional>
#include <set>
#include <string>
#include <string_view>
#include <vector>

#include "exchange/finding.hpp"
#include "exchange/server_report.hpp"

namespace emberline::exchange {

inline constexpr std::string_view non_detection_prefix = "non_detection.";
inline constexpr std::string_view point_prefix = "photometry.";
inline constexpr int ab_units = 1;  // the server's number of AB magnitudes

// A key as of 2025, "ra.value"; empty values are written as such.
struct ServerField {
    std::string_view key;
    std::string value;
};
// In the order of the file. Those of the report itself, the last non-detection among them.
[[nodiscard]] std::vector<ServerField> fields_of(const ServerReport& report);
[[nodiscard]] std::vector<ServerField> fields_of(const ServerPoint& point);
// Of the offset, which only the columns between tabs have.
[[nodiscard]] std::vector<ServerField> fields_of(const std::optional<ServerOffset>& offset);

// The key in the other spelling: "non_detection.flux_unitid" -> "non_detection.flux_units".
[[nodiscard]] std::string spelled(std::string_view key, ServerKeys keys);

// "2024-02-03.05400" and "2024-02-03 01:17:46", rounded first.
[[nodiscard]] std::string server_day(double jd_utc);
[[nodiscard]] std::string server_time(double jd_utc);
// Both forms, and a date alone.
[[nodiscard]] std::optional<double> parse_server_date(std::string_view text);

// Puts a report together, field by field, and says what is wrong with each.
class ServerReader {
  public:
    explicit ServerReader(Findings& findings) : findings_(findings) {}

    // Of the report itself, in either spelling. `line`: where it stands, or 0.
    void set(std::string_view key, std::string_view value, std::size_t line);
    // `where` goes before the keys in findings: "photometry.3.". A value is set between begin and end.
    void begin_point(std::string where, std::size_t line);
    void set_point(std::string_view key, std::string_view value);
    void end_point();
    // After the last: what is missing, and what does not go together.
    void finish();

    [[nodiscard]] bool knows(std::string_view key) const;        // of the report, either spelling
    [[nodiscard]] bool knows_point(std::string_view key) const;  // without prefix
    [[nodiscard]] ServerKeys keys() const {
        return older_ > newer_ ? ServerKeys::older : ServerKeys::of_2025;
    }
    [[nodiscard]] ServerReport take() && { return std::move(report_); }

  private:
    struct Where {
        std::string field;
        std::size_t line = 0;
    };
    std::string in_2025(std::string_view key);
    bool begin_field(std::set<std::string>& seen, const std::string& key, const Where& where);
    [[nodiscard]] std::optional<double> number(std::string_view value, const Where& where, double least,
                                               double most);
    [[nodiscard]] std::optional<int> identifier(std::string_view value, const Where& where);
    [[nodiscard]] std::optional<double> date(std::string_view value, const Where& where);
    [[nodiscard]] std::string text(std::string_view value, const Where& where);
    void set_position(std::string_view key, std::string_view value, const Where& where);
    bool set_of_point(ServerPoint& point, std::string_view key, std::string_view value, const Where& where);
    void check_point(const ServerPoint& point, const std::string& prefix, std::size_t line);
    void check_non_detection();
    void missing(const std::string& key, std::size_t line = 0);

    Findings& findings_;
    ServerReport report_;
    ServerPoint last_limit_;
    std::optional<ServerPoint> point_;
    std::string point_where_;
    std::size_t point_line_ = 0;
    std::set<std::string> seen_, seen_of_point_;
    bool has_ra_ = false, has_dec_ = false, has_discovery_ = false, mixed_said_ = false;
    std::size_t older_ = 0, newer_ = 0;
};

}  // namespace emberline::exchange
