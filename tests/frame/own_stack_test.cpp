// SPDX-License-Identifier: MIT
// Keywords of our own, written and read back; the standard's: FITS standard 4.0, sections 8 and 9.
#include "frame/own_stack.hpp"

#include <fmt/format.h>

#include <catch2/catch.hpp>

#include "frame/parse_header.hpp"
#include "frame/write_frame.hpp"
#include "header_of.hpp"

using namespace emberline;
using namespace emberline::frame;

namespace {

OwnStack some_stack(std::size_t frames = 3) {
    OwnStack stack;
    for (std::size_t i = 0; i < frames; ++i)
        stack.frames.push_back({fmt::format("frames/a'{}.fits", i), fmt::format("{:032x}", i + 1),
                                1.0 / static_cast<double>(frames)});
    stack.gain_e_per_adu = 217.123456789012;  // of many frames: more than any camera's
    stack.read_noise_e = 43.21;
    stack.exposure_s = 180.0;
    stack.saturation_adu = 61234.5;
    stack.sky_adu = 412.75;
    stack.clipped_pixels = 1234;
    return stack;
}

std::vector<std::string> texts_of(const std::vector<Card>& cards) {
    std::vector<std::string> texts;
    for (const Card& card : cards)
        texts.push_back(card_text(card));
    return texts;
}

std::vector<std::string> lines_of(const OwnStack& stack, const std::vector<std::string>& more = {}) {
    auto cards = texts_of(own_stack_cards(stack));
    cards.insert(cards.end(), more.begin(), more.end());
    return cards;
}

FrameFacts facts_from(const std::vector<std::string>& lines,
                      const std::vector<Instrument>& instruments = {}) {
    std::string raw;
    for (const std::string& line : lines)
        raw += line + std::string(card_length - line.size(), ' ');
    FrameFacts seed;
    seed.pixel_type = "float32";
    return read_facts(parse_header(raw + "END" + std::string(card_length - 3, ' ')), instruments, seed);
}

const std::vector<std::string> times = {"FILTER  = 'V'", "DATE-OBS= '2024-03-14T21:00:00.000'",
                                        "DATE-AVG= '2024-03-14T21:04:10.250'",
                                        "DATE-END= '2024-03-14T21:10:00.000'"};

}  // namespace

TEST_CASE("a stack's own numbers come back to the last digit, and nothing is multiplied", "[own-stack]") {
    const OwnStack stack = some_stack();
    const auto facts = facts_from(lines_of(stack, times));
    CHECK(facts.gain_e_per_adu->value == stack.gain_e_per_adu);
    CHECK(facts.read_noise_e->value == stack.read_noise_e);
    CHECK(facts.exposure_s->value == stack.exposure_s);
    CHECK(facts.saturation_adu->value == stack.saturation_adu);
    CHECK(facts.linear_to_adu->value == stack.saturation_adu);
    CHECK(facts.stacked_exposures->value == 3);
    CHECK(facts.stack_kind->value == StackKind::mean);
    CHECK(facts.stack_of.size() == 3);
    CHECK(facts.stack_of.back() == stack.frames.back().fingerprint);
    CHECK(facts.caveats.empty());
    CHECK(facts.remarks.empty());
    CHECK(test::middle_of(facts) == "2024-03-14T21:04:10.250Z");
}

TEST_CASE("what the campaign says of single frames does not hold for a stack", "[own-stack]") {
    Instrument instrument;
    instrument.override_header = true;
    instrument.gain_e_per_adu = 0.9;
    instrument.read_noise_e = 6.0;
    instrument.saturation_adu = 30000.0;
    instrument.linear_to_adu = 20000.0;
    instrument.exposure_s = 60.0;
    instrument.stacked = 20;
    instrument.offset_adu = 300.0;
    instrument.aperture_mm = 280.0;
    instrument.bands = {{"V", "Rc"}};
    const OwnStack stack = some_stack();
    const auto facts = facts_from(lines_of(stack, times), {instrument});
    CHECK(facts.gain_e_per_adu->value == stack.gain_e_per_adu);
    CHECK(facts.read_noise_e->value == stack.read_noise_e);
    CHECK(facts.exposure_s->value == stack.exposure_s);
    CHECK(facts.saturation_adu->value == stack.saturation_adu);
    CHECK(facts.stacked_exposures->value == 3);
    CHECK(!facts.offset_adu);
    // Telescope and bands do.
    CHECK(facts.aperture_mm->value == 280.0);
    CHECK(facts.band->value.name() == "Rc");
}

TEST_CASE("a header that only looks like a stack's is read like any other", "[own-stack]") {
    const OwnStack stack = some_stack();
    for (const char* missing : {"GAIN", "RDNOISE", "EXPTIME", "SATURATE", "STKF0002", "STKCOUNT"}) {
        INFO(missing);
        auto cards = lines_of(stack, times);
        std::erase_if(cards, [&](const std::string& card) { return card.starts_with(missing); });
        CHECK(facts_from(cards).stack_of.empty());
    }
    for (const char* count : {"1", "0", "-3", "10000", "99999999999", "2.5", "'three'"}) {
        INFO(count);
        auto cards = lines_of(stack, times);
        std::erase_if(cards, [](const std::string& card) { return card.starts_with("STKCOUNT"); });
        cards.push_back(fmt::format("STKCOUNT= {}", count));
        CHECK(facts_from(cards).stack_of.empty());
    }
    CHECK(facts_from(lines_of(some_stack(2000))).stack_of.size() == 2000);
}

TEST_CASE("every card of a stack is one card of 80 characters, whatever a frame is called", "[own-stack]") {
    OwnStack stack = some_stack();
    stack.frames[0].name = std::string(300, 'x') + "/the end.fits";
    stack.frames[1].name = std::string(100, '\'');
    stack.frames[2].name = "nights/\xC3\xA4\n.fits";
    for (const std::string& text : texts_of(own_stack_cards(stack))) {
        INFO(text);
        CHECK(text.size() == card_length);
        CHECK(text.find('\n') == std::string::npos);
    }
    const auto facts = facts_from(lines_of(stack, times));
    CHECK(facts.stack_of.size() == 3);
}
