// SPDX-License-Identifier: MIT
#include "program/rehearsed.hpp"

#include <algorithm>
#include <catch2/catch.hpp>
#include <map>
#include <memory>
#include <sstream>

namespace emberline::testing {

Rehearsed::Rehearsed(const Words& options) {
    static std::map<Words, std::unique_ptr<Folder>> made;
    std::unique_ptr<Folder>& original = made[options];
    if (!original) {
        original = std::make_unique<Folder>();
        Words words = {"rehearse", original->path("c"), "--quiet"};
        for (const auto& [option, usual] :
             {std::pair("--frames", "2"), {"--width", "300"}, {"--height", "300"}}) {
            if (std::find(options.begin(), options.end(), option) == options.end())
                words.insert(words.end(), {option, usual});
        }
        words.insert(words.end(), options.begin(), options.end());
        const Outcome rehearsed = testing::run(words);
        INFO(rehearsed.err);
        REQUIRE(rehearsed.status == 0);
    }
    std::filesystem::copy(original->path("c"), folder_.path("c"), std::filesystem::copy_options::recursive);
    set_star(1, "label", "first");
}

void Rehearsed::set_star(std::size_t row, const std::string& column, const std::string& value) const {
    auto lines = lines_of(contents(path("comparison.csv")));
    const auto fields_of = [](const std::string& line) {
        Words fields;
        std::istringstream stream(line);
        for (std::string field; std::getline(stream, field, ',');)
            fields.push_back(field);
        return fields;
    };
    const Words columns = fields_of(lines.at(0));
    Words fields = fields_of(lines.at(row));
    const auto at = std::find(columns.begin(), columns.end(), column);
    REQUIRE(at != columns.end());
    fields.at(static_cast<std::size_t>(at - columns.begin())) = value;
    std::string text;
    for (std::size_t i = 0; i < lines.size(); ++i) {
        if (i == row) {
            lines[i].clear();
            for (const std::string& field : fields)
                lines[i] += (lines[i].empty() ? "" : ",") + field;
        }
        text += lines[i] + "\n";
    }
    write_contents(path("comparison.csv"), text);
}

Outcome Rehearsed::run(Words words, const Setting& setting) const {
    words.insert(words.end(), {"--quiet", "--campaign", path()});
    return testing::run(words, setting);
}

void Rehearsed::measure() const {
    const Outcome measured = run({"measure"});
    INFO(measured.out << measured.err);
    REQUIRE(measured.status == 0);
}

}  // namespace emberline::testing
