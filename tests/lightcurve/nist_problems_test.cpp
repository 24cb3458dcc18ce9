// SPDX-License-Identifier: MIT
// The Statistical Reference Datasets of NIST through the light curves' fitter. y stands as a magnitude, x as
// a time. A magnitude must lie within 60 of zero, so y is divided by a round number where it does not; so are
// its errors, for which the published residual deviation stands, and the model.
#include <complex>
#include <functional>
#include <map>
#include <numeric>

#include "expected_table.hpp"
#include "lightcurve/curves.hpp"

using namespace emberline;
using namespace emberline::test;

namespace {

using Number = std::complex<double>;
using Formula = std::function<Number(double x, std::span<const Number> b)>;

// A formula of the collection as a model of a light curve. Derivatives by a step along the imaginary axis,
// which nothing is subtracted from: exact to rounding (Squire & Trapp 1998, SIAM Rev. 40, 110).
class Published final : public lightcurve::Model {
  public:
    Published(std::string name, Formula formula, double reference, double scale,
              std::vector<std::vector<double>> starts)
        : name_(std::move(name)),
          formula_(std::move(formula)),
          reference_(reference),
          scale_(scale),
          starts_(std::move(starts)) {}
    [[nodiscard]] std::string name() const override { return name_; }
    [[nodiscard]] std::string source() const override { return "NIST StRD"; }
    [[nodiscard]] std::vector<lightcurve::ParameterInfo> parameters(double) const override {
        std::vector<lightcurve::ParameterInfo> infos;
        for (std::size_t j = 0; j < starts_[0].size(); ++j)
            infos.push_back({"b" + std::to_string(j + 1), "", "Of the published formula."});
        return infos;
    }
    [[nodiscard]] Result<std::vector<std::vector<double>>> starts(const lightcurve::LightCurve&,
                                                                  double reference) const override {
        CHECK(reference == Approx(reference_).epsilon(1e-12));
        return starts_;
    }
    [[nodiscard]] double magnitude(double days, std::span<const double> b) const override {
        const std::vector<Number> z(b.begin(), b.end());
        return formula_(days + reference_, z).real() / scale_;
    }
    void gradient(double days, std::span<const double> b, std::span<double> slopes) const override {
        constexpr double tiny = 1e-30;
        std::vector<Number> z(b.begin(), b.end());
        for (std::size_t j = 0; j < z.size(); ++j) {
            z[j] += Number(0.0, tiny);
            slopes[j] = formula_(days + reference_, z).imag() / tiny / scale_;
            z[j] = b[j];
        }
    }
    [[nodiscard]] bool allowed(std::span<const double> b) const override {
        return std::all_of(b.begin(), b.end(), [](double v) { return std::isfinite(v); });
    }

  private:
    std::string name_;
    Formula formula_;
    double reference_, scale_;
    std::vector<std::vector<double>> starts_;
};

struct Exercise {
    std::string name;
    double scale;  // of y
    Formula formula;
};

Number square(Number v) {
    return v * v;
}

const std::vector<Exercise>& nonlinear_problems() {
    static const std::vector<Exercise> problems{
        {"Misra1a", 10.0, [](double x, auto b) { return b[0] * (1.0 - std::exp(-b[1] * x)); }},
        {"Misra1b", 10.0, [](double x, auto b) { return b[0] * (1.0 - 1.0 / square(1.0 + b[1] * x / 2.0)); }},
        {"BoxBOD", 10.0, [](double x, auto b) { return b[0] * (1.0 - std::exp(-b[1] * x)); }},
        {"DanWood", 1.0, [](double x, auto b) { return b[0] * std::exp(b[1] * std::log(x)); }},
        {"Thurber", 100.0,
         [](double x, auto b) {
             return (b[0] + x * (b[1] + x * (b[2] + x * b[3]))) / (1.0 + x * (b[4] + x * (b[5] + x * b[6])));
         }},
        {"MGH09", 1.0,
         [](double x, auto b) { return b[0] * (x * x + x * b[1]) / (x * x + x * b[2] + b[3]); }},
        {"Eckerle4", 1.0,
         [](double x, auto b) { return b[0] / b[1] * std::exp(-0.5 * square((x - b[2]) / b[1])); }},
        {"Rat42", 10.0, [](double x, auto b) { return b[0] / (1.0 + std::exp(b[1] - b[2] * x)); }},
        {"Chwirut2", 10.0, [](double x, auto b) { return std::exp(-b[0] * x) / (b[1] + b[2] * x); }},
        {"Kirby2", 10.0,
         [](double x, auto b) { return (b[0] + x * (b[1] + x * b[2])) / (1.0 + x * (b[3] + x * b[4])); }},
        {"Gauss1", 10.0, [](double x, auto b) {
             return b[0] * std::exp(-b[1] * x) + b[2] * std::exp(-square((x - b[3]) / b[4])) +
                    b[5] * std::exp(-square((x - b[6]) / b[7]));
         }}};
    return problems;
}

std::string file_of(std::string name) {
    for (char& c : name)
        c = static_cast<char>(std::tolower(c));
    return "numerics/nist_" + name + ".csv";
}

// `time_of` the row's number and fields.
lightcurve::LightCurve as_curve(const DelimitedTable& data, double scale, double residual_sd, auto time_of) {
    auto curve = empty_curve();
    for (std::size_t i = 0; i < data.rows.size(); ++i) {
        auto point = measured(0.0, std::stod(data.rows[i].fields[0]) / scale, residual_sd / scale);
        point.bjd_tdb = time_of(i);
        curve.points.push_back(point);
    }
    return curve;
}

// Errors are all equal, so the fit's reference is the mean time.
double mean_time(const lightcurve::LightCurve& curve) {
    double sum = 0.0;
    for (const auto& point : curve.points)
        sum += point.bjd_tdb;
    return sum / static_cast<double>(curve.points.size());
}

struct Certified {
    std::vector<std::vector<double>> starts{2};
    std::vector<double> value, sd;
    double residual_sd = 0.0, squares = 0.0;
};

void check_against(const lightcurve::CurveFit& fit, const Certified& certified, double digits) {
    const double squares = fit.chi2 * certified.residual_sd * certified.residual_sd;
    CHECK(squares == Approx(certified.squares).epsilon(1e-8));
    const double residual = std::sqrt(fit.chi2 / static_cast<double>(fit.dof));
    for (std::size_t j = 0; j < certified.value.size(); ++j) {
        INFO("b" << j + 1);
        // Six digits, or a millionth of its error where that is larger: Longley's b6 is a fifth of its own.
        CHECK(fit.parameters[j] ==
              Approx(certified.value[j])
                  .epsilon(0)
                  .margin(digits * std::max(std::abs(certified.value[j]), certified.sd[j])));
        CHECK(residual * std::sqrt(fit.covariance(j, j)) == Approx(certified.sd[j]).epsilon(digits));
    }
}

}  // namespace

TEST_CASE("NIST's non-linear problems come out to six digits from both published starts", "[nist]") {
    const auto table = expected_table("numerics/nist_nonlinear_certified.csv");
    for (const Exercise& problem : nonlinear_problems()) {
        Certified certified;
        for (const TableRow& row : table.rows) {
            if (text(table, row, "dataset") != problem.name) continue;
            certified.starts[0].push_back(number(table, row, "start1"));
            certified.starts[1].push_back(number(table, row, "start2"));
            certified.value.push_back(number(table, row, "certified"));
            certified.sd.push_back(number(table, row, "certified_sd"));
            certified.residual_sd = number(table, row, "residual_sd");
            certified.squares = number(table, row, "residual_sum_of_squares");
        }
        REQUIRE(certified.value.size() > 1);
        const auto data = expected_table(file_of(problem.name));
        const auto curve = as_curve(data, problem.scale, certified.residual_sd,
                                    [&](std::size_t i) { return std::stod(data.rows[i].fields[1]); });
        const auto fit_from = [&](std::vector<std::vector<double>> starts) {
            return lightcurve::fit(
                curve,
                std::make_shared<Published>(problem.name, problem.formula, mean_time(curve), problem.scale,
                                            std::move(starts)),
                plain);
        };
        for (std::size_t s = 0; s < 2; ++s) {
            INFO(problem.name << " from start " << s + 1);
            const auto fit = fit_from({certified.starts[s]});
            INFO((fit ? std::string() : one_line(fit.error())));
            REQUIRE(fit);
            check_against(*fit, certified, 1e-6);
        }
        INFO(problem.name << " from both");
        const auto both = fit_from(certified.starts);
        REQUIRE(both);
        check_against(*both, certified, 1e-6);
        CHECK(both->starts == 2);
        // From its first start this one leads over a plain, where the cheap look at starts gives up.
        const bool far_away = problem.name == "MGH09";
        CHECK(both->starts_agreeing == (far_away ? 1 : 2));
    }
}

TEST_CASE("NIST's linear problems come out to six digits, Longley's near dependence included", "[nist]") {
    const auto table = expected_table("numerics/nist_linear_certified.csv");
    // y / 2000 keeps Longley's 70551 within 60.
    for (const auto& [name, scale] : std::map<std::string, double>{
             {"Norris", 20.0}, {"Longley", 2000.0}, {"NoInt1", 10.0}, {"NoInt2", 1.0}}) {
        INFO(name);
        Certified certified;
        bool intercept = false;
        for (const TableRow& row : table.rows) {
            if (text(table, row, "dataset") != name) continue;
            intercept = intercept || text(table, row, "parameter") == "B0";
            certified.value.push_back(number(table, row, "value_15_digits"));
            certified.sd.push_back(number(table, row, "sd_15_digits"));
            certified.residual_sd = number(table, row, "residual_sd");
            certified.squares = number(table, row, "residual_sum_of_squares");
        }
        REQUIRE_FALSE(certified.value.empty());
        const auto data = expected_table(file_of(name));
        // Several columns of x, so that the time is the number of the row.
        const Formula formula = [&, intercept = intercept](double x, std::span<const Number> b) {
            const auto& row = data.rows[static_cast<std::size_t>(std::lround(x))];
            Number sum = intercept ? b[0] : 0.0;
            for (std::size_t j = intercept ? 1 : 0; j < b.size(); ++j)
                sum += b[j] * std::stod(row.fields[intercept ? j : j + 1]);
            return sum;
        };
        const auto curve = as_curve(data, scale, certified.residual_sd,
                                    [](std::size_t i) { return static_cast<double>(i); });
        const std::vector<std::vector<double>> start{std::vector<double>(certified.value.size())};
        const auto fit = lightcurve::fit(
            curve, std::make_shared<Published>(name, formula, mean_time(curve), scale, start), plain);
        INFO((fit ? std::string() : one_line(fit.error())));
        REQUIRE(fit);
        check_against(*fit, certified, 1e-6);
    }
}

TEST_CASE("a parabola through unequal errors is the one worked to 50 digits elsewhere", "[nist]") {
    // Not NIST's: fit_lightcurve.csv and stats_checks.csv, both computed with mpmath.
    const auto table = expected_table("fit_lightcurve.csv"),
               checks = expected_table("numerics/stats_checks.csv");
    const auto answer = [&](const std::string& name) {
        for (const auto& row : checks.rows) {
            if (text(checks, row, "name") == name) return number(checks, row, "value");
        }
        FAIL(name);
        return 0.0;
    };
    auto curve = empty_curve();
    double sum_w = 0.0, sum_wt = 0.0;
    for (std::size_t i = 0; i < 9; ++i) {
        const double t = number(table, table.rows[i], "t_days"), err = number(table, table.rows[i], "sigma");
        curve.points.push_back(measured(0.0, number(table, table.rows[i], "mag"), err));
        curve.points.back().bjd_tdb = t;
        sum_w += 1.0 / (err * err);
        sum_wt += t / (err * err);
    }
    const auto parabola = [](double x, std::span<const Number> c) { return c[0] + x * (c[1] + x * c[2]); };
    const auto fit =
        lightcurve::fit(curve,
                        std::make_shared<Published>("parabola", parabola, sum_wt / sum_w, 1.0,
                                                    std::vector<std::vector<double>>{{12.0, 0.0, 0.0}}),
                        plain);
    REQUIRE(fit);
    CHECK(fit->parameters[0] == Approx(answer("quadratic (9 pts): c0")).epsilon(1e-10));
    CHECK(fit->parameters[1] == Approx(answer("quadratic c1")).epsilon(1e-8));
    CHECK(fit->parameters[2] == Approx(answer("quadratic c2")).epsilon(1e-6));
    CHECK(std::sqrt(fit->covariance(2, 2)) == Approx(answer("quadratic sigma c2")).epsilon(1e-8));
    CHECK(fit->chi2 == Approx(answer("quadratic chi2")).epsilon(1e-8));
}
