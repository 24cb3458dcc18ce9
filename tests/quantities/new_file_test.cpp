// SPDX-License-Identifier: MIT
// POSIX.1-2017, rename(): whoever opens the name finds the old file or the new one.
#include "quantities/new_file.hpp"
#include "temporary_folder.hpp"


#include <catch2/catch.hpp>
#include <filesystem>
#include <iterator>

using namespace emberline;
namespace fs = std::filesystem;

namespace {

using Folder = test::TemporaryFolder;

std::string text_of(const std::string& path) {
    std::ifstream in(path, std::ios::binary);
    return {std::istreambuf_iterator<char>(in), {}};
}

}  // namespace

TEST_CASE("a file has its name when it is whole, and not before", "[new_file]") {
    const Folder folder;
    {
        auto given_up = NewFile::open(folder.path("report.txt"));
        REQUIRE(given_up);
        given_up->out() << "half";
        CHECK(text_of(given_up->beside()) == "half");
        CHECK_FALSE(fs::exists(folder.path("report.txt")));
    }
    CHECK(folder.names().empty());
    auto file = NewFile::open(folder.path("report.txt"));
    REQUIRE(file);
    file->out() << "whole";
    REQUIRE(file->commit());
    CHECK(text_of(folder.path("report.txt")) == "whole");
    CHECK(folder.names() == std::vector<std::string>{"report.txt"});
    const auto nowhere = NewFile::open(folder.path("no/report.txt"));
    REQUIRE_FALSE(nowhere);
    CHECK(nowhere.error().kind == ProblemKind::storage);
}

// Two threads of one program wrote into one file beside, and the first to end gave the other's half its name.
TEST_CASE("two that write one file at a time do not write into each other's", "[new_file]") {
    const Folder folder;
    auto first = NewFile::open(folder.path("report.txt")), second = NewFile::open(folder.path("report.txt"));
    REQUIRE(first);
    REQUIRE(second);
    first->out() << "the first, whole";
    second->out() << "half of";
    second->out().flush();
    REQUIRE(first->commit());
    CHECK(text_of(folder.path("report.txt")) == "the first, whole");
    second->out() << " the second, and the rest";
    REQUIRE(second->commit());
    CHECK(text_of(folder.path("report.txt")) == "half of the second, and the rest");
    CHECK(folder.names() == std::vector<std::string>{"report.txt"});
}
