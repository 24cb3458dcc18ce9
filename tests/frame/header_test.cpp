// SPDX-License-Identifier: MIT
#include "frame/header.hpp"

#include <catch2/catch.hpp>
#include <random>

#include "frame/fits_maker.hpp"
#include "frame/parse_header.hpp"
#include "frame/tile_header.hpp"
#include "frame/write_frame.hpp"

using namespace emberline::frame;
using emberline::frame::testing::cards;

// Forms: FITS standard 4.0, sections 4.1 and 4.2.
TEST_CASE("values of every FITS form are read from their cards", "[header]") {
    const Header header = parse_header(cards({
        "SIMPLE  =                    T / conforms",
        "OBJECT  = 'O''Brien''s / nova'  / a slash and quotes inside",
        "EMPTY   = ''",
        "BLANKS  = '        '",
        "EXPTIME =                 30.5 / [s]",
        "GAIN    = 1.5D-1",
        "NEGATIVE=               -2.5E2",
        "WHOLE   =  -9223372036854775808 / more digits than a double has",
        "UNDEF   =                      / no value",
        "TEXTNUM = ' 060.00 '           / a number as text",
        "FREE=",
        "TIGHT   =3.5/no blanks",
        "COMMENT = this is a comment all the same",
        "HIERARCH DET chip Gain = 2.25 / long name",
        "HISTORY dark subtracted",
        "lower   = 7",
    }));
    CHECK(header.text("OBJECT") == "O'Brien's / nova");
    CHECK(header.find("OBJECT")->comment == "a slash and quotes inside");
    CHECK(header.find("OBJECT")->is_string);
    CHECK_FALSE(header.text("EMPTY"));
    CHECK_FALSE(header.text("BLANKS"));
    CHECK_FALSE(header.text("UNDEF"));
    CHECK_FALSE(header.number("UNDEF"));
    CHECK(header.find("UNDEF") != nullptr);
    CHECK(header.number("EXPTIME") == 30.5);
    CHECK(header.number("GAIN") == 0.15);
    CHECK(header.number("NEGATIVE") == -250.0);
    CHECK(header.integer("NEGATIVE") == -250);
    CHECK(header.integer("WHOLE") == std::numeric_limits<long long>::min());
    CHECK_FALSE(header.integer("EXPTIME"));
    CHECK(header.number("TEXTNUM") == 60.0);
    CHECK(header.number("DET CHIP GAIN") == 2.25);
    CHECK(header.number("LOWER") == 7.0);
    CHECK(header.number("TIGHT") == 3.5);
    CHECK(header.find("HISTORY")->comment == "dark subtracted");
    CHECK(header.find("MISSING") == nullptr);
    CHECK_FALSE(header.number("OBJECT"));
}

TEST_CASE("a long string goes on over CONTINUE cards", "[header]") {
    const Header header = parse_header(cards({
        "FILTER  = 'a filter with &'",
        "CONTINUE  'a name of three &'",
        "CONTINUE  'lines' / said at the end",
        "NOTE    = 'an ampersand that nothing follows &'",
        "AFTER   = 1",
        "CONTINUE  'which continues nothing'",
    }));
    CHECK(header.text("FILTER") == "a filter with a name of three lines");
    CHECK(header.text("NOTE") == "an ampersand that nothing follows &");
    CHECK(header.number("AFTER") == 1.0);
}

TEST_CASE("the first of two equal keywords counts, and nothing after END", "[header]") {
    const Header header =
        parse_header(cards({"GAIN    = 1.0", "GAIN    = 2.0", "END", "HIDDEN  = 'after the end'"}));
    CHECK(header.number("GAIN") == 1.0);
    CHECK(header.find("HIDDEN") == nullptr);
}

TEST_CASE("text that no header may hold is survived", "[header][damage]") {
    const Header header = parse_header(cards({
                                           "OPEN    = 'a quote never closed",
                                           std::string("CONTROL = 'tab\there and \x01\xff'"),
                                           std::string("NUL     = '") + '\0' + "x'",
                                           "=========",
                                           "HIERARCH no equals sign",
                                           "HIERARCH = 5",
                                       }) +
                                       "SHORT   = 1");
    CHECK(header.text("OPEN") == "a quote never closed");
    CHECK(header.text("CONTROL") == "tab?here and ??");
    CHECK(header.text("NUL") == "?x");
    CHECK(header.number("SHORT") == 1.0);

    INFO("seed 20240203");
    std::mt19937 random(20240203);
    for (int i = 0; i < 2000; ++i) {
        std::string raw(random() % 400, ' ');
        for (char& c : raw)
            c = random() % 3 == 0 ? "'/=&\"EDN "[random() % 9] : static_cast<char>(random() % 256);
        const Header any = parse_header(raw);
        for (const Card& card : any.cards())
            for (const char c : card.keyword + card.value + card.comment)
                REQUIRE((c >= ' ' && c <= '~'));
    }
}

TEST_CASE("a card is written so that it is read back the same", "[header]") {
    const std::vector<Card> written = {
        {"DATE-OBS", "2024-02-03T21:04:05", "start of exposure", true},
        {"OBJECT", "O'Brien's '' nova", "", true},
        {"EXPTIME", "30.0", "[s]", false},
        {"DET CHIP GAIN", "1.25", "long name", false},
        {"NOTE", std::string(60, '\''), "quotes alone", true},
    };
    for (const Card& card : written) {
        const std::string text = card_text(card);
        INFO(text);
        REQUIRE(text.size() == 80);
        const Card read = parse_card(text);
        CHECK(read.keyword == card.keyword);
        CHECK(read.is_string == card.is_string);
        if (card.value.size() < 30) {
            CHECK(read.value == card.value);
            CHECK(read.comment == card.comment);
        } else {
            // Too long for one card: cut, but never within a doubled quote.
            CHECK(card.value.starts_with(read.value));
            CHECK(read.value.size() >= 30);
        }
    }
    CHECK(card_text({"DATE-OBS", "2024-02-03T21:04:05", "start", true}).substr(0, 39) ==
          "DATE-OBS= '2024-02-03T21:04:05' / start");
    CHECK(card_text({"HISTORY", "", "flat applied", false}).substr(0, 20) == "HISTORY flat applied");
    CHECK(card_text({"NAME", "caf\xc3\xa9\n", "", true}).substr(0, 19) == "NAME    = 'caf???  ");
}

// FITS standard 4.0, section 10.1.1.
TEST_CASE("the header of packed tiles becomes that of the image within", "[header]") {
    const Header header = parse_header(header_of_unpacked(cards({
        "XTENSION= 'BINTABLE'", "BITPIX  = 8",        "NAXIS   = 2",
        "NAXIS1  = 8",          "NAXIS2  = 1023",     "PCOUNT  = 900",
        "GCOUNT  = 1",          "TFIELDS = 1",        "TTYPE1  = 'COMPRESSED_DATA'",
        "TFORM1  = '1PB(9)'",   "ZIMAGE  = T",        "ZBITPIX = 16",
        "ZNAXIS  = 2",          "ZNAXIS1 = 1536",     "ZNAXIS2 = 1023",
        "ZTILE1  = 1536",       "ZCMPTYPE= 'RICE_1'", "ZNAME1  = 'BLOCKSIZE'",
        "ZVAL1   = 32",         "BZERO   = 32768",    "ZENITH  = 12.5",
        "TELESCOP= 'invented'",
    })));
    CHECK(header.integer("BITPIX") == 16);
    CHECK(header.integer("NAXIS") == 2);
    CHECK(header.integer("NAXIS1") == 1536);
    CHECK(header.integer("NAXIS2") == 1023);
    CHECK(header.number("BZERO") == 32768.0);
    CHECK(header.number("ZENITH") == 12.5);
    CHECK(header.text("TELESCOP") == "invented");
    for (const char* gone : {"TTYPE1", "TFORM1", "TFIELDS", "PCOUNT", "ZTILE1", "ZNAXIS1", "ZCMPTYPE"}) {
        INFO(gone);
        CHECK(header.find(gone) == nullptr);
    }
}
