// SPDX-License-Identifier: MIT
// tests/studies/linearity_study — who is refused for not counting light: pictures that were stretched,
// rounded, sharpened, restored or cleaned, and linear ones that look as bad as linear ones can (cloud,
// crowds, saturation, trails, stacks, debayered and resampled pixels, wrong catalogues). A plain blur is
// linear: it is among neither.
//
//   emberline_linearity_study [rounds] [evidence]
//
// Each round has new seeds. One line a picture that was judged wrong, all of them with `evidence`. Goals: all
// processed pictures caught, no linear one refused, for whatever reason. Exit status 1: a linear one was, or
// of one round a processed one was missed; of many rounds, more than four in a hundred (the gentlest
// sharpening and cleaning hides in noise in one of fifty pictures, measured over twelve
// rounds).
#include <fmt/format.h>

#include <cmath>
#include <cstdlib>
#include <filesystem>

#include "frame/frame.hpp"
#include "frame/write_frame.hpp"
#include "linearity_cases.hpp"
#include "night/find_stars.hpp"
#include "night/linearity_evidence.hpp"
#include "night/measure_frame.hpp"
#include "rehearsal/rehearse.hpp"
#include "study.hpp"

namespace {

using namespace emberline;
using study::must;
namespace fs = std::filesystem;

std::vector<frame::Card> own_cards(const frame::Header& header) {
    std::vector<frame::Card> cards;
    for (const frame::Card& card : header.cards()) {
        const std::string& k = card.keyword;
        if (k.starts_with("NAXIS") || k == "SIMPLE" || k == "BITPIX" || k == "BZERO" || k == "BSCALE" ||
            k == "EXTEND" || k == "END" || k == "COMMENT")
            continue;
        cards.push_back(card);
    }
    return cards;
}

void save(const std::string& path, const study::Picture& picture, const std::vector<frame::Card>& cards) {
    std::vector<std::uint16_t> whole;
    if (!picture.floating) {
        for (const float v : picture.adu)
            whole.push_back(static_cast<std::uint16_t>(std::lround(std::clamp(v, 0.0F, 65535.0F))));
    }
    const auto written =
        picture.floating ? frame::write_frame(path, picture.width_px, picture.height_px, picture.adu, cards)
                         : frame::write_frame(path, picture.width_px, picture.height_px, whole, cards);
    if (!written) throw std::runtime_error(one_line(written.error()));
}

struct Verdict {
    bool refused_for_it = false, refused = false;
    std::string reason;
};

Verdict judge(const study::PictureCase& one, const std::string& folder) {
    auto invented = must(rehearsal::invent_campaign(one.options));
    if (one.change) one.change(invented);
    must(rehearsal::rehearse(folder, invented));
    const std::string path = folder + "/" + invented.frames.front().path;
    const study::Picture picture = one.take(invented);
    if (picture.eight_bits) return {true, true, "An 8-bit picture."};
    {
        const auto before = must(frame::open_frames(path, {}));
        save(path, picture, own_cards(before.front().header()));
    }
    const auto campaign = must(night::read_campaign(folder));
    const auto sequence = must(standard::read_sequence(campaign.path(campaign.catalog)));
    const auto frames = must(frame::open_frames(path, campaign.instruments));
    const auto measured = night::measure_frame(frames.front(), "f", "f", sequence, campaign);
    Verdict verdict;
    verdict.refused = !measured;
    if (!measured) verdict.reason = measured.error().what;
    verdict.refused_for_it = verdict.reason.find("counts light") != std::string::npos;
    return verdict;
}

}  // namespace

constexpr double granted_misses = 0.04;

int main(int argc, char** argv) {
    const std::size_t rounds = argc > 1 ? std::strtoul(argv[1], nullptr, 10) : 1;
    const bool evidence = argc > 2;
    const std::string folder =
        (fs::temp_directory_path() / fmt::format("emberline-linearity-{}", ::getpid())).string();
    std::size_t linear = 0, refused = 0, processed = 0, caught = 0;
    for (std::size_t round = 0; round < rounds; ++round) {
        auto cases = study::linear_cases(20240300 + 1000 * round);
        for (auto& one : study::processed_cases(20240600 + 1000 * round))
            cases.push_back(std::move(one));
        for (const study::PictureCase& one : cases) {
            Verdict v;
            try {
                v = judge(one, folder);
            } catch (const std::exception& error) {
                fmt::print("{:<48} could not be made: {}\n", one.name, error.what());
                fs::remove_all(folder);
                continue;
            }
            fs::remove_all(folder);
            (one.linear ? linear : processed) += 1;
            if (one.linear && v.refused) ++refused;
            if (!one.linear && v.refused_for_it) ++caught;
            const bool wrong = one.linear ? v.refused : !v.refused_for_it;
            if (wrong || evidence)
                fmt::print("{:<48} {}{}\n", one.name, wrong ? "WRONG " : "",
                           v.reason.empty() ? "measured" : v.reason);
        }
    }
    fmt::print("processed pictures caught: {} of {}; linear pictures refused: {} of {}\n", caught, processed,
               refused, linear);
    const auto granted = static_cast<std::size_t>(granted_misses * static_cast<double>(processed));
    return caught + granted >= processed && refused == 0 ? 0 : 1;
}
