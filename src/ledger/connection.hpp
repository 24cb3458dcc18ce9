// SPDX-License-Identifier: MIT
// ledger/connection — SQLite behind values that close themselves, its error codes as Problems.
// Inside the room a failure travels as the exception Failure; guarded() turns it into a Problem at the door.
#pragma once

#include <cstdint>
#include <exception>
#include <optional>
#include <string>
#include <string_view>
#include <type_traits>

#include "quantities/problem.hpp"

struct sqlite3;
struct sqlite3_stmt;

namespace emberline::ledger {

struct Failure {
    Problem problem;
};

// Whether this program may make files beside that one.
[[nodiscard]] bool folder_is_writable(const std::string& path);

class Connection {
  public:
    // `write` creates the file; `read` never changes it; `fixed` reads a file that nobody can change: the
    // only way into read-only media, where SQLite cannot lay its two small files beside it.
    enum class Mode { read, write, fixed };
    Connection(std::string path, Mode mode, double wait_s);
    ~Connection();
    Connection(const Connection&) = delete;
    Connection& operator=(const Connection&) = delete;

    void execute(const std::string& sql);                        // statements without a result
    [[nodiscard]] std::int64_t integer(const std::string& sql);  // the first column of the first row
    [[nodiscard]] std::int64_t last_id() const;                  // of the row inserted last
    [[nodiscard]] std::int64_t changed_rows() const;             // by the statement run last
    [[nodiscard]] bool in_transaction() const;
    [[nodiscard]] bool writable() const;  // by mode and by the file's permissions
    // Keeps readers and writers apart; waits for others as every statement does.
    void use_write_ahead_log();
    void copy_to(const std::string& path);  // a consistent copy of what is committed

    [[nodiscard]] const std::string& path() const { return path_; }
    [[nodiscard]] sqlite3* handle() const { return handle_; }
    [[noreturn]] void raise(int code) const;                         // Failure
    [[noreturn]] void raise_damaged(const std::string& what) const;  // Failure

  private:
    std::string path_;
    Mode mode_;
    double wait_s_;
    sqlite3* handle_ = nullptr;
};

// Parameters and columns count from 0. Doubles come back bit by bit: SQLite's numbers know neither NaN nor
// the sign of zero, so that these two lie there as their eight bytes.
class Statement {
  public:
    Statement(Connection& connection, const std::string& sql);
    ~Statement();
    Statement(const Statement&) = delete;
    Statement& operator=(const Statement&) = delete;

    void bind_null(int i);
    void bind(int i, std::int64_t value);
    void bind(int i, double value);
    void bind_text(int i, std::string_view value);
    void bind_blob(int i, std::string_view bytes);
    bool step();   // true: there is a row
    void reset();  // ready for another run; parameters stay
    void run();    // to its end, then reset

    [[nodiscard]] bool is_null(int i) const;
    [[nodiscard]] std::int64_t integer(int i) const;
    [[nodiscard]] double number(int i) const;
    [[nodiscard]] std::string text(int i) const;
    [[nodiscard]] std::string_view blob(int i) const;  // until the next step or reset
    [[nodiscard]] Connection& connection() const { return connection_; }

  private:
    Connection& connection_;
    sqlite3_stmt* handle_ = nullptr;
};

// Undone at the end of its scope unless committed.
class Transaction {
  public:
    enum class Kind { read, write };
    Transaction(Connection& connection, Kind kind);
    ~Transaction();
    Transaction(const Transaction&) = delete;
    Transaction& operator=(const Transaction&) = delete;
    void commit();

  private:
    Connection& connection_;
};

// Runs `work` and returns its value, or the Problem for which it stopped.
template <class Work>
auto guarded(const std::string& path, Work&& work) -> Result<decltype(work())> {
    try {
        if constexpr (std::is_void_v<decltype(work())>) {
            work();
            return {};
        } else {
            return work();
        }
    } catch (const Failure& failure) {
        return fail(failure.problem);
    } catch (const std::exception& error) {
        return fail({.what = std::string("The ledger could not be used: ") + error.what() + ".",
                     .where = path,
                     .mend = "Free some memory and try again.",
                     .kind = ProblemKind::storage});
    }
}

}  // namespace emberline::ledger
