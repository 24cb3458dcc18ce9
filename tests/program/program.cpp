// SPDX-License-Identifier: MIT
#include "program/program.hpp"

#include <catch2/catch.hpp>
#include <fstream>

namespace emberline::testing {

void write_contents(const std::string& path, const std::string& bytes) {
    std::ofstream file(path, std::ios::binary | std::ios::trunc);
    file << bytes;
    file.close();
    REQUIRE(file);
}

void replace_once(const std::string& path, const std::string& from, const std::string& to) {
    std::string text = contents(path);
    const std::size_t found = text.find(from);
    INFO("'" << from << "' in " << path);
    REQUIRE(found != std::string::npos);
    text.replace(found, from.size(), to);
    write_contents(path, text);
}

std::string Outcome::problem() const {
    INFO("standard error: " << err);
    REQUIRE(lines_of(err).size() == 1);
    CHECK(err.starts_with("emberline: "));
    return lines_of(err).front();
}

std::vector<std::string> Outcome::refused() const {
    std::vector<std::string> found;
    bool inside = false;
    for (const std::string& line : lines_of(out)) {
        if (inside && !line.starts_with("  ")) break;
        if (inside) found.push_back(line.substr(2));
        inside = inside || line == "Refused:";
    }
    return found;
}

nlohmann::json Outcome::json() const {
    INFO("standard output: " << out);
    const auto document = nlohmann::json::parse(out, nullptr, false);
    REQUIRE_FALSE(document.is_discarded());
    return document;
}

}  // namespace emberline::testing
