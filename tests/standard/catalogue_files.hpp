// SPDX-License-Identifier: MIT
// Catalogues for the tests: samples as another program writes them, texts as they come, and what a refusal
// must say.
#pragma once

#include <algorithm>
#include <catch2/catch.hpp>
#include <filesystem>
#include <fstream>
#include <iterator>
#include <stdexcept>
#include <string>

#include "standard/field_catalogue.hpp"
#include "temporary_folder.hpp"

namespace emberline::test {

using Folder = TemporaryFolder;

inline std::string sample(const std::string& name) {
    return std::string(EMBERLINE_TEST_DATA) + "/standard/catalogues/" + name;
}
inline std::string bytes_of(const std::string& path) {
    std::ifstream in(path, std::ios::binary);
    REQUIRE(in);
    return {std::istreambuf_iterator<char>(in), {}};
}
inline std::string replaced(std::string text, const std::string& what, const std::string& with) {
    const auto at = text.find(what);
    INFO(what);
    REQUIRE(at != std::string::npos);
    return text.replace(at, what.size(), with);
}

inline standard::FieldCatalogue read(const std::string& path, std::optional<double> epoch = std::nullopt) {
    auto catalogue = standard::read_field_catalogue(path, epoch);
    INFO(path);
    if (!catalogue) FAIL(one_line(catalogue.error()));
    return *catalogue;
}
inline standard::FieldCatalogue read_text(std::string_view text) {
    const Folder folder;
    return read(folder.file("stars.csv", text));
}

inline double apart_mas(const SkyPosition& a, const SkyPosition& b) {
    return separation(a, b).arcseconds() * 1000.0;
}
inline SkyPosition degrees(double ra, double dec) {
    return {Angle::degrees(ra), Angle::degrees(dec)};
}

inline bool remarked(const standard::FieldCatalogue& catalogue, const std::string& words) {
    return std::any_of(catalogue.remarks.begin(), catalogue.remarks.end(), [&](const std::string& remark) {
        CHECK(remark.ends_with('.'));
        return remark.find(words) != std::string::npos;
    });
}

// The file is refused in whole sentences that say what and where.
inline void check_refused(const std::string& path, const std::string& saying, const std::string& place = "") {
    const auto catalogue = standard::read_field_catalogue(path);
    INFO(path << ", expected: " << saying);
    REQUIRE_FALSE(catalogue);
    INFO(one_line(catalogue.error()));
    CHECK(catalogue.error().what.find(saying) != std::string::npos);
    CHECK(catalogue.error().what.ends_with('.'));
    CHECK(catalogue.error().where.find(path) != std::string::npos);
    CHECK(catalogue.error().where.find(place) != std::string::npos);
    CHECK(catalogue.error().mend.ends_with('.'));
}
inline void check_text_refused(std::string_view text, const std::string& saying,
                               const std::string& place = "") {
    const Folder folder;
    check_refused(folder.file("stars.txt", text), saying, place);
}

// A VOTable of one table, its fields and its cells.
inline std::string votable(const std::string& fields, const std::string& data,
                           const std::string& before = "") {
    return "<?xml version=\"1.0\"?>\n<VOTABLE version=\"1.4\" "
           "xmlns=\"http://www.ivoa.net/xml/VOTable/v1.3\">\n"
           "<RESOURCE type=\"results\">" +
           before + "<TABLE>\n" + fields + "\n<DATA>" + data + "</DATA></TABLE></RESOURCE></VOTABLE>\n";
}
inline const std::string two_fields =
    "<FIELD name=\"ra\" datatype=\"double\" unit=\"deg\"/>"
    "<FIELD name=\"dec\" datatype=\"double\" unit=\"deg\"/>";
inline std::string tabledata(const std::string& rows) {
    return "<TABLEDATA>" + rows + "</TABLEDATA>";
}

}  // namespace emberline::test
