// SPDX-License-Identifier: MIT
#include "ledger/ledger.hpp"

#include <filesystem>

#include "ledger/connection.hpp"
#include "ledger/exclusions.hpp"
#include "ledger/fluxes.hpp"
#include "ledger/frame_names.hpp"
#include "ledger/frame_queries.hpp"
#include "ledger/night_queries.hpp"
#include "ledger/plates.hpp"
#include "ledger/provenance.hpp"
#include "ledger/reported.hpp"
#include "ledger/schema.hpp"
#include "ledger/solutions.hpp"
#include "ledger/transformations.hpp"

namespace emberline::ledger {

struct Ledger::Impl {
    std::unique_ptr<Connection> connection;
};

namespace {

using Mode = Connection::Mode;

[[noreturn]] void nothing_measured(const std::string& path) {
    throw Failure{{.what = "There is no ledger yet: nothing was measured.",
                   .where = path,
                   .mend = "Run `emberline measure` first.",
                   .kind = ProblemKind::input}};
}

std::unique_ptr<Connection> opened_for_reading(const std::string& path, Mode mode, double wait_s) {
    auto connection = std::make_unique<Connection>(path, mode, wait_s);
    refuse_foreign(*connection, schema_version);
    if (!ready_for_reading(*connection, schema_version)) nothing_measured(path);
    return connection;
}

std::unique_ptr<Connection> open_for_reading(const std::string& path, double wait_s) {
    std::error_code error;
    if (std::filesystem::status(path, error).type() == std::filesystem::file_type::not_found)
        nothing_measured(path);
    std::optional<Failure> failure;
    try {
        return opened_for_reading(path, Mode::read, wait_s);
    } catch (const Failure& first) {
        failure = first;
    }
    // On read-only media SQLite cannot lay its small files beside the ledger. Read as it lies there it can
    // still be, unless a program that was cut off left part of it in the log beside it.
    const auto log_size = std::filesystem::file_size(path + "-wal", error);
    if (folder_is_writable(path) || (!error && log_size > 0)) throw Failure(*failure);
    try {
        return opened_for_reading(path, Mode::fixed, wait_s);
    } catch (const Failure&) {
        throw Failure(*failure);
    }
}

std::unique_ptr<Connection> open_for_writing(const std::string& path, double wait_s) {
    auto connection = std::make_unique<Connection>(path, Mode::write, wait_s);
    refuse_foreign(*connection, schema_version);
    if (!connection->writable()) {
        throw Failure{{.what = "The ledger is read-only.",
                       .where = path,
                       .mend = "Allow writing to the file, or copy the campaign to a folder of your own.",
                       .kind = ProblemKind::storage}};
    }
    prepare_for_writing(*connection, migrations(), schema_version);
    return connection;
}

}  // namespace

Result<Ledger> Ledger::open(const std::string& path, Access access, double wait_s) {
    return guarded(path, [&] {
        auto connection =
            access == Access::read ? open_for_reading(path, wait_s) : open_for_writing(path, wait_s);
        return Ledger(std::make_unique<Impl>(Impl{std::move(connection)}));
    });
}

Ledger::Ledger(std::unique_ptr<Impl> impl) : impl_(std::move(impl)) {}
Ledger::Ledger(Ledger&&) noexcept = default;
Ledger& Ledger::operator=(Ledger&&) noexcept = default;
Ledger::~Ledger() = default;

Result<std::vector<Recorded>> Ledger::record(const std::vector<photometry::FrameFluxes>& frames,
                                             const Provenance& provenance) {
    return guarded(impl_->connection->path(),
                   [&] { return record_fluxes(*impl_->connection, frames, provenance); });
}

Result<bool> Ledger::has(std::string_view fingerprint, int plane, std::string_view settings) const {
    return guarded(impl_->connection->path(),
                   [&] { return has_fluxes(*impl_->connection, fingerprint, plane, settings); });
}

Result<std::optional<std::string>> Ledger::name_of(std::string_view fingerprint) const {
    return guarded(impl_->connection->path(), [&] { return current_name(*impl_->connection, fingerprint); });
}

Result<std::size_t> Ledger::rename(const std::vector<Renamed>& files) {
    return guarded(impl_->connection->path(), [&] { return rename_frames(*impl_->connection, files); });
}

Result<void> Ledger::keep_plate(const KeptPlate& plate) {
    return keep_plates({plate});
}

Result<void> Ledger::keep_plates(const std::vector<KeptPlate>& plates) {
    return guarded(impl_->connection->path(), [&] { add_plates(*impl_->connection, plates); });
}

Result<std::optional<KeptPlate>> Ledger::plate(std::string_view fingerprint) const {
    return guarded(impl_->connection->path(), [&] { return newest_plate(*impl_->connection, fingerprint); });
}

Result<void> Ledger::keep_reference(const night::FieldReference& reference) {
    return guarded(impl_->connection->path(), [&] { add_reference(*impl_->connection, reference); });
}

Result<std::optional<night::FieldReference>> Ledger::reference() const {
    return guarded(impl_->connection->path(), [&] { return newest_reference(*impl_->connection); });
}

Result<void> Ledger::keep_transformations(const std::vector<KeptTransformation>& terms) {
    return guarded(impl_->connection->path(), [&] { add_transformations(*impl_->connection, terms); });
}

Result<std::vector<KeptTransformation>> Ledger::transformations() const {
    return guarded(impl_->connection->path(), [&] { return newest_transformations(*impl_->connection); });
}

Result<std::vector<KeptTransformation>> Ledger::every_transformation() const {
    return guarded(impl_->connection->path(), [&] { return all_transformations(*impl_->connection); });
}

Result<void> Ledger::keep_reported(const std::vector<ReportedLine>& lines) {
    return guarded(impl_->connection->path(), [&] { add_reported(*impl_->connection, lines); });
}

Result<std::vector<ReportedLine>> Ledger::reported(std::string_view format) const {
    return guarded(impl_->connection->path(), [&] { return newest_reported(*impl_->connection, format); });
}

Result<std::vector<ReportedLine>> Ledger::newest_report(std::string_view format) const {
    return guarded(impl_->connection->path(),
                   [&] { return lines_of_newest_report(*impl_->connection, format); });
}

Result<void> Ledger::take_back_report(std::string_view format, std::string_view file,
                                      std::string_view since) {
    return guarded(impl_->connection->path(),
                   [&] { add_taken_back(*impl_->connection, format, file, since); });
}

Result<void> Ledger::for_each_frame(const std::function<bool(const photometry::FrameFluxes&)>& visit) const {
    return guarded(impl_->connection->path(), [&] { visit_fluxes(*impl_->connection, visit); });
}

Result<std::vector<photometry::FrameFluxes>> Ledger::frames() const {
    return guarded(impl_->connection->path(), [&] { return all_fluxes(*impl_->connection); });
}

Result<void> Ledger::exclude(SetAside kind, std::string_view key, std::string_view reason) {
    return guarded(impl_->connection->path(),
                   [&] { begin_exclusion(*impl_->connection, kind, key, reason); });
}

Result<bool> Ledger::include(SetAside kind, std::string_view key) {
    return guarded(impl_->connection->path(), [&] { return end_exclusion(*impl_->connection, kind, key); });
}

Result<std::vector<Exclusion>> Ledger::exclusions() const {
    return guarded(impl_->connection->path(), [&] { return current_exclusions(*impl_->connection); });
}

Result<bool> Ledger::store(const Solution& solution, const Provenance& provenance) {
    return guarded(impl_->connection->path(),
                   [&] { return *store_solution(*impl_->connection, solution, provenance); });
}

Result<std::optional<bool>> Ledger::store_if_still(std::int64_t data_version, const Solution& solution,
                                                   const Provenance& provenance) {
    return guarded(impl_->connection->path(),
                   [&] { return store_solution(*impl_->connection, solution, provenance, data_version); });
}

Result<Solution> Ledger::newest() const {
    return guarded(impl_->connection->path(), [&] {
        // One state of the ledger for all three tables.
        Transaction transaction(*impl_->connection, Transaction::Kind::read);
        return solution_number(*impl_->connection, newest_solution_number(*impl_->connection));
    });
}

Result<std::size_t> Ledger::solutions() const {
    return guarded(impl_->connection->path(), [&] {
        return static_cast<std::size_t>(impl_->connection->integer("SELECT count(*) FROM solution"));
    });
}

Result<void> Ledger::for_each_frame_measurement(
    const std::function<bool(const night::FrameMeasurement&)>& visit) const {
    return guarded(impl_->connection->path(), [&] { visit_frame_measurements(*impl_->connection, visit); });
}

Result<void> Ledger::for_each_night_measurement(
    const std::function<bool(const night::NightMeasurement&)>& visit) const {
    return guarded(impl_->connection->path(), [&] { visit_night_measurements(*impl_->connection, visit); });
}

Result<std::vector<NightCount>> Ledger::nights() const {
    return guarded(impl_->connection->path(), [&] { return count_nights(*impl_->connection); });
}

Result<std::optional<std::string>> Ledger::newest_night() const {
    return guarded(impl_->connection->path(), [&] { return last_night(*impl_->connection); });
}

Result<std::vector<photometry::FrameFluxes>> Ledger::frames_of(std::string_view night) const {
    return guarded(impl_->connection->path(), [&] { return all_fluxes(*impl_->connection, night); });
}

Result<Solution> Ledger::newest_of(std::string_view night) const {
    return guarded(impl_->connection->path(), [&] { return solution_of_night(*impl_->connection, night); });
}

Result<std::optional<std::string>> Ledger::night_of(std::string_view fingerprint) const {
    return guarded(impl_->connection->path(), [&] { return night_of_file(*impl_->connection, fingerprint); });
}

Result<std::vector<ListedFrame>> Ledger::list_of(std::string_view night) const {
    return guarded(impl_->connection->path(), [&] { return list_frames(*impl_->connection, night); });
}

Result<std::vector<ListedFrame>> Ledger::deepest_frames() const {
    return guarded(impl_->connection->path(), [&] { return list_deepest(*impl_->connection); });
}

Result<std::vector<night::NightMeasurement>> Ledger::night_measurements() const {
    return guarded(impl_->connection->path(), [&] { return all_nights(*impl_->connection); });
}

Result<std::vector<StarVerdict>> Ledger::star_verdicts() const {
    return guarded(impl_->connection->path(), [&] { return all_verdicts(*impl_->connection); });
}

Result<std::int64_t> Ledger::data_version() const {
    return guarded(impl_->connection->path(),
                   [&] { return impl_->connection->integer("PRAGMA data_version"); });
}

Result<std::optional<Provenance>> Ledger::last_provenance() const {
    return guarded(impl_->connection->path(), [&] { return last_flux_provenance(*impl_->connection); });
}

}  // namespace emberline::ledger
