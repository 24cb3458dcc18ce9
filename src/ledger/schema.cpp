// SPDX-License-Identifier: MIT
#include "ledger/schema.hpp"

#include <fmt/format.h>

#include <cerrno>
#include <cstring>
#include <filesystem>
#include <optional>
#include <utility>
#include <vector>

#include "ledger/ledger.hpp"
#include "quantities/new_file.hpp"

namespace emberline::ledger {
namespace {

constexpr std::uintmax_t smallest_page = 512;  // bytes, of any SQLite database

struct Identity {
    std::int64_t owner = 0;
    std::int64_t version = 0;
    bool empty = false;
};

// In one transaction: between one question and the next another program may make the tables.
Identity identity(Connection& connection) {
    std::optional<Transaction> own;
    if (!connection.in_transaction()) own.emplace(connection, Transaction::Kind::read);
    return {.owner = connection.integer("PRAGMA application_id"),
            .version = connection.integer("PRAGMA user_version"),
            .empty = connection.integer("SELECT count(*) FROM sqlite_schema") == 0};
}

[[noreturn]] void refuse(const Connection& connection, std::string what, std::string mend) {
    throw Failure{{.what = std::move(what),
                   .where = connection.path(),
                   .mend = std::move(mend),
                   .kind = ProblemKind::storage}};
}

// SQLite fills a last page that is cut short with zeros. While a log lies beside it, the page is there.
void refuse_cut_short(Connection& connection) {
    std::error_code error;
    const auto log_size = std::filesystem::file_size(connection.path() + "-wal", error);
    if (!error && log_size > 0) return;
    const auto size = std::filesystem::file_size(connection.path(), error);
    if (!error && size % static_cast<std::uintmax_t>(connection.integer("PRAGMA page_size")) != 0)
        connection.raise_damaged("the file is cut short");
}

void create(Connection& connection) {
    for (const std::string& sql : statements_of_new_ledger())
        connection.execute(sql);
    connection.execute(fmt::format("PRAGMA application_id = {}", application_id));
    connection.execute(fmt::format("PRAGMA user_version = {}", schema_version));
}

std::string free_name(const std::string& path) {
    std::error_code error;
    for (int n = 1;; ++n) {
        std::string name = n == 1 ? path : fmt::format("{}-{}", path, n);
        if (!std::filesystem::exists(name, error)) return name;
    }
}

// Under another name until it is whole, so that a copy that bears the name can be trusted.
std::string keep_copy(Connection& connection, std::int64_t version) {
    std::string path = free_name(fmt::format("{}.version-{}", connection.path(), version));
    const std::string unfinished = path + ".unfinished";
    std::error_code error;
    std::filesystem::remove(unfinished, error);
    try {
        connection.copy_to(unfinished);
    } catch (...) {
        std::filesystem::remove(unfinished, error);
        throw;
    }
    if (!take_name(unfinished, path)) {
        refuse(connection,
               fmt::format("No copy of the older ledger could be kept ({}).", std::strerror(errno)),
               "Free some space and allow writing in its folder.");
    }
    return path;
}

std::vector<std::string> steps_between(const Connection& connection, std::span<const Migration> steps,
                                       std::int64_t from, int version) {
    std::vector<std::string> wanted;
    for (std::int64_t to = from + 1; to <= version; ++to) {
        for (const Migration& step : steps) {
            if (step.to == to) wanted.push_back(step.sql);
        }
        if (std::cmp_not_equal(wanted.size(), to - from)) {
            refuse(connection, fmt::format("The ledger is of version {}, which was never released.", from),
                   "Move it away and measure the frames again.");
        }
    }
    return wanted;
}

void migrate(Connection& connection, std::span<const Migration> steps, std::int64_t from, int version) {
    const std::vector<std::string> wanted = steps_between(connection, steps, from, version);
    const std::string copy = keep_copy(connection, from);
    try {
        for (const std::string& sql : wanted)
            connection.execute(sql);
        if (Statement orphans(connection, "PRAGMA foreign_key_check"); orphans.step())
            connection.raise_damaged("a row points at another that is not there");
        connection.execute(fmt::format("PRAGMA user_version = {}", version));
    } catch (...) {
        // The ledger itself stays as it was.
        std::error_code error;
        std::filesystem::remove(copy, error);
        throw;
    }
}

}  // namespace

void refuse_foreign(Connection& connection, int newest_version) {
    const Identity found = identity(connection);
    // SQLite takes a shorter file for an empty database, and would write over it.
    std::error_code error;
    const auto size = std::filesystem::file_size(connection.path(), error);
    if (!error && found.empty && size > 0 && size < smallest_page) {
        refuse(connection, "The file is not a ledger: it is no database.",
               "Move it away; a new ledger is made by `emberline measure`.");
    }
    if (found.owner != application_id && !(found.empty && found.owner == 0)) {
        refuse(connection, "The file is another program's database, not a ledger.",
               "Move it away, or name another campaign.");
    }
    if (found.owner == application_id && found.version > newest_version) {
        refuse(connection,
               fmt::format("The ledger is of version {}; this program knows versions up to {}.",
                           found.version, newest_version),
               "Use a newer emberline.");
    }
    refuse_cut_short(connection);
}

void prepare_for_writing(Connection& connection, std::span<const Migration> steps, int version) {
    connection.use_write_ahead_log();
    // SQLite takes this setting outside of transactions only; a migration may rebuild a table others point
    // at.
    connection.execute("PRAGMA foreign_keys = OFF");
    {
        // Also where there is nothing to do: a lock or a read-only folder shows now, not after the measuring.
        Transaction transaction(connection, Transaction::Kind::write);
        refuse_foreign(connection, version);
        const Identity found = identity(connection);
        if (found.empty && found.owner == 0) {
            create(connection);
        } else if (found.version < version) {
            migrate(connection, steps, found.version, version);
        }
        transaction.commit();
    }
    connection.execute("PRAGMA foreign_keys = ON");
}

bool ready_for_reading(Connection& connection, int version) {
    const Identity found = identity(connection);
    if (found.owner != application_id) return false;
    if (found.version < version) {
        refuse(connection, fmt::format("The ledger is of the older version {}.", found.version),
               "Run `emberline measure --again` once: it brings the ledger up to date and keeps a copy.");
    }
    return true;
}

}  // namespace emberline::ledger
