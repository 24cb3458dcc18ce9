// SPDX-License-Identifier: MIT
#include "picture/audit_picture.hpp"

#include <catch2/catch.hpp>

#include "quantities/delimited_table.hpp"
#include "temporary_folder.hpp"

using namespace emberline;

TEST_CASE("an audit without a star is no picture, nor is paper of no kind", "[audit_picture]") {
    CHECK_FALSE(picture::draw_audit({}, "DEMO SN 1", "audit.svg"));
    const auto none = picture::draw_audit({}, "DEMO SN 1", "audit.txt");
    REQUIRE_FALSE(none);
    CHECK(none.error().kind == ProblemKind::request);
}

TEST_CASE("each star has a strip, the accused ones in ember", "[audit_picture]") {
    night::SequenceAudit audit;
    audit.nights = 3;
    audit.frames = 12;
    for (const char* label : {"131b", "126"}) {
        night::StarOnTrial trial;
        trial.star.label = label;
        trial.star.band = *parse_band("V");
        trial.star.instrument = "main";
        trial.star.catalogue_err_mag = 0.03;
        trial.star.fault = audit.stars.empty() ? night::StarFault::varies : night::StarFault::fine;
        for (int k = 0; k < 3; ++k)
            trial.star.nights.push_back({"2024-02-03", 2460344.5 + 4.0 * k, {0.1 * (k - 1), 0.01}, 4});
        audit.stars.push_back(trial);
    }
    const test::TemporaryFolder folder;
    const auto drawn = picture::draw_audit(audit, "DEMO SN 1", folder / "a.svg");
    INFO((drawn ? std::string() : one_line(drawn.error())));
    REQUIRE(drawn);
    const auto text = read_text_file(folder / "a.svg");
    REQUIRE(text);
    for (const char* words : {"DEMO SN 1", "131b", "126", "varies", "fine", "1 accused", "228,  87,  46"}) {
        INFO(words);
        CHECK(text->find(words) != std::string::npos);
    }
}
