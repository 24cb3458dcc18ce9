// SPDX-License-Identifier: MIT
#include "ledger/connection.hpp"

#include <fcntl.h>
#include <fmt/format.h>
#include <sqlite3.h>
#include <unistd.h>

#include <algorithm>
#include <chrono>
#include <cmath>
#include <filesystem>
#include <thread>

#include "ledger/bytes.hpp"

namespace emberline::ledger {
namespace {

// What to do about failures that may pass by themselves: by these they are known again (may_pass).
constexpr const char* locked_mend = "Wait until that program is done, or end it, and run the command again.";
constexpr const char* full_mend =
    "Free some space and run the command again: what was committed before is kept.";
constexpr const char* failing_mend =
    "Check the disk, its free space and its connection, and run the command again.";
constexpr const char* read_only_mend =
    "Allow writing to the file and to its folder, or copy the campaign to one of your own.";
constexpr const char* read_only_folder_mend =
    "Allow writing there, or copy the campaign to a folder of your own.";
constexpr const char* no_folder_mend = "Make the folder, or name another campaign.";

// A path is never one of SQLite's special names (":memory:", "file:…").
std::string plain_path(const std::string& path) {
    return path.starts_with('/') ? path : "./" + path;
}

std::string fixed_uri(const std::string& path) {
    std::string uri = "file:";
    for (const char c : plain_path(path)) {
        if (c == '%' || c == '?' || c == '#') {
            uri += fmt::format("%{:02X}", static_cast<unsigned char>(c));
        } else {
            uri += c;
        }
    }
    return uri + "?immutable=1";
}

std::filesystem::path folder_of(const std::string& path) {
    const std::filesystem::path file(path);
    return file.has_parent_path() ? file.parent_path() : std::filesystem::path(".");
}

bool allowed(const std::string& path, int mode) {
    return ::faccessat(AT_FDCWD, path.c_str(), mode, AT_EACCESS) == 0;
}

Problem cannot_open(const std::string& path) {
    std::error_code error;
    const std::filesystem::path file(path);
    const auto folder = folder_of(path);
    Problem problem{.where = path, .kind = ProblemKind::storage};
    if (!std::filesystem::is_directory(folder, error)) {
        problem.what = "The folder of the ledger does not exist.";
        problem.mend = no_folder_mend;
    } else if (std::filesystem::is_directory(file, error)) {
        problem.what = "There is a folder where the ledger should be.";
        problem.mend = "Rename that folder.";
    } else if (std::filesystem::exists(file, error) && !std::filesystem::is_regular_file(file, error)) {
        problem.what = "What lies where the ledger should be is no file.";
        problem.mend = "Move it away, or name another campaign.";
    } else if (std::filesystem::exists(file, error) && !allowed(path, R_OK)) {
        problem.what = "The ledger may not be read.";
        problem.mend = "Change the permissions of the file and of its folder.";
    } else if (!folder_is_writable(path)) {
        problem.what = "The folder of the ledger is read-only.";
        problem.mend = read_only_folder_mend;
    } else {
        problem.what = "The ledger cannot be opened.";
        problem.mend = "Check the disk and the permissions of the file and of its folder.";
    }
    return problem;
}

Problem damaged(const std::string& path, const std::string& detail) {
    return {.what = fmt::format("The ledger is damaged ({}).", detail),
            .where = path,
            .mend = "Restore it from a backup, or move it away and measure the frames again.",
            .kind = ProblemKind::storage};
}

Problem translate(int code, const std::string& message, const std::string& path) {
    Problem problem{.where = path, .kind = ProblemKind::storage};
    const int family = code & 0xff;
    if (family == SQLITE_FULL) {
        problem.what = "The disk is full.";
        problem.mend = full_mend;
    } else if (family == SQLITE_BUSY || family == SQLITE_LOCKED || family == SQLITE_PROTOCOL) {
        problem.what = "The ledger is locked by another program.";
        problem.mend = locked_mend;
    } else if (family == SQLITE_READONLY || family == SQLITE_PERM) {
        problem.what = "The ledger is read-only.";
        problem.mend = read_only_mend;
    } else if (family == SQLITE_CANTOPEN) {
        problem = cannot_open(path);
    } else if (family == SQLITE_NOTADB) {
        problem.what = "The file is not a ledger: it is no database.";
        problem.mend = "Move it away; a new ledger is made by `emberline measure`.";
    } else if (family == SQLITE_CORRUPT || code == SQLITE_IOERR_SHORT_READ || family == SQLITE_ERROR ||
               family == SQLITE_FORMAT || family == SQLITE_CONSTRAINT) {
        problem = damaged(path, message);
    } else if (family == SQLITE_IOERR) {
        problem.what = fmt::format("The disk failed ({}).", message);
        problem.mend = failing_mend;
    } else {
        problem.what = fmt::format("The ledger could not be used ({}).", message);
        problem.mend = "Run the command again; if it stays so, restore the ledger from a backup.";
    }
    return problem;
}

}  // namespace

bool may_pass(const Problem& problem) {
    if (problem.kind != ProblemKind::storage) return false;
    const auto passing = {locked_mend,    full_mend,      failing_mend,
                          read_only_mend, no_folder_mend, read_only_folder_mend};
    return std::any_of(passing.begin(), passing.end(),
                       [&](const char* mend) { return problem.mend == mend; });
}

bool folder_is_writable(const std::string& path) {
    return allowed(folder_of(path).string(), W_OK);
}

Connection::Connection(std::string path, Mode mode, double wait_s)
    : path_(std::move(path)), mode_(mode), wait_s_(std::clamp(wait_s, 0.0, 1e6)) {
    // A pipe would keep SQLite waiting for ever, and a device would swallow what is written.
    std::error_code error;
    const auto type = std::filesystem::status(path_, error).type();
    if (type != std::filesystem::file_type::regular && type != std::filesystem::file_type::not_found)
        throw Failure{cannot_open(path_)};
    // A reader that may write cleans up SQLite's small files when it is the last to leave; it falls back to
    // reading by itself where it may not, and query_only keeps its hands off the contents.
    const int flags = mode == Mode::fixed  ? SQLITE_OPEN_READONLY | SQLITE_OPEN_URI
                      : mode == Mode::read ? SQLITE_OPEN_READWRITE
                                           : SQLITE_OPEN_READWRITE | SQLITE_OPEN_CREATE;
    const std::string name = mode == Mode::fixed ? fixed_uri(path_) : plain_path(path_);
    const int code = sqlite3_open_v2(name.c_str(), &handle_, flags, nullptr);
    try {
        if (code != SQLITE_OK) raise(code);
        sqlite3_extended_result_codes(handle_, 1);
        sqlite3_busy_timeout(handle_, static_cast<int>(std::lround(wait_s_ * 1000.0)));
        // A ledger from a stranger must not run code of its own.
        sqlite3_db_config(handle_, SQLITE_DBCONFIG_TRUSTED_SCHEMA, 0, nullptr);
        sqlite3_db_config(handle_, SQLITE_DBCONFIG_ENABLE_TRIGGER, 0, nullptr);
        execute("PRAGMA cell_size_check = ON");
        execute("PRAGMA synchronous = FULL");
        execute("PRAGMA foreign_keys = ON");
        if (mode != Mode::write) execute("PRAGMA query_only = ON");
    } catch (...) {
        sqlite3_close_v2(handle_);
        throw;
    }
}

Connection::~Connection() {
    sqlite3_close_v2(handle_);
}

void Connection::execute(const std::string& sql) {
    const int code = sqlite3_exec(handle_, sql.c_str(), nullptr, nullptr, nullptr);
    if (code != SQLITE_OK) raise(code);
}

std::int64_t Connection::integer(const std::string& sql) {
    Statement statement(*this, sql);
    if (!statement.step()) raise_damaged("a number is missing");
    return statement.integer(0);
}

std::int64_t Connection::last_id() const {
    return sqlite3_last_insert_rowid(handle_);
}

std::int64_t Connection::changed_rows() const {
    return sqlite3_changes64(handle_);
}

bool Connection::in_transaction() const {
    return sqlite3_get_autocommit(handle_) == 0;
}

bool Connection::writable() const {
    return mode_ == Mode::write && sqlite3_db_readonly(handle_, "main") == 0;
}

void Connection::use_write_ahead_log() {
    // Two programs that do this at once on a new file can lock each other out, and SQLite then gives up
    // without waiting.
    const auto deadline = std::chrono::steady_clock::now() + std::chrono::duration<double>(wait_s_);
    for (;;) {
        const int code = sqlite3_exec(handle_, "PRAGMA journal_mode = WAL", nullptr, nullptr, nullptr);
        if (code == SQLITE_OK) return;
        if ((code & 0xff) != SQLITE_BUSY || std::chrono::steady_clock::now() > deadline) raise(code);
        std::this_thread::sleep_for(std::chrono::milliseconds(10));
    }
}

void Connection::copy_to(const std::string& path) {
    // A second connection reads what is committed, whatever this one is in the middle of.
    const Connection source(path_, Mode::read, wait_s_);
    const Connection target(path, Mode::write, wait_s_);
    sqlite3_backup* backup = sqlite3_backup_init(target.handle_, "main", source.handle_, "main");
    if (backup == nullptr) target.raise(sqlite3_extended_errcode(target.handle_));
    const int stepped = sqlite3_backup_step(backup, -1);
    const int finished = sqlite3_backup_finish(backup);
    if (stepped != SQLITE_DONE) target.raise(stepped);
    if (finished != SQLITE_OK) target.raise(finished);
}

void Connection::raise(int code) const {
    if ((code & 0xff) == SQLITE_NOMEM) throw std::bad_alloc();
    throw Failure{translate(code, sqlite3_errmsg(handle_), path_)};
}

void Connection::raise_damaged(const std::string& what) const {
    throw Failure{damaged(path_, what)};
}

Statement::Statement(Connection& connection, const std::string& sql) : connection_(connection) {
    const int code = sqlite3_prepare_v2(connection.handle(), sql.c_str(), static_cast<int>(sql.size() + 1),
                                        &handle_, nullptr);
    if (code != SQLITE_OK) connection.raise(code);
}

Statement::~Statement() {
    sqlite3_finalize(handle_);
}

void Statement::bind_null(int i) {
    if (const int code = sqlite3_bind_null(handle_, i + 1); code != SQLITE_OK) connection_.raise(code);
}

void Statement::bind(int i, std::int64_t value) {
    if (const int code = sqlite3_bind_int64(handle_, i + 1, value); code != SQLITE_OK)
        connection_.raise(code);
}

void Statement::bind(int i, double value) {
    if (std::isnan(value) || (value == 0.0 && std::signbit(value))) {
        ByteWriter bytes;
        bytes.put(value);
        bind_blob(i, bytes.bytes());
        return;
    }
    if (const int code = sqlite3_bind_double(handle_, i + 1, value); code != SQLITE_OK)
        connection_.raise(code);
}

// No null pointers here, which would store NULL for an empty text.
void Statement::bind_text(int i, std::string_view value) {
    const int code = sqlite3_bind_text64(handle_, i + 1, value.empty() ? "" : value.data(), value.size(),
                                         SQLITE_TRANSIENT, SQLITE_UTF8);
    if (code != SQLITE_OK) connection_.raise(code);
}

void Statement::bind_blob(int i, std::string_view bytes) {
    const int code = sqlite3_bind_blob64(handle_, i + 1, bytes.empty() ? "" : bytes.data(), bytes.size(),
                                         SQLITE_TRANSIENT);
    if (code != SQLITE_OK) connection_.raise(code);
}

bool Statement::step() {
    const int code = sqlite3_step(handle_);
    if (code == SQLITE_ROW) return true;
    if (code == SQLITE_DONE) return false;
    // Raised before the reset, which would clear what SQLite knows about it.
    try {
        connection_.raise(code);
    } catch (...) {
        sqlite3_reset(handle_);
        throw;
    }
}

void Statement::reset() {
    sqlite3_reset(handle_);
}

void Statement::run() {
    while (step()) {
    }
    reset();
}

bool Statement::is_null(int i) const {
    return sqlite3_column_type(handle_, i) == SQLITE_NULL;
}

std::int64_t Statement::integer(int i) const {
    if (sqlite3_column_type(handle_, i) != SQLITE_INTEGER)
        connection_.raise_damaged(fmt::format("no whole number in {}", sqlite3_column_name(handle_, i)));
    return sqlite3_column_int64(handle_, i);
}

double Statement::number(int i) const {
    const int type = sqlite3_column_type(handle_, i);
    if (type == SQLITE_FLOAT || type == SQLITE_INTEGER) return sqlite3_column_double(handle_, i);
    if (type == SQLITE_BLOB) {
        ByteReader bytes(blob(i));
        if (const auto value = bytes.number(); value && bytes.at_end()) return *value;
    }
    connection_.raise_damaged(fmt::format("no number in {}", sqlite3_column_name(handle_, i)));
}

std::string Statement::text(int i) const {
    if (sqlite3_column_type(handle_, i) != SQLITE_TEXT)
        connection_.raise_damaged(fmt::format("no text in {}", sqlite3_column_name(handle_, i)));
    const auto* bytes = reinterpret_cast<const char*>(sqlite3_column_text(handle_, i));
    if (bytes == nullptr) throw std::bad_alloc();
    return {bytes, static_cast<std::size_t>(sqlite3_column_bytes(handle_, i))};
}

std::string_view Statement::blob(int i) const {
    if (sqlite3_column_type(handle_, i) != SQLITE_BLOB)
        connection_.raise_damaged(fmt::format("no bytes in {}", sqlite3_column_name(handle_, i)));
    const auto* bytes = static_cast<const char*>(sqlite3_column_blob(handle_, i));
    const auto size = static_cast<std::size_t>(sqlite3_column_bytes(handle_, i));
    return size == 0 ? std::string_view{} : std::string_view{bytes, size};
}

Transaction::Transaction(Connection& connection, Kind kind) : connection_(connection) {
    connection_.execute(kind == Kind::write ? "BEGIN IMMEDIATE" : "BEGIN");
}

Transaction::~Transaction() {
    if (connection_.in_transaction())
        sqlite3_exec(connection_.handle(), "ROLLBACK", nullptr, nullptr, nullptr);
}

void Transaction::commit() {
    connection_.execute("COMMIT");
}

}  // namespace emberline::ledger
