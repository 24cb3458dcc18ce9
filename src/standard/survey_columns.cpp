// SPDX-License-Identifier: MIT
#include "standard/survey_columns.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <initializer_list>
#include <string_view>
#include <utility>

#include "quantities/band.hpp"
#include "quantities/text.hpp"

namespace emberline::standard {
namespace {

using Place = std::optional<std::size_t>;
using Names = std::initializer_list<std::string_view>;

// "coord.Gmag [mag]" → "Gmag". Its case is kept: Gmag is Gaia's, gmag another survey's.
std::string bare_name(const std::string& written) {
    std::string_view name = trimmed(written);
    if (const auto bracket = name.find_first_of("[("); bracket != std::string_view::npos && bracket > 0)
        name = trimmed(name.substr(0, bracket));
    if (const auto dot = name.rfind('.'); dot != std::string_view::npos && dot + 1 < name.size())
        name = name.substr(dot + 1);
    while (name.size() > 1 && name.front() == '_')
        name.remove_prefix(1);
    std::string out(name);
    std::erase(out, '"');
    return out;
}

// Of a column that says nothing, or magnitudes; 0.001 of millimagnitudes. Nothing: another unit, such as that
// of a velocity V or a latitude B.
std::optional<double> magnitudes_in(const RawColumn& column) {
    std::string unit = lower_case(trimmed(column.unit));
    if (const auto bracket = column.name.find('[');
        unit.empty() && bracket != std::string::npos && bracket > 0)
        unit = lower_case(trimmed(std::string_view(column.name).substr(bracket)));
    std::erase_if(unit, [](char c) { return c == '[' || c == ']' || c == ' '; });
    if (unit.empty() || unit.starts_with("mag")) return 1.0;
    if (unit == "mmag" || unit == "0.001mag") return 0.001;
    if (unit == "cmag" || unit == "0.01mag" || unit == "10mmag") return 0.01;
    return std::nullopt;
}

class Survey {
  public:
    explicit Survey(const std::vector<RawColumn>& columns) : columns_(columns) {
        for (const RawColumn& column : columns)
            names_.push_back(bare_name(column.name));
    }

    Result<SurveyColumns> recognise() {
        const bool known = gaia() || pan_starrs() || sdss() || apass() || standards() || plain();
        if (known) return std::move(out_);
        std::string seen;
        for (std::size_t i = 0; i < columns_.size() && i < 15; ++i)
            seen += fmt::format("{}'{}'", i == 0 ? "" : ", ", columns_[i].name);
        return fail(
            {.what = "The table has no magnitude of a band or a survey that is known here.",
             .where = fmt::format("columns {}", seen),
             .mend = "It needs Gaia's G, BP and RP, Pan-STARRS's or SDSS's g, r, i, APASS's B, V, g, r, i, a "
                     "list of standards (V, B-V …), or columns named as bands with their errors (V, "
                     "V_err)."});
    }

  private:
    [[nodiscard]] Place exactly(std::string_view name) const {
        const auto found = std::find(names_.begin(), names_.end(), name);
        return found == names_.end() ? std::nullopt : Place(static_cast<std::size_t>(found - names_.begin()));
    }
    [[nodiscard]] Place of(Names names) const {
        for (const std::string_view name : names) {
            if (const Place found = exactly(name)) return found;
        }
        return std::nullopt;
    }
    // Where case does not tell anything.
    [[nodiscard]] Place any_case(Names names) const {
        for (const std::string_view name : names) {
            for (std::size_t i = 0; i < names_.size(); ++i) {
                if (lower_case(names_[i]) == name) return i;
            }
        }
        return std::nullopt;
    }

    [[nodiscard]] Place by_meaning(const std::string& ucd) const {
        for (std::size_t i = 0; i < columns_.size(); ++i) {
            const std::string meaning = lower_case(columns_[i].meaning);
            if (meaning == lower_case(ucd) || meaning == lower_case(ucd) + ";meta.main") return i;
        }
        return std::nullopt;
    }

    void magnitude(std::string native, Place column, Place err, Place flux_over_err = std::nullopt) {
        const auto unit_mag = column ? magnitudes_in(columns_[*column]) : std::nullopt;
        if (!unit_mag) return;
        const auto err_unit_mag = err ? magnitudes_in(columns_[*err]) : std::nullopt;
        if (!err_unit_mag) err.reset();
        out_.magnitudes.push_back({.native = std::move(native),
                                   .column = *column,
                                   .err = err,
                                   .flux_over_err = flux_over_err,
                                   .flux = {},
                                   .flux_err = {},
                                   .unit_mag = *unit_mag,
                                   .err_unit_mag = err_unit_mag.value_or(1.0),
                                   .beside = {},
                                   .sign = 1.0});
    }
    void mark(Place column, MarkKind kind, MarkTest test, double limit, std::string why) {
        if (column) {
            out_.marks.push_back({.column = *column,
                                  .minus = {},
                                  .kind = kind,
                                  .test = test,
                                  .limit = limit,
                                  .why = std::move(why)});
        }
    }
    // Deep surveys saturate on the stars that small telescopes compare with. Both give limits near 14 that
    // depend on the seeing: common practice, no source.
    void saturated(const std::string& survey, std::initializer_list<std::string_view> bands) {
        for (const MagnitudeColumn& m : out_.magnitudes) {
            if (std::find(bands.begin(), bands.end(), m.native) == bands.end()) continue;
            mark(m.column, MarkKind::doubtful, MarkTest::bright, 14.0,
                 fmt::format("{} saturates above the 14th magnitude", survey));
        }
    }
    void usual_marks() {
        mark(any_case({"variable", "varflag", "phot_variable_flag", "var"}), MarkKind::variable,
             MarkTest::says_yes, 0.0, "the catalogue says that it varies");
    }

    bool gaia() {
        const Place g = of({"phot_g_mean_mag", "Gmag"});
        const Place bp = of({"phot_bp_mean_mag", "BPmag"}), rp = of({"phot_rp_mean_mag", "RPmag"});
        if (!g || !bp || !rp) return false;
        out_.survey = "Gaia DR3";
        out_.system = "gaia-dr3";
        magnitude("G", g, of({"phot_g_mean_mag_error", "e_Gmag"}), of({"phot_g_mean_flux_over_error"}));
        magnitude("BP", bp, of({"phot_bp_mean_mag_error", "e_BPmag"}), of({"phot_bp_mean_flux_over_error"}));
        magnitude("RP", rp, of({"phot_rp_mean_mag_error", "e_RPmag"}), of({"phot_rp_mean_flux_over_error"}));
        for (MagnitudeColumn& m : out_.magnitudes) {
            const std::string band = lower_case(m.native);
            const std::string flux = fmt::format("phot_{}_mean_flux", band), flux_err = flux + "_error";
            m.flux = of({flux, "F" + m.native});
            m.flux_err = of({flux_err, "e_F" + m.native});
        }
        out_.floor_mag = 0.003;
        out_.excess = of({"phot_bp_rp_excess_factor", "E_BP_RP"});
        usual_marks();
        // Above 1.4 a single star hardly comes: the survey's own advice (from memory).
        mark(any_case({"ruwe"}), MarkKind::several, MarkTest::above, 1.4,
             "its path fits no single star (RUWE above 1.4)");
        mark(any_case({"duplicated_source", "dup"}), MarkKind::several, MarkTest::says_yes, 0.0,
             "the survey saw it twice");
        mark(any_case({"non_single_star", "nss"}), MarkKind::several, MarkTest::above, 0.5,
             "the survey lists it as no single star");
        mark(any_case({"in_galaxy_candidates", "gal"}), MarkKind::extended, MarkTest::says_yes, 0.0,
             "it may be a galaxy");
        mark(any_case({"in_qso_candidates", "qso"}), MarkKind::variable, MarkTest::says_yes, 0.0,
             "it may be a quasar");
        return true;
    }

    bool pan_starrs() {
        const bool own_names = of({"gMeanPSFMag", "rMeanPSFMag"}).has_value();
        const bool its_own = of({"ymag", "gKmag", "rKmag", "iKmag", "Qual", "Nd"}).has_value();
        const bool mirrored = of({"gmag"}) && of({"rmag"}) && its_own && !of({"umag"});
        if (!own_names && !mirrored) return false;
        out_.survey = "Pan-STARRS DR1";
        out_.system = "ps1";
        for (const char band : {'g', 'r', 'i', 'z', 'y'}) {
            const std::string own = fmt::format("{}MeanPSFMag", band), own_err = own + "Err";
            const std::string other = fmt::format("{}mag", band), other_err = "e_" + other;
            magnitude(fmt::format("{}P1", band), of({own, other}), of({own_err, other_err}));
        }
        out_.floor_mag = 0.01;
        usual_marks();
        // Light beyond a point's: common practice, no source.
        for (const auto& [point, whole] :
             {std::pair("iMeanPSFMag", "iMeanKronMag"), std::pair("imag", "iKmag")}) {
            const Place psf = exactly(point), kron = exactly(whole);
            if (!psf || !kron) continue;
            mark(psf, MarkKind::extended, MarkTest::above, 0.05, "it has light beyond a point's: a galaxy");
            out_.marks.back().minus = kron;
        }
        saturated(out_.survey, {"gP1", "rP1", "iP1"});
        // The survey's own flags of objects and of their quality, from memory.
        mark(any_case({"qual", "qualityflag"}), MarkKind::extended, MarkTest::has_bits, 1 + 2,
             "the survey flags it as extended");
        const Place flags = any_case({"objinfoflag", "f_objid"});
        mark(flags, MarkKind::extended, MarkTest::has_bits, 0x800000 + 0x1000000,
             "the survey flags it as extended");
        mark(flags, MarkKind::variable, MarkTest::has_bits, 0x80 + 0x100, "the survey flags it as variable");
        mark(any_case({"ndetections", "nd"}), MarkKind::doubtful, MarkTest::below, 2.5,
             "the survey saw it fewer than three times");
        return true;
    }

    bool sdss() {
        const bool own_names = of({"psfMag_g", "modelMag_g"}) && of({"psfMag_r", "modelMag_r"});
        const bool mirrored = of({"umag"}) && of({"gmag"}) && of({"rmag"});
        const bool short_names =
            of({"u"}) && of({"g"}) && of({"r"}) && of({"i"}) && of({"Err_g", "err_g", "psfMagErr_g"});
        if (!own_names && !mirrored && !short_names) return false;
        out_.survey = "SDSS";
        out_.system = "sdss";
        for (const char band : {'u', 'g', 'r', 'i', 'z'}) {
            const std::string psf = fmt::format("psfMag_{}", band),
                              psf_err = fmt::format("psfMagErr_{}", band);
            const std::string model = fmt::format("modelMag_{}", band),
                              model_err = fmt::format("modelMagErr_{}", band);
            const std::string other = fmt::format("{}mag", band), other_err = "e_" + other;
            const std::string letter(1, band), letter_err = fmt::format("Err_{}", band),
                                               small_err = fmt::format("err_{}", band);
            magnitude(letter, of({psf, model, other, letter}),
                      of({psf_err, model_err, other_err, letter_err, small_err}));
        }
        out_.floor_mag = 0.01;
        usual_marks();
        saturated(out_.survey, {"g", "r", "i"});
        mark(any_case({"type", "class", "cl"}), MarkKind::extended, MarkTest::equals, 3.0,
             "the survey calls it a galaxy");
        // The survey's own border between stars and galaxies, from memory.
        for (const char* whole : {"cModelMag_r", "modelMag_r"}) {
            const Place psf = exactly("psfMag_r"), model = exactly(whole);
            if (!psf || !model) continue;
            mark(psf, MarkKind::extended, MarkTest::above, 0.145, "it has light beyond a point's: a galaxy");
            out_.marks.back().minus = model;
        }
        mark(any_case({"clean"}), MarkKind::doubtful, MarkTest::below, 0.5, "its photometry is not clean");
        mark(any_case({"q"}), MarkKind::doubtful, MarkTest::below, 1.5, "the survey calls its quality bad");
        return true;
    }

    bool apass() {
        const Place v = of({"Vmag", "Johnson_V"});
        const Place g = of({"g'mag", "g_mag", "gpmag", "Sloan_g"});
        if (!v || !g) return false;
        out_.survey = "APASS";
        out_.system = "johnson-cousins";
        magnitude("V", v, of({"e_Vmag", "Verr", "V_err"}));
        magnitude("B", of({"Bmag", "Johnson_B"}), of({"e_Bmag", "B_err", "Berr"}));
        for (const char band : {'u', 'g', 'r', 'i', 'z'}) {
            const std::string primed = fmt::format("{}'mag", band), low = fmt::format("{}_mag", band);
            const std::string p = fmt::format("{}pmag", band), own = fmt::format("Sloan_{}", band);
            magnitude(std::string(1, band), of({primed, low, p, own}),
                      of({"e_" + primed, "e_" + low, "e_" + p, fmt::format("{}_err", band),
                          fmt::format("{}err", band)}));
        }
        out_.floor_mag = 0.02;
        usual_marks();
        mark(any_case({"nobs", "number_of_obs", "mobs"}), MarkKind::doubtful, MarkTest::below, 1.5,
             "the survey observed it once only");
        return true;
    }

    // V with colours: a list of standards.
    bool standards() {
        const Place v = of({"V", "Vmag"});
        const Place b_v = of({"B-V", "B_V", "BV"});
        if (!v || !b_v) return false;
        out_.survey = "a list of standards";
        out_.system = "johnson-cousins";
        magnitude("V", v, of({"e_V", "e_Vmag", "V_err", "Verr"}));
        const auto colour = [&](std::string native, std::string beside, double sign, Place column,
                                Place err) {
            if (!column || !magnitudes_in(columns_[*column])) return;
            magnitude(std::move(native), column, err);
            out_.magnitudes.back().beside = std::move(beside);
            out_.magnitudes.back().sign = sign;
        };
        colour("B", "V", 1.0, b_v, of({"e_B-V", "e_B_V", "e_BV"}));
        colour("U", "B", 1.0, of({"U-B", "U_B", "UB"}), of({"e_U-B", "e_U_B", "e_UB"}));
        colour("Rc", "V", -1.0, of({"V-R", "V_R", "VR", "V-Rc"}), of({"e_V-R", "e_V_R", "e_VR"}));
        colour("Ic", "V", -1.0, of({"V-I", "V_I", "VI", "V-Ic"}), of({"e_V-I", "e_V_I", "e_VI"}));
        colour("Ic", "Rc", -1.0, of({"R-I", "R_I", "RI"}), of({"e_R-I", "e_R_I", "e_RI"}));
        usual_marks();
        mark(any_case({"nobs", "n"}), MarkKind::doubtful, MarkTest::below, 1.5,
             "the list's author observed it once only");
        return true;
    }

    // Columns named as bands: V, V_err; Bmag, e_Bmag; B_mag, B_mag_err.
    bool plain() {
        for (const BandFacts& band : all_bands()) {
            if (band.calibrated_on != band.name) continue;
            Place column;
            std::string found;
            for (const std::string& name :
                 {band.name, band.name + "mag", band.name + "_mag", "mag_" + band.name, "mag" + band.name}) {
                if (!column && exactly(name)) {
                    column = exactly(name);
                    found = name;
                }
            }
            // R and I in a list of standards are Cousins's.
            if (!column && (band.name == "Rc" || band.name == "Ic")) {
                found = band.name.substr(0, 1);
                column = of({found, found + "mag"});
            }
            Place err;
            if (!column && (band.name == "U" || band.name == "B" || band.name == "V")) {
                // A name of its own, but the meaning of a band: IVOA's vocabulary has those of U, B and V.
                // Its em.opt.R and em.opt.I are wide ranges, not bands of one system.
                column = by_meaning("phot.mag;em.opt." + band.name);
                err = by_meaning("stat.error;phot.mag;em.opt." + band.name);
            }
            if (!column) continue;
            for (const std::string& name :
                 {found + "_err", found + "err", "e_" + found, "err_" + found, found + "_error",
                  "sigma_" + found, found + "_sigma", "s" + found, found + "_e", "e" + found}) {
                if (!err) err = exactly(name);
            }
            magnitude(band.name, column, err);
        }
        if (out_.magnitudes.empty()) return false;
        // One and the same heading of two surveys, whose g differs by 0.08 mag for a star like the Sun.
        if (of({"gmag"}) || of({"rmag"}) || of({"imag"})) {
            out_.remarks.emplace_back(
                "Nothing says whether gmag, rmag and imag are SDSS's or Pan-STARRS's: SDSS's are taken. If "
                "they are Pan-STARRS's, ask the service for ymag too, and they are known.");
        }
        out_.survey = "a table of magnitudes";
        out_.system = "johnson-cousins";
        usual_marks();
        return true;
    }

    const std::vector<RawColumn>& columns_;
    std::vector<std::string> names_;
    SurveyColumns out_;
};

}  // namespace

Result<SurveyColumns> survey_columns(const std::vector<RawColumn>& columns) {
    return Survey(columns).recognise();
}

}  // namespace emberline::standard
