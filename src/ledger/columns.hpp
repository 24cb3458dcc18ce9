// SPDX-License-Identifier: MIT
// ledger/columns — how values become columns and back. A type says once which columns it has, as
// `template <class Visitor, class T> void columns(Visitor& visit, T& value)` calling visit("name", member);
// the visitors below list them, write them, read them, and tell two values apart bit by bit.
#pragma once

#include <array>
#include <cstdint>
#include <limits>
#include <optional>
#include <string>
#include <vector>

#include "ledger/bytes.hpp"
#include "ledger/connection.hpp"
#include "ledger/name_lists.hpp"
#include "night/measurement.hpp"
#include "photometry/frame_record.hpp"
#include "quantities/band.hpp"
#include "quantities/caveat.hpp"

namespace emberline::ledger {

class ColumnNames {
  public:
    template <class T>
    void operator()(const char* name, const T&) {
        add(name);
    }
    void shared(const char* name, const std::vector<std::string>&) { add(name); }
    void components(const char* names, const char* errs, const std::vector<night::CommonComponent>&) {
        add(names);
        add(errs);
    }
    [[nodiscard]] const std::string& list() const { return list_; }     // "a, b, c"
    [[nodiscard]] std::string places() const;                           // "?, ?, ?"
    [[nodiscard]] std::string list_of(const std::string& table) const;  // "t.a, t.b, t.c"
    [[nodiscard]] int size() const { return static_cast<int>(names_.size()); }

  private:
    void add(const char* name);
    std::vector<std::string> names_;
    std::string list_;
};

class ColumnWriter {
  public:
    ColumnWriter(Statement& statement, int first, NameLists& lists)
        : statement_(statement), next_(first), lists_(lists) {}
    void operator()(const char*, const std::string& value) { statement_.bind_text(next_++, value); }
    void operator()(const char*, double value) { statement_.bind(next_++, value); }
    void operator()(const char*, int value) { statement_.bind(next_++, std::int64_t{value}); }
    void operator()(const char*, bool value) { statement_.bind(next_++, std::int64_t{value}); }
    void operator()(const char*, const std::optional<double>& value);
    void operator()(const char*, const Band& value) { statement_.bind_text(next_++, value.name()); }
    void operator()(const char*, const Angle& value) { statement_.bind(next_++, value.radians()); }
    void operator()(const char*, TimeScale value) { statement_.bind_text(next_++, name(value)); }
    void operator()(const char*, const Caveats& value);
    void operator()(const char*, const std::vector<double>& values);
    void operator()(const char*, const std::vector<float>& values);
    void operator()(const char*, const std::array<double, 4>& values);
    void operator()(const char*, const std::vector<Caveats>& values);
    void operator()(const char*, const std::vector<photometry::FrameAperture>& values);
    void operator()(const char*, const std::vector<std::string>& values);
    void operator()(const char*, photometry::HostMethod value) { statement_.bind_text(next_++, word(value)); }
    void shared(const char*, const std::vector<std::string>& names);
    void components(const char*, const char*, const std::vector<night::CommonComponent>& values);

  private:
    Statement& statement_;
    int next_;
    NameLists& lists_;
};

// Failure (damaged) where a column does not hold what the writer puts there.
class ColumnReader {
  public:
    ColumnReader(const Statement& statement, int first, NameLists& lists)
        : statement_(statement), next_(first), lists_(lists) {}
    void operator()(const char*, std::string& value) { value = statement_.text(next_++); }
    void operator()(const char*, double& value) { value = statement_.number(next_++); }
    void operator()(const char* name, int& value);
    void operator()(const char*, bool& value) { value = statement_.integer(next_++) != 0; }
    void operator()(const char*, std::optional<double>& value);
    void operator()(const char* name, Band& value);
    void operator()(const char*, Angle& value) { value = Angle::radians(statement_.number(next_++)); }
    void operator()(const char* name, TimeScale& value);
    void operator()(const char*, Caveats& value);
    void operator()(const char* name, std::vector<double>& values);
    void operator()(const char* name, std::vector<float>& values);
    void operator()(const char* name, std::array<double, 4>& values);
    void operator()(const char* name, photometry::HostMethod& value);
    void operator()(const char* name, std::vector<Caveats>& values);
    void operator()(const char* name, std::vector<photometry::FrameAperture>& values);
    void operator()(const char* name, std::vector<std::string>& values);
    void shared(const char*, std::vector<std::string>& names);
    void components(const char* names, const char* errs, std::vector<night::CommonComponent>& values);

  private:
    [[noreturn]] void damaged(const char* name) const;
    const Statement& statement_;
    int next_;
    NameLists& lists_;
};

// All of a value as bytes: two are alike exactly when their bytes are, NaN and the sign of zero included.
class ColumnBytes {
  public:
    void operator()(const char*, const std::string& value) { out_.put(std::string_view(value)); }
    void operator()(const char*, double value) { out_.put(value); }
    void operator()(const char*, int value) { put_integer(value); }
    void operator()(const char*, bool value) { put_integer(value ? 1 : 0); }
    void operator()(const char*, const std::optional<double>& value);
    void operator()(const char*, const Band& value) { out_.put(std::string_view(value.name())); }
    void operator()(const char*, const Caveats& value) { out_.put(value.bits()); }
    void shared(const char*, const std::vector<std::string>& names) {
        out_.put(std::string_view(join_lines(names)));
    }
    void components(const char*, const char*, const std::vector<night::CommonComponent>& values);
    [[nodiscard]] const std::string& bytes() const { return out_.bytes(); }

  private:
    void put_integer(int value) { out_.put(static_cast<std::uint64_t>(static_cast<std::int64_t>(value))); }
    ByteWriter out_;
};

}  // namespace emberline::ledger
