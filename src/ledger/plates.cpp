// SPDX-License-Identifier: MIT
#include "ledger/plates.hpp"

#include "ledger/bytes.hpp"
#include "ledger/provenance.hpp"

namespace emberline::ledger {
namespace {

std::string bytes_of(const night::FieldReference& reference) {
    ByteWriter bytes;
    bytes.put(std::uint64_t{reference.stars.size()});
    for (const stars::ReferenceStar& star : reference.stars) {
        bytes.put(star.position.ra.radians());
        bytes.put(star.position.dec.radians());
        bytes.put(star.err_arcsec);
        bytes.put(std::uint64_t{star.magnitude_mag ? 1U : 0U});
        if (star.magnitude_mag) bytes.put(*star.magnitude_mag);
    }
    bytes.put(std::uint64_t{reference.places.size()});
    for (const frame::PixelPosition& place : reference.places) {
        bytes.put(place.x);
        bytes.put(place.y);
    }
    return bytes.bytes();
}

std::vector<std::string> labels_of(const night::FieldReference& reference) {
    std::vector<std::string> labels;
    for (const stars::ReferenceStar& star : reference.stars)
        labels.push_back(star.label);
    return labels;
}

class StarsReader {
  public:
    StarsReader(const Connection& connection, std::string_view bytes)
        : connection_(connection), bytes_(bytes) {}

    void read(night::FieldReference& reference, const std::vector<std::string>& labels) {
        const std::uint64_t stars = need(bytes_.count());
        if (stars != labels.size()) damaged();
        for (const std::string& label : labels) {
            stars::ReferenceStar& star = reference.stars.emplace_back();
            star.position.ra = Angle::radians(need(bytes_.number()));
            star.position.dec = Angle::radians(need(bytes_.number()));
            star.err_arcsec = need(bytes_.number());
            if (need(bytes_.count()) != 0) star.magnitude_mag = need(bytes_.number());
            star.label = label;
        }
        const std::uint64_t places = need(bytes_.count());
        for (std::uint64_t i = 0; i < places; ++i) {
            const double x = need(bytes_.number());
            reference.places.push_back({x, need(bytes_.number())});
        }
        if (!bytes_.at_end()) damaged();
    }

  private:
    [[noreturn]] void damaged() const {
        connection_.raise_damaged("the stars that frames are matched with cannot be read");
    }
    template <class T>
    T need(const std::optional<T>& value) const {
        if (!value) damaged();
        return *value;
    }

    const Connection& connection_;
    ByteReader bytes_;
};

}  // namespace

void add_plates(Connection& connection, const std::vector<KeptPlate>& plates) {
    Transaction transaction(connection, Transaction::Kind::write);
    Statement insert(connection,
                     "INSERT INTO plate_solution (fingerprint, cards, sip_order, stars, rms_arcsec, "
                     "false_probability, log_odds, against, since) VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?)");
    bool any = false;
    for (const KeptPlate& plate : plates) {
        if (const auto newest = newest_plate(connection, plate.fingerprint)) {
            KeptPlate same = plate;
            same.since = newest->since;
            if (same == *newest) continue;
        }
        insert.bind_text(0, plate.fingerprint);
        insert.bind_text(1, plate.cards);
        insert.bind(2, std::int64_t{plate.order});
        insert.bind(3, std::int64_t{plate.stars});
        insert.bind(4, plate.rms_arcsec);
        insert.bind(5, plate.false_probability);
        insert.bind(6, plate.log_odds);
        insert.bind_text(7, plate.against);
        insert.bind_text(8, now_utc());
        insert.run();
        any = true;
    }
    if (any) transaction.commit();
}

std::optional<KeptPlate> newest_plate(Connection& connection, std::string_view fingerprint) {
    Statement find(connection,
                   "SELECT fingerprint, cards, sip_order, stars, rms_arcsec, false_probability, log_odds, "
                   "against, since FROM plate_solution WHERE fingerprint = ? ORDER BY id DESC LIMIT 1");
    find.bind_text(0, fingerprint);
    if (!find.step()) return std::nullopt;
    return KeptPlate{.fingerprint = find.text(0),
                     .cards = find.text(1),
                     .order = static_cast<int>(find.integer(2)),
                     .stars = static_cast<int>(find.integer(3)),
                     .rms_arcsec = find.number(4),
                     .false_probability = find.number(5),
                     .log_odds = find.number(6),
                     .against = find.text(7),
                     .since = find.text(8)};
}

void add_reference(Connection& connection, const night::FieldReference& reference) {
    Transaction transaction(connection, Transaction::Kind::write);
    if (const auto newest = newest_reference(connection); newest == reference) return;
    Statement insert(connection,
                     "INSERT INTO field_reference (fingerprint, frame, scale_arcsec_per_px, mirrored, "
                     "labels, stars, since) VALUES (?, ?, ?, ?, ?, ?, ?)");
    insert.bind_text(0, reference.fingerprint);
    insert.bind_text(1, reference.frame);
    insert.bind(2, reference.scale_arcsec_per_px);
    insert.bind(3, std::int64_t{reference.mirrored});
    insert.bind_text(4, join_lines(labels_of(reference)));
    insert.bind_blob(5, bytes_of(reference));
    insert.bind_text(6, now_utc());
    insert.run();
    transaction.commit();
}

std::optional<night::FieldReference> newest_reference(Connection& connection) {
    Statement find(connection,
                   "SELECT fingerprint, frame, scale_arcsec_per_px, mirrored, labels, stars "
                   "FROM field_reference ORDER BY id DESC LIMIT 1");
    if (!find.step()) return std::nullopt;
    night::FieldReference reference;
    reference.fingerprint = find.text(0);
    reference.frame = find.text(1);
    reference.scale_arcsec_per_px = find.number(2);
    reference.mirrored = find.integer(3) != 0;
    const auto labels = split_lines(find.text(4));
    if (!labels) connection.raise_damaged("the labels of the stars that frames are matched with");
    StarsReader(connection, find.blob(5)).read(reference, *labels);
    return reference;
}

}  // namespace emberline::ledger
