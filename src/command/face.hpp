// SPDX-License-Identifier: MIT
// command/face — what every command has in common: options, exit status, and how things are said.
#pragma once

#include <CLI/CLI.hpp>
#include <atomic>
#include <iosfwd>
#include <string>
#include <string_view>
#include <vector>

#include "quantities/problem.hpp"
#include "tasks/documents.hpp"
#include "tasks/workspace.hpp"

namespace emberline::command {

// Exit statuses (design: contract).
enum Status : int {
    all_done = 0,
    something_refused = 1,
    bad_request = 2,
    nothing_measured = 3,
    storage_failed = 4,
    interrupted = 130
};

struct Face {
    std::string campaign = ".";
    bool json = false;
    bool quiet = false;
    int threads = 0;
    int status = all_done;

    // Says the problem on standard error (as JSON on standard output with --json) and returns its status.
    [[nodiscard]] int say(const Problem& problem) const;
    void say_json(const tasks::Json& json) const;
    // A sentence for a person, on standard error; silent with --quiet.
    void remark(const std::string& sentence) const;
    // "12 of 40", rewritten in place where standard error is a terminal; otherwise nothing.
    void progress(std::size_t done, std::size_t of) const;
};

[[nodiscard]] int status_of(ProblemKind kind);

// For options that take a number: the library's own check of a range lets "nan" pass.
[[nodiscard]] CLI::Validator number_within(double least, double most);

// From now on the first Ctrl-C (or SIGTERM) only asks, so that what is done is kept; a second one kills.
[[nodiscard]] const std::atomic<bool>* stop_asked();

// Characters, not bytes: "±" and "—" are one wide.
[[nodiscard]] std::size_t shown_width(std::string_view text);

// A line of what one thing is like: its name, flush, and what is said of it.
void print_line(std::string_view name, std::string_view value);

// The UTC date of that moment.
[[nodiscard]] std::string date_of(double bjd_tdb);

// Columns set flush, numbers to the right; a row of headings first.
class TextTable {
  public:
    explicit TextTable(std::vector<std::string> headings) { rows_.push_back(std::move(headings)); }
    void add(std::vector<std::string> row) { rows_.push_back(std::move(row)); }
    [[nodiscard]] std::string text() const;

  private:
    std::vector<std::vector<std::string>> rows_;
};

// One line a night and band.
[[nodiscard]] std::string nights_text(const std::vector<night::NightMeasurement>& nights);
// "14.232 ± 0.014", "fainter than 17.31".
[[nodiscard]] std::string magnitude_text(const night::Measurement& m);
// What the flags of these measurements mean, a sentence each.
[[nodiscard]] std::string flags_text(const std::vector<night::NightMeasurement>& nights);

// Each command hangs itself on the application.
void add_new(CLI::App& app, Face& face);
void add_rehearse(CLI::App& app, Face& face);
void add_inspect(CLI::App& app, Face& face);
void add_masters(CLI::App& app, Face& face);
void add_masters_build(CLI::App& masters, Face& face);
void add_masters_gain(CLI::App& masters, Face& face);
void add_measure(CLI::App& app, Face& face);
void add_nights(CLI::App& app, Face& face);
void add_look(CLI::App& app, Face& face);
void add_curve(CLI::App& app, Face& face);
void add_forecast(CLI::App& app, Face& face);
void add_report(CLI::App& app, Face& face);
void add_sequence(CLI::App& app, Face& face);
void add_solve(CLI::App& app, Face& face);
void add_stack(CLI::App& app, Face& face);
void add_watch(CLI::App& app, Face& face);
void add_export(CLI::App& app, Face& face);
void add_page(CLI::App& app, Face& face);
void add_exclude(CLI::App& app, Face& face);
void add_include(CLI::App& app, Face& face);
void add_describe(CLI::App& app, Face& face);

}  // namespace emberline::command
