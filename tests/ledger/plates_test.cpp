// SPDX-License-Identifier: MIT
#include <catch2/catch.hpp>

#include "child.hpp"
#include "examples.hpp"

using namespace emberline;
using namespace emberline::ledger;
using namespace emberline::ledger::testing;

TEST_CASE("a plate solution comes back as it was kept, and the newest of a file counts", "[ledger][plates]") {
    const Folder folder;
    const KeptPlate first = kept_plate(1);
    KeptPlate second = kept_plate(1);
    second.cards[30] = '7';
    second.false_probability = 0.0;
    {
        Ledger ledger = opened(folder.file());
        CHECK_FALSE(ledger.plate(first.fingerprint).value().has_value());
        REQUIRE(ledger.keep_plate(first));
        REQUIRE(ledger.keep_plate(kept_plate(2)));
        auto kept = ledger.plate(first.fingerprint).value();
        REQUIRE(kept.has_value());
        CHECK(kept->since.size() == std::string("2026-03-01T21:04:05Z").size());
        kept->since.clear();
        CHECK(*kept == first);
        REQUIRE(ledger.keep_plate(second));
        REQUIRE(ledger.keep_plate(second));  // nothing new
    }
    const Ledger ledger = opened(folder.file(), Ledger::Access::read);
    CHECK(ledger.plate(first.fingerprint).value()->cards == second.cards);
    CHECK(ledger.plate(kept_plate(2).fingerprint).value()->stars == kept_plate(2).stars);
    CHECK(ask(folder.file(), "SELECT count(*) FROM plate_solution") == 3);
}

TEST_CASE("the stars that frames are matched with come back bit by bit", "[ledger][plates]") {
    const Folder folder;
    Ledger ledger = opened(folder.file());
    CHECK_FALSE(ledger.reference().value().has_value());
    REQUIRE(ledger.keep_reference(field_reference(7)));
    REQUIRE(ledger.keep_reference(field_reference(7)));  // nothing new
    CHECK(ledger.reference().value() == field_reference(7));
    REQUIRE(ledger.keep_reference(field_reference(0)));
    CHECK(ledger.reference().value() == field_reference(0));
    CHECK(ask(folder.file(), "SELECT count(*) FROM field_reference") == 2);
}

TEST_CASE("stars that were cut short in the file are told as damage", "[ledger][plates]") {
    const Folder folder;
    { REQUIRE(opened(folder.file()).keep_reference(field_reference(3))); }
    for (const char* spoil : {"UPDATE field_reference SET stars = substr(stars, 1, length(stars) - 1)",
                              "UPDATE field_reference SET stars = x''",
                              "UPDATE field_reference SET labels = 'one' || char(10)"}) {
        tell(folder.file(), spoil);
        const auto read = opened(folder.file(), Ledger::Access::read).reference();
        REQUIRE_FALSE(read);
        CHECK(read.error().kind == ProblemKind::storage);
    }
}

TEST_CASE("a plate solution that was kept survives the program's death", "[ledger][plates][survival]") {
    const Folder folder;
    const int status = in_child([&] {
        Ledger ledger = opened(folder.file());
        if (!ledger.keep_plate(kept_plate(4)) || !ledger.keep_reference(field_reference(9))) return 1;
        ::kill(::getpid(), SIGKILL);
        return 0;
    });
    REQUIRE(status == -SIGKILL);
    const Ledger ledger = opened(folder.file());
    CHECK(ledger.plate(kept_plate(4).fingerprint).value()->cards == kept_plate(4).cards);
    CHECK(ledger.reference().value() == field_reference(9));
}
