// SPDX-License-Identifier: MIT
// ledger/ledger — everything ever measured, kept. Only ever added to.
// Needs: SQLite.  Feeds: tasks.  One writer at a time; readers never wait (WAL). A Ledger belongs to one
// thread at a time. Every double comes back bit by bit, NaN and infinities included: they are kept as given.
#pragma once

#include <cstdint>
#include <functional>
#include <memory>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "night/plate_finder.hpp"
#include "night/solution.hpp"
#include "photometry/frame_record.hpp"
#include "quantities/band.hpp"
#include "quantities/problem.hpp"
#include "quantities/value_with_error.hpp"

namespace emberline::ledger {

inline constexpr int schema_version = 6;

struct Provenance {
    std::string software;  // "emberline 0.1.0"
    std::string settings;  // canonical text of all that shaped the fluxes
    std::string campaign;  // the campaign file's text, as read
};

enum class Recorded { fresh, unchanged, superseding };

enum class SetAside { frame, night, star };
struct Exclusion {
    SetAside kind = SetAside::frame;
    std::string key;  // frame path, night date, or star label
    std::string reason;
    std::string since;  // ISO UTC
    bool operator==(const Exclusion&) const = default;
};

// A plate solution made here, of the stored pixels of the file that bears the fingerprint.
struct KeptPlate {
    std::string fingerprint;
    std::string cards;  // of a FITS header, 80 characters each, without END
    int order = 1;      // 1: TAN; more: SIP
    int stars = 0;
    double rms_arcsec = 0.0;
    double false_probability = 1.0, log_odds = 0.0;
    std::string against;  // what it was matched with
    std::string since;    // ISO UTC; filled by the ledger
    bool operator==(const KeptPlate&) const = default;
};

// Colour and extinction terms of an instrument, found from one night's stars.
struct KeptTransformation {
    std::string instrument;
    Band band;
    std::string colour_index;                  // "B-V"
    ValueWithError colour_term;                // T of standard/zero_points
    std::optional<ValueWithError> extinction;  // mag per airmass; absent: the airmass did not change enough
    double colour_low_mag = 0.0, colour_high_mag = 0.0;  // the stars' range
    double scatter_mag = 0.0;                            // about the relation
    int stars = 0, frames = 0;
    std::string night;
    std::string against;  // the catalogue that the stars' magnitudes come from
    std::string since;    // ISO UTC; filled by the ledger
    bool operator==(const KeptTransformation&) const = default;
};

// One line or entry that went into a file for others.
struct ReportedLine {
    std::string format;   // "network", "server"
    std::string subject;  // what it is about: "night 2024-03-18 V main"
    std::string content;  // as it was written; another content of the same subject is a revision
    std::string file;
    std::string since;  // ISO UTC; filled by the ledger
    bool operator==(const ReportedLine&) const = default;
};

// A night's frames as the newest solution has them; each plane of a colour frame is one.
struct NightCount {
    std::string night;
    std::vector<Band> bands;  // by name
    std::size_t frames = 0, used = 0;
    bool operator==(const NightCount&) const = default;
};

// A frame of the newest solution, to be chosen from a list.
struct ListedFrame {
    std::string fingerprint;
    int plane = 0;
    std::string frame, night;
    Band band;
    std::string instrument;
    double jd_utc = 0.0, exposure_s = 0.0;
    bool used = true;
    std::string reason;        // why not used
    double fwhm_arcsec = 0.0;  // of its stars
    bool operator==(const ListedFrame&) const = default;
};

struct Renamed {
    std::string fingerprint;
    std::string frame;  // its path now
};

// Whether a problem of a ledger may pass by waiting: another program holds it, the disk is full, fails, or is
// not there just now. Not one that is damaged, no ledger, or from a newer version.
[[nodiscard]] bool may_pass(const Problem& problem);

using night::Solution;
using night::StarVerdict;

class Ledger {
  public:
    enum class Access { read, write };
    // `write` creates the file where there is none and migrates an older one (in one transaction, after a
    // copy beside it). Waits up to `wait_s` for another program. Problem (storage): locked, read-only, not a
    // database, from a newer version, cannot be created, disk full. `read` of a missing file: a Problem that
    // says to run `emberline measure` first (kind input).
    static Result<Ledger> open(const std::string& path, Access access, double wait_s = 30.0);

    Ledger(Ledger&&) noexcept;
    Ledger& operator=(Ledger&&) noexcept;
    ~Ledger();

    // One transaction for all of them (a night). The same frame (fingerprint, plane) with the same settings
    // changes nothing, whatever it is called by now; with other settings, the new fluxes supersede and the
    // old are kept. A frame set aside under a former name is then set aside under the new one too.
    // One path holds one exposure of a night: a frame that comes under the path of another of its night
    // supersedes that one, all of its planes, for its file was overwritten. A file that returns to what it
    // held before is recorded again.
    [[nodiscard]] Result<std::vector<Recorded>> record(const std::vector<photometry::FrameFluxes>& frames,
                                                       const Provenance& provenance);
    // Whether that frame is there with those settings already.
    [[nodiscard]] Result<bool> has(std::string_view fingerprint, int plane, std::string_view settings) const;
    // The path that the current fluxes of that file are kept under.
    [[nodiscard]] Result<std::optional<std::string>> name_of(std::string_view fingerprint) const;
    // Files that bear other names now, all at once: their fluxes stay, the former names are kept beside them,
    // exclusions follow. What else of the night is current under a new name is superseded, as by record.
    // Returns how many names changed.
    [[nodiscard]] Result<std::size_t> rename(const std::vector<Renamed>& files);
    // Current fluxes, ordered by time, one at a time; return false to stop.
    [[nodiscard]] Result<void> for_each_frame(
        const std::function<bool(const photometry::FrameFluxes&)>& visit) const;
    [[nodiscard]] Result<std::vector<photometry::FrameFluxes>> frames() const;

    [[nodiscard]] Result<void> exclude(SetAside kind, std::string_view key, std::string_view reason);
    // False when nothing of that name is set aside.
    [[nodiscard]] Result<bool> include(SetAside kind, std::string_view key);
    [[nodiscard]] Result<std::vector<Exclusion>> exclusions() const;

    // The newest of a file counts; the older ones stay. The same again adds nothing.
    [[nodiscard]] Result<void> keep_plate(const KeptPlate& plate);
    [[nodiscard]] Result<void> keep_plates(const std::vector<KeptPlate>& plates);  // in one transaction
    [[nodiscard]] Result<std::optional<KeptPlate>> plate(std::string_view fingerprint) const;
    // What all the campaign's frames are matched with; likewise.
    [[nodiscard]] Result<void> keep_reference(const night::FieldReference& reference);
    [[nodiscard]] Result<std::optional<night::FieldReference>> reference() const;

    // The newest of an instrument, band and colour index counts; the older ones stay. The same again adds
    // nothing.
    [[nodiscard]] Result<void> keep_transformations(const std::vector<KeptTransformation>& terms);
    [[nodiscard]] Result<std::vector<KeptTransformation>> transformations() const;       // the newest
    [[nodiscard]] Result<std::vector<KeptTransformation>> every_transformation() const;  // by time of keeping

    // In one transaction: all of a file or nothing.
    [[nodiscard]] Result<void> keep_reported(const std::vector<ReportedLine>& lines);
    // The newest of each subject, by subject. Lines that were taken back count as never reported.
    [[nodiscard]] Result<std::vector<ReportedLine>> reported(std::string_view format) const;
    // All of the newest file of that format that was not taken back, in the order they were written in.
    [[nodiscard]] Result<std::vector<ReportedLine>> newest_report(std::string_view format) const;
    // The lines of that file stay, and rows beside them say that they were taken back. Problem (request): the
    // newest file of the format, or what stands of it, is no longer the one of `file` and `since`.
    [[nodiscard]] Result<void> take_back_report(std::string_view format, std::string_view file,
                                                std::string_view since);

    // Stores a solution as the newest; the older ones stay. Storing what is already the newest adds nothing:
    // returns false then.
    [[nodiscard]] Result<bool> store(const Solution& solution, const Provenance& provenance);
    // Likewise, unless another program changed the ledger since its data_version() was that one: nothing is
    // stored then, and nothing returned, for the solution may lack what the other added.
    [[nodiscard]] Result<std::optional<bool>> store_if_still(std::int64_t data_version,
                                                             const Solution& solution,
                                                             const Provenance& provenance);
    // In the order it was stored in; empty when nothing was solved yet.
    [[nodiscard]] Result<Solution> newest() const;
    [[nodiscard]] Result<std::size_t> solutions() const;
    // Streams, for ledgers larger than memory; ordered by time.
    [[nodiscard]] Result<void> for_each_frame_measurement(
        const std::function<bool(const night::FrameMeasurement&)>& visit) const;
    [[nodiscard]] Result<void> for_each_night_measurement(
        const std::function<bool(const night::NightMeasurement&)>& visit) const;

    // One night without reading the others. Of the newest solution, except for the fluxes.
    [[nodiscard]] Result<std::vector<NightCount>> nights() const;  // by date
    [[nodiscard]] Result<std::optional<std::string>> newest_night() const;
    [[nodiscard]] Result<std::vector<photometry::FrameFluxes>> frames_of(std::string_view night) const;
    // Its frames and nights, with the verdicts on all stars: what `newest` has of it, in the same order.
    [[nodiscard]] Result<Solution> newest_of(std::string_view night) const;
    // Of the current fluxes of a file; nothing: it has none.
    [[nodiscard]] Result<std::optional<std::string>> night_of(std::string_view fingerprint) const;
    [[nodiscard]] Result<std::vector<ListedFrame>> list_of(std::string_view night) const;  // by time
    // The frame with the faintest limit of each night and band, by time; refused ones are none.
    [[nodiscard]] Result<std::vector<ListedFrame>> deepest_frames() const;
    [[nodiscard]] Result<std::vector<night::NightMeasurement>> night_measurements() const;
    [[nodiscard]] Result<std::vector<StarVerdict>> star_verdicts() const;

    // The last flux settings used, to solve again without frames.
    [[nodiscard]] Result<std::optional<Provenance>> last_provenance() const;

    // Another number when another program, or another Ledger of this one, has changed the file since this
    // Ledger was opened. Its own changes do not count.
    [[nodiscard]] Result<std::int64_t> data_version() const;

  private:
    struct Impl;
    explicit Ledger(std::unique_ptr<Impl> impl);
    std::unique_ptr<Impl> impl_;
};

}  // namespace emberline::ledger
