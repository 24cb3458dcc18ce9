// SPDX-License-Identifier: MIT
#include <fmt/format.h>

#include "command/complete.hpp"

namespace emberline::command {
namespace {

// What stays the same, whatever the options are. Stars and bands are read from the campaign's own
// comparison.csv, which is quick; the program itself is never run.
constexpr const char* driver = R"script(
_emberline_labels() {
    local label rest
    while IFS=, read -r label rest; do
        [[ $label == label || $label == \#* || -z $label ]] || printf '%s\n' "$label"
    done 2>/dev/null < "$1/comparison.csv"
}

_emberline_bands() {
    local line column bands=
    while IFS= read -r line; do
        [[ $line == \#* ]] && continue
        for column in ${line//,/ }; do
            case $column in
                label | ra | dec | role | auid | name | notes | source | *_err) ;;
                *) bands+="$column " ;;
            esac
        done
        break
    done 2>/dev/null < "$1/comparison.csv"
    printf '%s\n' "${bands:-$2}"
}

_emberline_files() {
    local file
    compopt -o filenames 2>/dev/null
    while IFS= read -r file; do
        if [[ $2 != frame || -d $file ]]; then
            COMPREPLY+=("$file")
        else
            case ${file,,} in *.fit | *.fits | *.fts | *.fit.gz | *.fits.gz | *.fts.gz | *.fits.fz) COMPREPLY+=("$file") ;; esac
        fi
    done < <(compgen -f -- "$1")
}

_emberline() {
    local cur=${COMP_WORDS[COMP_CWORD]} path= option= folder=. i word commands options place offer
    COMPREPLY=()
    _emberline_command ""
    for ((i = 1; i < COMP_CWORD; i++)); do
        word=${COMP_WORDS[i]}
        # "--format=csv" comes as three words.
        [[ $word == = ]] && continue
        if [[ $word == -[a-z-]* ]]; then
            option=
            _emberline_value "$path" "$word" && option=$word
        elif [[ -n $option ]]; then
            [[ $option == -c || $option == --campaign ]] && folder=$word
            option=
        elif [[ " $commands " == *" $word "* ]]; then
            path+="${path:+ }$word"
            _emberline_command "$path"
        fi
    done
    [[ $cur == = ]] && cur=
    if [[ $cur == -* ]]; then
        COMPREPLY=($(compgen -W "$options" -- "$cur"))
        return
    fi
    if [[ -n $option ]]; then
        _emberline_value "$path" "$option"
    else
        offer=$place
        [[ -n $commands ]] && offer="words $commands"
    fi
    case $offer in
        words\ *) COMPREPLY=($(compgen -W "${offer#words }" -- "$cur")) ;;
        folder)
            compopt -o filenames 2>/dev/null
            mapfile -t COMPREPLY < <(compgen -d -- "$cur")
            ;;
        file | frame) _emberline_files "$cur" "$offer" ;;
        band\ *) COMPREPLY=($(compgen -W "$(_emberline_bands "$folder" "${offer#band }")" -- "$cur")) ;;
        star) COMPREPLY=($(compgen -W "$(_emberline_labels "$folder") transient" -- "$cur")) ;;
        what)
            _emberline_files "$cur" frame
            COMPREPLY+=($(compgen -W "$(_emberline_labels "$folder")" -- "$cur"))
            ;;
    esac
}
complete -F _emberline emberline
)script";

std::string offer_text(const OptionWords& option) {
    switch (offer_of(option)) {
        case Offer::nothing:
            return "nothing";
        case Offer::words:
            return "words " + offered_words(option);
        case Offer::file:
            return "file";
        case Offer::folder:
            return "folder";
        case Offer::frame:
            return "frame";
        case Offer::band:
            return "band " + offered_words(option);
        case Offer::star:
            return "star";
        case Offer::what:
            return "what";
    }
    return "nothing";
}

}  // namespace

std::string bash_completion(const CommandWords& program) {
    std::string commands =
        "# Of the command $1: its own commands, its options, and what is told from its place.\n"
        "_emberline_command() {\n    commands= options= place=nothing\n    case $1 in\n";
    std::string values =
        "# What the option $2 of the command $1 takes; fails where it takes nothing.\n"
        "_emberline_value() {\n    case \"$1 $2\" in\n";
    for (const CommandWords* command : all_commands(program)) {
        const auto options = options_of(*command, program);
        commands += fmt::format("        '{}')\n            commands='{}'\n            options='{}'\n",
                                command->path, names_of(command->commands), names_of(options));
        if (!command->positionals.empty())
            commands += fmt::format("            place='{}'\n", offer_text(command->positionals.front()));
        commands += "            ;;\n";
        for (const OptionWords& option : options) {
            for (const std::string& name : option.names) {
                if (!option.value.empty())
                    values += fmt::format("        '{} {}') offer='{}' ;;\n", command->path, name,
                                          offer_text(option));
            }
        }
    }
    return "# Completion of emberline in bash, made by `emberline describe bash`.\n\n" + commands +
           "    esac\n}\n\n" + values + "        *) return 1 ;;\n    esac\n}\n" + driver;
}

}  // namespace emberline::command
