// SPDX-License-Identifier: MIT
#include "tasks/find_files.hpp"
#include "temporary_folder.hpp"

#include <sys/stat.h>

#include <catch2/catch.hpp>
#include <filesystem>
#include <fstream>

using namespace emberline;
namespace fs = std::filesystem;

namespace {

using Folder = test::TemporaryFolder;

std::vector<std::string> found(const std::vector<std::string>& places, const std::string& skip = {}) {
    const auto files = tasks::find_frame_files(places, skip);
    REQUIRE(files);
    return *files;
}

using Paths = std::vector<std::string>;

}  // namespace

// POSIX (IEEE Std 1003.1-2017, XBD 4.13): a path that goes through a link back to its own folder ends in
// ELOOP, and before that names every file once a round.
TEST_CASE("links that lead round in circles are walked through once", "[files]") {
    const Folder folder;
    folder.file("a/V_001.fits", "any");
    folder.file("b/V_002.fits", "any");
    fs::create_directory_symlink(folder.path("a"), folder.path("a/self"));
    fs::create_directory_symlink(folder.path("b"), folder.path("a/other"));
    fs::create_directory_symlink(folder.path("a"), folder.path("b/other"));
    CHECK(found({folder.path("")}) == Paths{folder.path("a/V_001.fits"), folder.path("a/other/V_002.fits")});
    CHECK(found({folder.path("b")}) == Paths{folder.path("b/V_002.fits"), folder.path("b/other/V_001.fits")});
}

// `watch` leaves them alone too, and must find what `measure` finds. What other systems write so beside each
// file of a share: RFC 1740, appendix B has their contents; the name's beginning is common practice, no
// source.
TEST_CASE("what is hidden in a folder is no frame, and what is named is", "[files]") {
    const Folder folder;
    folder.file("V_001.fits", "any");
    folder.file("._V_001.fits", "any");
    folder.file(".trash/V_002.fits", "any");
    CHECK(found({folder.path("")}) == Paths{folder.path("V_001.fits")});
    CHECK(found({folder.path(".trash/V_002.fits")}) == Paths{folder.path(".trash/V_002.fits")});
}

// POSIX (IEEE Std 1003.1-2017, open): who opens a pipe to read waits for somebody who writes.
TEST_CASE("a pipe in a folder is no frame, and a link to nothing is told of", "[files]") {
    const Folder folder;
    folder.file("V_001.fits", "any");
    REQUIRE(::mkfifo(folder.path("V_002.fits").c_str(), 0600) == 0);
    fs::create_symlink(folder.path("gone.fits"), folder.path("V_003.fits"));
    CHECK(found({folder.path("")}) == Paths{folder.path("V_001.fits"), folder.path("V_003.fits")});
}

TEST_CASE("a folder is left out where it is met, and not where it is asked for", "[files]") {
    const Folder folder;
    folder.file("frames/V_001.fits.fz", "any");
    folder.file("out/stack.fit", "any");
    CHECK(found({folder.path("")}, folder.path("out")) == Paths{folder.path("frames/V_001.fits.fz")});
    CHECK(found({folder.path("out")}, folder.path("out")) == Paths{folder.path("out/stack.fit")});
}
