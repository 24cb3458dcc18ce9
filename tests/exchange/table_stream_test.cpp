// SPDX-License-Identifier: MIT
// Tables longer than memory: each row is written, read and checked as it comes.
#include <catch2/catch.hpp>
#include <sstream>

#include "exchange/made_stream.hpp"
#include "exchange/table_samples.hpp"

namespace emberline::exchange {
namespace {

// A table of frames, half a minute apart, whose rows are written when they are read.
class EndlessTable {
  public:
    EndlessTable(TableFormat format, std::size_t rows)
        : rows_(rows), writer_(out_, format, test::sample_meta({"V"})) {}

    bool more(std::string& piece) {
        constexpr std::size_t at_once = 500;
        for (std::size_t i = 0; i < at_once && written_ < rows_; ++i) {
            auto frame = test::sample_frame();
            frame.jd_utc = 2458849.5 + static_cast<double>(written_) * 30.0 / 86400.0;
            frame.bjd_tdb = frame.jd_utc + 0.003;
            frame.night = test::date_of(frame.jd_utc);
            frame.frame = "frames/v_" + std::to_string(written_) + ".fits";
            writer_.write(frame);
            ++written_;
        }
        if (written_ == rows_ && !finished_) {
            finished_ = true;
            writer_.finish();
        }
        piece = out_.str();
        out_.str({});
        bytes_ += piece.size();
        return true;
    }
    [[nodiscard]] std::size_t bytes() const { return bytes_; }

  private:
    std::size_t rows_, written_ = 0, bytes_ = 0;
    bool finished_ = false;
    std::ostringstream out_;
    FrameTableWriter writer_;
};

void write_and_read(std::size_t rows, long most_growth_kib) {
    for (const TableFormat format : {TableFormat::csv, TableFormat::ecsv, TableFormat::votable}) {
        const auto before = test::peak_memory_kib();
        EndlessTable table(format, rows);
        test::MadeText text([&](std::string& piece) { return table.more(piece); });
        std::istream in(&text);
        std::size_t read = 0;
        const auto checked = check_table(in, [&](TableLevel, std::size_t, std::span<const Cell>) {
            ++read;
            return true;
        });
        INFO("format " << static_cast<int>(format) << ", " << table.bytes() << " bytes\n"
                       << test::said(checked));
        CHECK(checked.findings.empty());
        CHECK(read == rows);
        CHECK(table.bytes() > 150 * rows);
        test::check_peak_growth(before, most_growth_kib);
    }
}

TEST_CASE("A table is written, read and checked without being in memory", "[tables][stream]") {
    write_and_read(30'000, 8 * 1024);
}

TEST_CASE("A table of a million rows is written, read and checked in 64 MB", "[.][long][tables][stream]") {
    write_and_read(1'000'000, 64 * 1024);
}

}  // namespace
}  // namespace emberline::exchange
