// SPDX-License-Identifier: MIT
#include "program/rehearsed.hpp"

#include <catch2/catch.hpp>
#include <map>
#include <memory>

namespace emberline::testing {

Rehearsed::Rehearsed(const Words& options) {
    static std::map<Words, std::unique_ptr<Folder>> made;
    std::unique_ptr<Folder>& original = made[options];
    if (!original) {
        original = std::make_unique<Folder>();
        Words words = {"rehearse", original->path("c"), "--frames", "2",      "--width",
                       "300",      "--height",          "300",      "--quiet"};
        words.insert(words.end(), options.begin(), options.end());
        const Outcome rehearsed = testing::run(words);
        INFO(rehearsed.err);
        REQUIRE(rehearsed.status == 0);
    }
    std::filesystem::copy(original->path("c"), folder_.path("c"), std::filesystem::copy_options::recursive);
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
