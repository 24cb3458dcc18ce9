// SPDX-License-Identifier: MIT
#include "ledger/columns.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <bit>

namespace emberline::ledger {
namespace {

constexpr std::uint64_t has_fwhm_multiple = 1;
constexpr std::uint64_t has_angle = 2;
constexpr std::uint64_t is_psf = 4;
constexpr std::uint64_t has_noise_factor = 8;

}  // namespace

void ColumnNames::add(const char* name) {
    if (!names_.empty()) list_ += ", ";
    list_ += name;
    names_.emplace_back(name);
}

std::string ColumnNames::places() const {
    std::string places;
    for (std::size_t i = 0; i < names_.size(); ++i)
        places += i == 0 ? "?" : ", ?";
    return places;
}

std::string ColumnNames::list_of(const std::string& table) const {
    std::string list;
    for (const std::string& name : names_)
        list += fmt::format("{}{}.{}", list.empty() ? "" : ", ", table, name);
    return list;
}

void ColumnWriter::operator()(const char*, const std::optional<double>& value) {
    if (value) {
        statement_.bind(next_++, *value);
    } else {
        statement_.bind_null(next_++);
    }
}

void ColumnWriter::operator()(const char*, const Caveats& value) {
    statement_.bind(next_++, std::bit_cast<std::int64_t>(value.bits()));
}

void ColumnWriter::operator()(const char*, const std::vector<double>& values) {
    ByteWriter bytes;
    for (const double value : values)
        bytes.put(value);
    statement_.bind_blob(next_++, bytes.bytes());
}

void ColumnWriter::operator()(const char*, const std::vector<float>& values) {
    ByteWriter bytes;
    for (const float value : values)
        bytes.put(value);
    statement_.bind_blob(next_++, bytes.bytes());
}

void ColumnWriter::operator()(const char* name, const std::array<double, 4>& values) {
    (*this)(name, std::vector<double>(values.begin(), values.end()));
}

void ColumnWriter::operator()(const char*, const std::vector<Caveats>& values) {
    ByteWriter bytes;
    for (const Caveats& value : values)
        bytes.put(value.bits());
    statement_.bind_blob(next_++, bytes.bytes());
}

void ColumnWriter::operator()(const char*, const std::vector<photometry::FrameAperture>& values) {
    ByteWriter bytes;
    for (const photometry::FrameAperture& aperture : values) {
        bytes.put((aperture.fwhm_multiple ? has_fwhm_multiple : 0U) |
                  (aperture.angle_arcsec ? has_angle : 0U) | (aperture.is_psf() ? is_psf : 0U) |
                  (aperture.sky_noise_factor != 1.0 ? has_noise_factor : 0U));
        bytes.put(aperture.radius_px);
        if (aperture.fwhm_multiple) bytes.put(*aperture.fwhm_multiple);
        if (aperture.angle_arcsec) bytes.put(*aperture.angle_arcsec);
        if (aperture.psf_photon_factor) bytes.put(*aperture.psf_photon_factor);
        if (aperture.sky_noise_factor != 1.0) bytes.put(aperture.sky_noise_factor);
    }
    statement_.bind_blob(next_++, bytes.bytes());
}

void ColumnWriter::operator()(const char*, const std::vector<std::string>& values) {
    statement_.bind_text(next_++, join_lines(values));
}

void ColumnWriter::shared(const char*, const std::vector<std::string>& names) {
    statement_.bind(next_++, lists_.id(names));
}

void ColumnWriter::components(const char* names, const char* errs,
                              const std::vector<night::CommonComponent>& values) {
    std::vector<std::string> component_names;
    std::vector<double> component_errs_mag;
    for (const night::CommonComponent& component : values) {
        component_names.push_back(component.name);
        component_errs_mag.push_back(component.err_mag);
    }
    shared(names, component_names);
    (*this)(errs, component_errs_mag);
}

void ColumnReader::damaged(const char* name) const {
    statement_.connection().raise_damaged(fmt::format("{} cannot be read", name));
}

void ColumnReader::operator()(const char* name, int& value) {
    const std::int64_t stored = statement_.integer(next_++);
    if (stored < std::numeric_limits<int>::min() || stored > std::numeric_limits<int>::max()) damaged(name);
    value = static_cast<int>(stored);
}

void ColumnReader::operator()(const char*, std::optional<double>& value) {
    if (statement_.is_null(next_)) {
        value.reset();
    } else {
        value = statement_.number(next_);
    }
    ++next_;
}

void ColumnReader::operator()(const char* name, Band& value) {
    const std::string stored = statement_.text(next_++);
    value = Band();
    if (stored.empty()) return;
    const auto band = parse_band(stored);
    if (!band) damaged(name);
    value = *band;
}

void ColumnReader::operator()(const char* column, TimeScale& value) {
    const std::string stored = statement_.text(next_++);
    for (const TimeScale scale : {TimeScale::utc, TimeScale::tai, TimeScale::tt, TimeScale::tdb}) {
        if (name(scale) == stored) {
            value = scale;
            return;
        }
    }
    damaged(column);
}

void ColumnReader::operator()(const char*, Caveats& value) {
    value = Caveats::from_bits(std::bit_cast<std::uint64_t>(statement_.integer(next_++)));
}

void ColumnReader::operator()(const char* name, std::vector<double>& values) {
    ByteReader bytes(statement_.blob(next_++));
    values.clear();
    while (!bytes.at_end()) {
        const auto value = bytes.number();
        if (!value) damaged(name);
        values.push_back(*value);
    }
}

void ColumnReader::operator()(const char* name, std::vector<float>& values) {
    ByteReader bytes(statement_.blob(next_++));
    values.clear();
    while (!bytes.at_end()) {
        const auto value = bytes.short_number();
        if (!value) damaged(name);
        values.push_back(*value);
    }
}

void ColumnReader::operator()(const char* name, std::array<double, 4>& values) {
    std::vector<double> list;
    (*this)(name, list);
    if (list.size() != values.size()) damaged(name);
    std::copy(list.begin(), list.end(), values.begin());
}

void ColumnReader::operator()(const char* name, photometry::HostMethod& value) {
    const std::string stored = statement_.text(next_++);
    for (const auto method : {photometry::HostMethod::difference, photometry::HostMethod::scene,
                              photometry::HostMethod::smooth, photometry::HostMethod::annulus}) {
        if (stored == word(method)) {
            value = method;
            return;
        }
    }
    damaged(name);
}

void ColumnReader::operator()(const char* name, std::vector<Caveats>& values) {
    ByteReader bytes(statement_.blob(next_++));
    values.clear();
    while (!bytes.at_end()) {
        const auto bits = bytes.count();
        if (!bits) damaged(name);
        values.push_back(Caveats::from_bits(*bits));
    }
}

void ColumnReader::operator()(const char* name, std::vector<photometry::FrameAperture>& values) {
    ByteReader bytes(statement_.blob(next_++));
    values.clear();
    const auto number = [&] {
        const auto value = bytes.number();
        if (!value) damaged(name);
        return *value;
    };
    while (!bytes.at_end()) {
        const auto parts = bytes.count();
        if (!parts || *parts > (has_fwhm_multiple | has_angle | is_psf | has_noise_factor)) damaged(name);
        photometry::FrameAperture aperture{.radius_px = number()};
        if ((*parts & has_fwhm_multiple) != 0) aperture.fwhm_multiple = number();
        if ((*parts & has_angle) != 0) aperture.angle_arcsec = number();
        if ((*parts & is_psf) != 0) aperture.psf_photon_factor = number();
        if ((*parts & has_noise_factor) != 0) aperture.sky_noise_factor = number();
        values.push_back(aperture);
    }
}

void ColumnReader::operator()(const char* name, std::vector<std::string>& values) {
    auto texts = split_lines(statement_.text(next_++));
    if (!texts) damaged(name);
    values = std::move(*texts);
}

void ColumnReader::shared(const char*, std::vector<std::string>& names) {
    names = lists_.names(statement_.integer(next_++));
}

void ColumnReader::components(const char*, const char* errs, std::vector<night::CommonComponent>& values) {
    const std::vector<std::string>& names = lists_.names(statement_.integer(next_++));
    std::vector<double> component_errs_mag;
    (*this)(errs, component_errs_mag);
    if (component_errs_mag.size() != names.size()) damaged(errs);
    values.clear();
    for (std::size_t i = 0; i < names.size(); ++i)
        values.push_back({names[i], component_errs_mag[i]});
}

void ColumnBytes::operator()(const char*, const std::optional<double>& value) {
    out_.put(std::uint64_t{value.has_value()});
    if (value) out_.put(*value);
}

void ColumnBytes::components(const char*, const char*, const std::vector<night::CommonComponent>& values) {
    out_.put(std::uint64_t{values.size()});
    for (const night::CommonComponent& component : values) {
        out_.put(std::string_view(component.name));
        out_.put(component.err_mag);
    }
}

}  // namespace emberline::ledger
