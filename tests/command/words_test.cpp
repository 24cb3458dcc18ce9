// SPDX-License-Identifier: MIT
// What the program says of itself: help, man page, completions, a new campaign's remarks.
#include <catch2/catch.hpp>
#include <cstdlib>
#include <regex>
#include <set>

#include "program/rehearsed.hpp"

using namespace emberline::testing;

namespace {

using Set = std::set<std::string>;

nlohmann::json described() {
    return run({"describe", "json"}).json()["commands"];
}

Set all_matches(const std::string& text, const std::string& pattern) {
    const std::regex wanted(pattern);
    Set found;
    for (std::sregex_iterator at(text.begin(), text.end(), wanted), end; at != end; ++at)
        found.insert((*at)[1]);
    return found;
}

std::string sources_of(const std::string& room) {
    std::string all;
    for (const auto& entry : std::filesystem::directory_iterator(EMBERLINE_SOURCE_DIR "/src/" + room)) {
        if (entry.path().extension() == ".cpp") all += contents(entry.path().string());
    }
    return all;
}

struct Shell {
    int status = -1;
    std::string out;
};

Shell run_shell(const std::string& shell, const std::string& script, const Folder& folder) {
    write_contents(folder.path("script"), script);
    const std::string command = "cd '" + folder.path() +
                                "' && PATH=\"$(dirname '" EMBERLINE_PROGRAM "'):$PATH\" " + shell +
                                " script > said 2>&1 < /dev/null";
    const int raw = std::system(command.c_str());
    return {raw, contents(folder.path("said"))};
}

bool have(const std::string& shell) {
    return std::system(("command -v " + shell + " > /dev/null 2>&1").c_str()) == 0;
}

// What stands for a value tells its unit or what it names, and is the same word in all commands.
const Set value_words = {
    "ADDRESS", "ARCMIN", "ARCSEC", "ARCSEC/PX", "BAND",  "DATE",    "DAYS",  "DEGREES", "DIR",  "E/S",
    "FACTOR",  "FILE",   "FLAG",   "FORMAT",    "FRAME", "FROM:TO", "KIND",  "LEVEL",   "MAG",  "MAG/DAY",
    "MAG:MAG", "MIB",    "MODEL",  "MPC",       "N",     "NAME",    "NIGHT", "PATTERN", "PORT", "PX",
    "SECONDS", "SHARE",  "STAR",   "TERM",      "WHAT",  "WHY",     "X,Y",   "YEAR",    "Z"};

}  // namespace

TEST_CASE("options are told in one manner in all commands", "[command][words]") {
    for (const auto& command : described()) {
        std::vector<nlohmann::json> all = command["options"];
        for (const auto& positional : command["positionals"])
            all.push_back(positional);
        for (const auto& option : all) {
            INFO(command["command"] << " " << option.dump());
            const std::string meaning = option["meaning"], value = option["value"];
            REQUIRE_FALSE(meaning.empty());
            CHECK((std::isupper(static_cast<unsigned char>(meaning.front())) != 0));
            CHECK(meaning.back() != '.');
            CHECK((value.empty() || value_words.contains(value)));
        }
        const std::string about = command["meaning"];
        CHECK((std::isupper(static_cast<unsigned char>(about.front())) != 0));
    }
}

TEST_CASE("the man page tells every option that the sources add, and no other", "[command][words]") {
    const std::string sources = sources_of("command");
    Set added;
    for (
        const std::string& names : all_matches(
            sources,
            R"re((?:add_option|add_flag|add_flag_callback|set_help_flag|set_version_flag|of_template)\(\s*"!?(-[^"]+)")re"))
        added.merge(all_matches(names + ",", "(-[^,]+),"));
    REQUIRE(added.size() > 90);
    std::string manual = run({"describe", "man"}).out;
    manual = std::regex_replace(manual, std::regex(R"(\\-)"), "-");
    Set told;
    for (const std::string& line : lines_of(manual)) {
        if (line.starts_with("\\fB-")) told.merge(all_matches(line, R"(\\fB(-[^\\]+)\\fR)"));
    }
    for (const std::string& name : added) {
        INFO(name);
        CHECK(told.contains(name));
    }
    CHECK(told == added);
    // "describe" is for other programs, and hidden.
    Set commands = all_matches(sources, R"re(add_subcommand\(\s*"([a-z]+)")re");
    commands.erase("describe");
    CHECK(all_matches(manual, R"(\.SS emberline (?:masters |sequence )?([a-z]+) )") == commands);
}

TEST_CASE("a new campaign explains every setting that is read", "[command][words]") {
    const Folder folder;
    REQUIRE(run({"new", folder.path("c")}).status == 0);
    const std::string settings = contents(folder.path("c/campaign.toml"));
    const std::string sources = contents(EMBERLINE_SOURCE_DIR "/src/night/campaign.cpp") +
                                contents(EMBERLINE_SOURCE_DIR "/src/night/server_settings.cpp");
    const Set keys = all_matches(
        sources, R"re(\b(?:text|texts|number|flag|date|number_entries|text_entries)\("([a-z_]+)")re");
    REQUIRE(keys.size() > 60);
    for (const std::string& key : keys) {
        INFO(key);
        CHECK(std::regex_search(settings, std::regex("\\b" + key + "\\b")));
    }
}

TEST_CASE("bash completes commands, options, their values, stars, bands and files", "[command][words]") {
    if (!have("bash")) {
        WARN("SKIPPED: bash is not installed.");
        return;
    }
    const Folder folder;
    std::filesystem::create_directories(folder.path("frames"));
    write_contents(folder.path("frames/a.fits"), "");
    write_contents(folder.path("frames/a.txt"), "");
    write_contents(
        folder.path("comparison.csv"),
        "# stars\nlabel,ra,dec,B,B_err,V,V_err,role\n126,1,2,3,4,5,6,comparison\n131b,1,2,3,4,5,6,check\n");
    const std::string script = run({"describe", "bash"}).out + R"script(
complete -p emberline
try() {
    COMP_WORDS=(emberline "$@")
    COMP_CWORD=$#
    _emberline
    echo "$*: ${COMPREPLY[*]}"
}
try re
try sequence ""
try masters b
try export --format ""
try export --format = v
try --json export --level n
try curve --pict
try nights --frames --go
try curve --band ""
try forecast -c nowhere --band C
try look --star 1
try sequence residuals 1
try exclude f
try measure frames/
try page --watch ""
try -c fr
try curve --redshift ""
try --campaign page nights --po
)script";
    const Shell said = run_shell("bash", script, folder);
    INFO(said.out);
    CHECK(said.status == 0);
    const std::vector<std::string> expected = {"complete -F _emberline emberline",
                                               "re: rehearse report",
                                               "sequence : build audit residuals transform",
                                               "masters b: build",
                                               "export --format : csv ecsv votable fits",
                                               "export --format = v: votable",
                                               "--json export --level n: night",
                                               "curve --pict: --picture",
                                               "nights --frames --go: --goal",
                                               "curve --band : B V",
                                               "forecast -c nowhere --band C: CV CR CBB",
                                               "look --star 1: 126 131b",
                                               "sequence residuals 1: 126 131b",
                                               "exclude f: frames",
                                               "measure frames/: frames/a.fits",
                                               "page --watch : frames",
                                               "-c fr: frames",
                                               "curve --redshift : ",
                                               "--campaign page nights --po: --position"};
    CHECK(lines_of(said.out) == expected);
}

TEST_CASE("zsh and fish read their completions", "[command][words]") {
    for (const std::string shell : {"zsh", "fish"}) {
        if (!have(shell)) {
            WARN("SKIPPED: " << shell << " is not installed.");
            continue;
        }
        const Folder folder;
        write_contents(folder.path("completion"), run({"describe", shell}).out);
        const Shell parsed = run_shell(shell + " -n completion && " + shell, "exit 0", folder);
        INFO(shell << ": " << parsed.out);
        CHECK(parsed.status == 0);
        CHECK(parsed.out.empty());
        if (shell != "fish") continue;
        const Shell said = run_shell("fish --no-config",
                                     "source completion\ncomplete -C 'emberline sequence '\ncomplete -C "
                                     "'emberline export --format e'\n"
                                     "complete -C 'emberline nights --po'\n",
                                     folder);
        INFO(said.out);
        CHECK(said.out.find("residuals\tHow far") != std::string::npos);
        CHECK(said.out.find("\necsv") != std::string::npos);
        CHECK(said.out.find("--position\t") != std::string::npos);
        CHECK(said.out.find("rehearse") == std::string::npos);
    }
}
