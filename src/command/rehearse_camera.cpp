// SPDX-License-Identifier: MIT
#include <map>
#include <vector>

#include "command/rehearse_options.hpp"

namespace emberline::command {
namespace {

using rehearsal::Processing;

const std::map<std::string, frame::StackKind> stack_kinds = {
    {"sum", frame::StackKind::sum}, {"mean", frame::StackKind::mean}, {"median", frame::StackKind::median}};
const std::map<std::string, rehearsal::StackHeader> stack_headers = {
    {"all", rehearsal::StackHeader::all},
    {"count", rehearsal::StackHeader::count},
    {"silent", rehearsal::StackHeader::silent}};

template <class T>
std::vector<std::string> words_of(const std::map<std::string, T>& choices) {
    std::vector<std::string> words;
    for (const auto& [choice, value] : choices)
        words.push_back(choice);
    return words;
}

std::map<std::string, Processing> processings() {
    std::map<std::string, Processing> all;
    for (const Processing processing : rehearsal::all_processings()) {
        if (processing != Processing::none) all.emplace(word(processing), processing);
    }
    return all;
}

}  // namespace

void add_camera_options(CLI::App& sub, RehearseRequest& request) {
    rehearsal::RehearsalOptions& o = request.options;
    CLI::Option* mosaic =
        sub.add_option("--mosaic", request.pattern,
                       "A colour camera with these colours at its first pixels; its bands are TR, TG and TB")
            ->type_name("PATTERN")
            ->check(CLI::IsMember({"RGGB", "BGGR", "GRBG", "GBRG"}, CLI::ignore_case))
            ->excludes("--band");
    sub.add_flag("--top-down", o.top_down, "Rows are stored from the top");
    sub.add_flag("--debayered", o.debayered, "Cubes of three interpolated planes in place of mosaics")
        ->needs(mosaic);
    sub.add_option("--vignetting", o.vignetting, "Share of the light that the corners lose, 0 to 0.95")
        ->type_name("SHARE")
        ->capture_default_str();
    sub.add_option("--dust-rings", o.dust_rings, "Shadows of dust")->type_name("N")->capture_default_str();
    sub.add_option("--amp-glow", o.amp_glow_e_per_s,
                   "Glow of the amplifier at the middle of the right edge, electrons a second")
        ->type_name("E/S")
        ->capture_default_str();
    request.dark_asked = sub.add_option("--dark", request.dark_e_per_s, "Dark current, electrons a second")
                             ->type_name("E/S")
                             ->default_str("hardly any");
    request.hot_pixels_asked = sub.add_option("--hot-pixels", request.hot_pixels, "Hot pixels")
                                   ->type_name("N")
                                   ->default_str("about one in eight thousand");
    sub.add_option("--dead-pixels", o.dead_pixels, "Pixels that see a tenth of the light")
        ->type_name("N")
        ->capture_default_str();
    request.calibration_asked =
        sub.add_option(
               "--calibration", request.calibration,
               "So many bias, dark and flat exposures each beside the frames, and a camera that needs them")
            ->type_name("N");
}

void add_saving_options(CLI::App& sub, RehearseRequest& request) {
    rehearsal::RehearsalOptions& o = request.options;
    CLI::Option* stack =
        sub.add_option("--stack", request.stack.exposures, "Each frame is a live stack of so many exposures")
            ->type_name("N");
    request.stack_asked = stack;
    sub.add_option("--stack-kind", request.stack_kind, "How the exposures are put together")
        ->type_name("KIND")
        ->capture_default_str()
        ->check(CLI::IsMember(words_of(stack_kinds)))
        ->needs(stack);
    sub.add_option("--stack-dropped", request.stack.dropped, "Exposures taken besides and left out")
        ->type_name("N")
        ->capture_default_str()
        ->needs(stack);
    sub.add_option("--stack-header", request.stack_header, "What the header tells of the stack")
        ->type_name("KIND")
        ->capture_default_str()
        ->check(CLI::IsMember(words_of(stack_headers)))
        ->needs(stack);
    sub.add_flag("--stack-float", request.stack_float, "Stacks are saved as fractions, not whole numbers")
        ->needs(stack);
    CLI::Option* share =
        sub.add_option("--processed", o.processed_share,
                       "Share of the frames that were processed before they were saved, 0 to 1")
            ->type_name("SHARE");
    sub.add_option("--processing", request.processing, "What was done to those frames")
        ->type_name("KIND")
        ->default_str("rational, a strong stretch")
        ->check(CLI::IsMember(words_of(processings())))
        ->needs(share);
}

void settle_camera(RehearseRequest& request) {
    rehearsal::RehearsalOptions& o = request.options;
    if (!request.pattern.empty()) o.pattern = request.pattern;
    if (request.dark_asked->count() > 0) o.dark_e_per_s = request.dark_e_per_s;
    if (request.hot_pixels_asked->count() > 0) o.hot_pixels = request.hot_pixels;
    if (request.calibration_asked->count() > 0) {
        const int each = request.calibration;
        o.calibration = rehearsal::CalibrationOptions{.bias = each, .dark = each, .flat = each};
    }
}

void settle_saving(RehearseRequest& request) {
    rehearsal::RehearsalOptions& o = request.options;
    if (request.stack_asked->count() > 0) {
        request.stack.kind = stack_kinds.at(request.stack_kind);
        request.stack.header = stack_headers.at(request.stack_header);
        request.stack.whole_numbers = !request.stack_float;
        o.stack = request.stack;
    }
    // Where no kind is named, the strong stretch that most pictures go through.
    if (o.processed_share > 0.0) {
        o.processing =
            request.processing.empty() ? Processing::rational : processings().at(request.processing);
    }
}

}  // namespace emberline::command
