// SPDX-License-Identifier: MIT
#include "standard/photometric_catalogue.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <numeric>

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
constexpr double mag_of_relative_flux = 1.0857362047581294;  // 2.5 / ln 10

std::optional<double> number(const RawColumn& column, std::size_t row) {
    std::optional<double> value;
    if (column.is_text) {
        if (!is_blank(column.texts[row])) value = parse_number(column.texts[row]);
    } else {
        value = column.numbers[row];
    }
    return value && std::isfinite(*value) ? value : std::nullopt;
}

// Nines all the way, as lists write "none": 9.999, 99.9, 99.999. 9.99 alone is a star's magnitude.
bool is_nines(double value) {
    for (const double none : {9.999, 9.9999, 99.0, 99.9, 99.99, 99.999, 99.9999}) {
        if (std::abs(value - none) < 1e-9) return true;
    }
    return false;
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
    }

    [[nodiscard]] std::size_t without_err() const { return without_err_; }
    [[nodiscard]] std::size_t nulls() const { return nulls_; }

  private:
    void read_magnitude(const MagnitudeColumn& m, std::size_t row, NativeMagnitudes& native) {
        const auto value = number(raw_.columns[m.column], row);
        if (!value) return;
        const auto err = error(m, row);
        // A colour of 0.999 is one; of magnitudes only what a list would not use for "none".
        const bool none = m.beside.empty() ? *value < least_mag || *value > most_mag ||
                                                 (is_nines(*value) && (!err || *value > 90.0))
                                           : std::abs(*value) > 9.0;
        if (none) {
            ++nulls_;
            return;
        }
        if (!m.beside.empty()) {
            const auto beside = native.find(m.beside);
            if (beside == native.end() || native.contains(m.native)) return;
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
            if (err && *err > 0.0 && *err < most_err_mag) return err;
        }
        if (m.flux_over_err) {
            const auto ratio = number(raw_.columns[*m.flux_over_err], row);
            if (ratio && *ratio > mag_of_relative_flux / most_err_mag) return mag_of_relative_flux / *ratio;
        }
        return std::nullopt;
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
    std::map<Band, std::pair<std::size_t, std::string>> refused;  // how many, and why the first
    for (const PhotometricStar& star : catalogue.stars) {
        StandardStar standard;
        standard.label = star.star.label;
        standard.position = reference_at(star.star, catalogue.epoch_jyear, epoch_jyear).position;
        standard.marks = star.marks;
        standard.row = star.row;
        for (const Band& asked : bands) {
            const Band band = sequence_band(asked);
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
