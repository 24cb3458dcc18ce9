// SPDX-License-Identifier: MIT
#include "standard/photometric_catalogue.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <cstdint>
#include <numeric>
#include <set>

#include "quantities/magnitude.hpp"
#include "quantities/text.hpp"
#include "standard/catalogue_columns.hpp"
#include "standard/catalogue_stars.hpp"
#include "standard/read_raw_catalogue.hpp"
#include "standard/sequence.hpp"
#include "standard/survey_columns.hpp"

namespace emberline::standard {
namespace {

// No star of a catalogue is brighter or fainter; 99.99, −999 and the like lie outside.
constexpr double least_mag = -2.0, most_mag = 30.0;
constexpr double most_err_mag = 2.0;  // beyond it an error says that there is none
constexpr double same_place_arcsec = 1.0, same_light_mag = 0.3;

std::optional<double> number(const RawColumn& column, std::size_t row) {
    std::optional<double> value;
    if (column.is_text) {
        if (!is_blank(column.texts[row])) value = parse_number(column.texts[row]);
    } else {
        value = column.numbers[row];
    }
    return value && std::isfinite(*value) ? value : std::nullopt;
}

// As lists write "none". A star may be of that magnitude: it is one where an error stands beside it. 9.99 is
// always a star's, and 99.9 never.
bool is_nines(double value) {
    return std::abs(value - 9.999) < 1e-9 || std::abs(value - 9.9999) < 1e-9;
}

// How far the light of BP and RP together lies from what a single star's of that colour and G is, in sigma:
// Riello 2021, A&A 649, A3, equations 6 and 18, table 2; from memory.
double excess_sigmas(double excess, double bp_minus_rp, double g_mag) {
    const double c = bp_minus_rp;
    double usual = 0.0;
    if (c < 0.5) {
        usual = 1.154360 + c * (0.033772 + c * 0.032277);
    } else if (c < 4.0) {
        usual = 1.162004 + c * (0.011464 + c * (0.049255 - c * 0.005879));
    } else {
        usual = 1.057572 + c * 0.140537;
    }
    const double sigma = 0.0059898 + 8.817481e-12 * std::pow(g_mag, 7.618399);
    return std::abs(excess - usual) / sigma;
}

class StarReader {
  public:
    StarReader(const RawCatalogue& raw, const SurveyColumns& columns) : raw_(raw), columns_(columns) {}

    void read(PhotometricStar& star) {
        const std::size_t row = star.star.row;
        star.row = row + 1;
        for (const MagnitudeColumn& m : columns_.magnitudes)
            read_magnitude(m, row, star.native);
        for (const MarkColumn& mark : columns_.marks)
            read_mark(mark, row, star.marks);
        read_excess(row, star);
    }

    [[nodiscard]] std::size_t without_err() const { return without_err_; }
    [[nodiscard]] std::size_t nulls() const { return nulls_; }

  private:
    void read_magnitude(const MagnitudeColumn& m, std::size_t row, NativeMagnitudes& native) {
        auto value = number(raw_.columns[m.column], row);
        if (!value) return;
        *value *= m.unit_mag;
        const auto err = error(m, row);
        // A colour of 0.999 is one; of magnitudes only what a list would not use for "none".
        const bool none = m.beside.empty() ? *value < least_mag || *value > most_mag ||
                                                 (!err && (is_nines(*value) || *value == 0.0))
                                           : std::abs(*value) > 9.0;
        if (none) {
            ++nulls_;
            return;
        }
        if (!m.beside.empty()) {
            const auto beside = native.find(m.beside);
            if (beside == native.end() || native.contains(m.native)) return;
            // What this shares with its neighbour's error is nothing beside a relation's scatter.
            native[m.native] = {beside->second.value + m.sign * *value,
                                std::hypot(beside->second.err, err.value_or(assumed_catalogue_err_mag))};
            return;
        }
        if (!err) ++without_err_;
        native[m.native] = {*value, std::hypot(err.value_or(assumed_catalogue_err_mag), columns_.floor_mag)};
    }

    // Above zero and no filler.
    [[nodiscard]] std::optional<double> error(const MagnitudeColumn& m, std::size_t row) const {
        if (m.err) {
            const auto err = number(raw_.columns[*m.err], row);
            if (err && *err > 0.0 && *err * m.err_unit_mag < most_err_mag) return *err * m.err_unit_mag;
        }
        if (m.flux_over_err) {
            const auto ratio = number(raw_.columns[*m.flux_over_err], row);
            if (ratio && *ratio > mag_per_relative_flux / most_err_mag) return mag_per_relative_flux / *ratio;
        }
        if (m.flux && m.flux_err) {
            const auto flux = number(raw_.columns[*m.flux], row),
                       err = number(raw_.columns[*m.flux_err], row);
            if (flux && err && *flux > 0.0 && *err > 0.0 && *err < *flux)
                return mag_per_relative_flux * *err / *flux;
        }
        return std::nullopt;
    }

    // Two stars' light in one window of the prism spoils BP and RP: common practice is to doubt beyond 5
    // sigma.
    void read_excess(std::size_t row, PhotometricStar& star) const {
        if (!columns_.excess) return;
        const auto excess = number(raw_.columns[*columns_.excess], row);
        const auto g = star.native.find("G"), bp = star.native.find("BP"), rp = star.native.find("RP");
        if (!excess || g == star.native.end() || bp == star.native.end() || rp == star.native.end()) return;
        if (excess_sigmas(*excess, bp->second.value - rp->second.value, g->second.value) < 5.0) return;
        if (!star.marks.any())
            star.marks.why = "BP and RP hold light that G does not: a neighbour's or the sky's";
        star.marks.doubtful = true;
    }

    void read_mark(const MarkColumn& mark, std::size_t row, StarMarks& marks) const {
        if (!holds(mark, row)) return;
        if (!marks.any()) marks.why = mark.why;
        marks.variable = marks.variable || mark.kind == MarkKind::variable;
        marks.several = marks.several || mark.kind == MarkKind::several;
        marks.extended = marks.extended || mark.kind == MarkKind::extended;
        marks.doubtful = marks.doubtful || mark.kind == MarkKind::doubtful;
    }

    [[nodiscard]] bool holds(const MarkColumn& mark, std::size_t row) const {
        const RawColumn& column = raw_.columns[mark.column];
        if (mark.test == MarkTest::says_yes) {
            if (const auto value = number(column, row)) return *value == 1.0;
            if (!column.is_text) return false;
            const std::string word = lower_case(trimmed(column.texts[row]));
            return word == "true" || word == "t" || word == "yes" || word == "y" || word == "variable" ||
                   word == "v";
        }
        auto value = number(column, row);
        if (!value) return false;
        if (mark.minus) {
            const auto other = number(raw_.columns[*mark.minus], row);
            // Two magnitudes: both must be there.
            if (!other || *value < least_mag || *value > most_mag || *other < least_mag || *other > most_mag)
                return false;
            *value -= *other;
        }
        switch (mark.test) {
            case MarkTest::above:
                return *value > mark.limit;
            case MarkTest::below:
                return *value < mark.limit;
            case MarkTest::bright:
                return least_mag < *value && *value < mark.limit;
            case MarkTest::has_bits:
                return *value >= 0.0 && *value < 9e15 &&
                       (static_cast<std::uint64_t>(*value) & static_cast<std::uint64_t>(mark.limit)) != 0;
            default:
                return *value == mark.limit;
        }
    }

    const RawCatalogue& raw_;
    const SurveyColumns& columns_;
    std::size_t without_err_ = 0, nulls_ = 0;
};

bool same_light(const NativeMagnitudes& a, const NativeMagnitudes& b) {
    for (const auto& [name, mag] : a) {
        const auto other = b.find(name);
        if (other != b.end()) return std::abs(mag.value - other->second.value) < same_light_mag;
    }
    return true;  // no magnitude in common: nothing speaks against it
}

double total_err(const NativeMagnitudes& native) {
    return std::accumulate(native.begin(), native.end(), 0.0,
                           [](double sum, const auto& entry) { return sum + entry.second.err; });
}

void add_marks(StarMarks& to, const StarMarks& from) {
    if (!to.any()) to.why = from.why;
    to.variable = to.variable || from.variable;
    to.several = to.several || from.several;
    to.extended = to.extended || from.extended;
    to.doubtful = to.doubtful || from.doubtful;
}

// A star that stands twice, by place and light or by place and name, is one: the better measured row stays.
std::size_t merge_twice(std::vector<PhotometricStar>& stars) {
    std::vector<std::size_t> by_dec(stars.size());
    std::iota(by_dec.begin(), by_dec.end(), std::size_t{0});
    std::sort(by_dec.begin(), by_dec.end(), [&](std::size_t a, std::size_t b) {
        return stars[a].star.position.dec.radians() < stars[b].star.position.dec.radians();
    });
    std::vector<bool> gone(stars.size(), false);
    for (std::size_t i = 0; i < by_dec.size(); ++i) {
        if (gone[by_dec[i]]) continue;
        for (std::size_t j = i + 1; j < by_dec.size(); ++j) {
            PhotometricStar& a = stars[by_dec[i]];
            PhotometricStar& b = stars[by_dec[j]];
            if ((b.star.position.dec - a.star.position.dec).arcseconds() > same_place_arcsec) break;
            if (gone[by_dec[j]] ||
                separation(a.star.position, b.star.position).arcseconds() > same_place_arcsec)
                continue;
            const bool same_name = !a.star.label.empty() && a.star.label == b.star.label;
            if (!same_name && !same_light(a.native, b.native)) continue;
            const bool b_is_better =
                b.native.size() > a.native.size() ||
                (b.native.size() == a.native.size() && total_err(b.native) < total_err(a.native));
            gone[b_is_better ? by_dec[i] : by_dec[j]] = true;
            add_marks(b_is_better ? b.marks : a.marks, b_is_better ? a.marks : b.marks);
            if (b_is_better) break;
        }
    }
    std::vector<PhotometricStar> left;
    for (std::size_t i = 0; i < stars.size(); ++i) {
        if (!gone[i]) left.push_back(std::move(stars[i]));
    }
    const std::size_t merged = stars.size() - left.size();
    stars = std::move(left);
    return merged;
}

std::optional<std::vector<std::size_t>> wanted_columns(const std::vector<RawColumn>& headings) {
    if (!choose_columns(headings) || !survey_columns(headings)) return std::nullopt;
    std::vector<std::size_t> all(headings.size());
    std::iota(all.begin(), all.end(), std::size_t{0});
    return all;
}

}  // namespace

Result<PhotometricCatalogue> read_photometric_catalogue(const std::string& path,
                                                        std::optional<double> epoch_jyear) {
    const auto raw = read_raw_catalogue(path, wanted_columns);
    if (!raw) return fail(raw.error());
    const auto chosen = choose_columns(raw->columns);
    if (!chosen) return fail(at(path, chosen.error()));
    const auto survey = survey_columns(raw->columns);
    if (!survey) return fail(at(path, survey.error()));
    auto field = stars_of(*raw, *chosen, path, epoch_jyear);
    if (!field) return fail(field.error());
    PhotometricCatalogue catalogue{.source = path,
                                   .survey = survey->survey,
                                   .system = survey->system,
                                   .stars = {},
                                   .epoch_jyear = field->epoch_jyear,
                                   .remarks = std::move(field->remarks)};
    // Its second release gave positions for 2015.5, and its bands were a little others.
    if (catalogue.system == "gaia-dr3" && catalogue.epoch_jyear &&
        std::abs(*catalogue.epoch_jyear - 2015.5) < 0.01) {
        catalogue.remarks.push_back(
            "The positions are of 2015.5, as in the survey's second release; the relations are those of the "
            "third, whose bands differ by some 0.02 mag.");
    }
    catalogue.remarks.insert(catalogue.remarks.end(), survey->remarks.begin(), survey->remarks.end());
    // Of the one magnitude that plates are solved by; here the survey's own count.
    std::erase(catalogue.remarks, no_magnitudes_remark);
    StarReader reader(*raw, *survey);
    std::size_t dark = 0;
    for (CatalogueStar& star : field->stars) {
        PhotometricStar& out = catalogue.stars.emplace_back();
        out.star = std::move(star);
        reader.read(out);
        if (out.native.empty()) {
            catalogue.stars.pop_back();
            ++dark;
        }
    }
    if (catalogue.stars.empty()) {
        return fail({.what = fmt::format("None of the {} rows has a magnitude.", field->stars.size()),
                     .where = path,
                     .mend = "Ask the service for stars with magnitudes, or look at how it writes them."});
    }
    const auto remark = [&](std::size_t n, const char* what) {
        if (n > 0) catalogue.remarks.push_back(fmt::format("{} {}", n, what));
    };
    remark(dark, "rows have no magnitude and are left out.");
    remark(reader.nulls(), "magnitudes are fillers such as 99.99 and are taken as none.");
    if (reader.without_err() > 0) {
        catalogue.remarks.push_back(fmt::format("{} magnitudes have no error: {} mag is taken.",
                                                reader.without_err(), assumed_catalogue_err_mag));
    }
    remark(merge_twice(catalogue.stars), "stars stand twice in the table: the better measured row is kept.");
    return catalogue;
}

StandardStars on_bands(const PhotometricCatalogue& catalogue, const std::vector<Band>& bands,
                       double epoch_jyear) {
    StandardStars out;
    std::set<Band> own;  // TG and V are both put on V
    for (const Band& band : bands)
        own.insert(sequence_band(band));
    std::map<Band, std::pair<std::size_t, std::string>> refused;  // how many, and why the first
    for (const PhotometricStar& star : catalogue.stars) {
        StandardStar standard;
        standard.label = star.star.label;
        standard.position = reference_at(star.star, catalogue.epoch_jyear, epoch_jyear).position;
        standard.marks = star.marks;
        standard.row = star.row;
        for (const Band& band : own) {
            if (const auto native = star.native.find(band.name()); native != star.native.end()) {
                standard.magnitudes[band] = native->second;
                standard.by[band] = "catalogue";
                continue;
            }
            const auto converted = convert(band, star.native);
            if (converted) {
                standard.magnitudes[band] = converted->magnitude;
                standard.by[band] = converted->equation->name;
            } else if (refused[band].first++ == 0) {
                refused[band].second = converted.error().what;
            }
        }
        if (!standard.magnitudes.empty()) out.stars.push_back(std::move(standard));
    }
    for (const auto& [band, why] : refused) {
        out.remarks.push_back(fmt::format("{} of {} star{}: none. {}{}", band.name(), why.first,
                                          why.first == 1 ? "" : "s", why.second,
                                          why.first == 1 ? "" : " (the first of them)"));
    }
    return out;
}

}  // namespace emberline::standard
