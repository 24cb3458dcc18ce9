// SPDX-License-Identifier: MIT
// Private to this room: what the three shells' completions have in common.
#pragma once

#include "command/description.hpp"

namespace emberline::command {

// What a value is, for a shell to offer.
enum class Offer {
    nothing,
    words,  // OptionWords::choices or suggestions
    file,
    folder,
    frame,  // a FITS file, or a folder of them
    band,   // of the campaign's sequence
    star,   // a label of the sequence
    what    // a star or a frame
};

[[nodiscard]] Offer offer_of(const OptionWords& option);
[[nodiscard]] std::string offered_words(const OptionWords& option);  // "csv ecsv"

// The command's own options, then those of every command.
[[nodiscard]] std::vector<OptionWords> options_of(const CommandWords& command, const CommandWords& program);
// "build" of "sequence build"
[[nodiscard]] std::string last_word(const std::string& path);
// Names set with spaces between.
[[nodiscard]] std::string names_of(const std::vector<CommandWords>& commands);
[[nodiscard]] std::string names_of(const std::vector<OptionWords>& options);

}  // namespace emberline::command
