// SPDX-License-Identifier: MIT
#include "lightcurve/choose_model.hpp"

#include "lightcurve/curves.hpp"

using namespace emberline;
using namespace emberline::test;
using Catch::Contains;
using numerics::Random;

namespace {

// Flat or bent curves for fits that are made up by hand.
class Curve final : public lightcurve::Prediction {
  public:
    explicit Curve(double bend) : bend_(bend) {}
    [[nodiscard]] ValueWithError magnitude(double bjd_tdb) const override {
        return {15.0 + bend_ * (bjd_tdb - epoch_bjd), 0.01};
    }
    [[nodiscard]] numerics::Matrix draws(std::span<const double>, std::size_t,
                                         numerics::Random&) const override {
        return {};
    }

  private:
    double bend_;
};

lightcurve::CurveFit made_up(const std::string& name, std::size_t parameters, double bic, double bend = 0.0) {
    lightcurve::CurveFit fit;
    fit.model = name;
    fit.parameters.resize(parameters);
    fit.bic = bic;
    fit.n = 20;
    fit.from_bjd_tdb = epoch_bjd;
    fit.to_bjd_tdb = epoch_bjd + 30.0;
    fit.prediction = std::make_shared<Curve>(bend);
    return fit;
}

// A fade that breaks at day 20, with errors of 0.02 mag and one night in ten that is far off.
lightcurve::LightCurve broken_fade(Random& random, double late_rate) {
    auto curve = empty_curve();
    for (int i = 0; i < 40; ++i) {
        const double t = 1.0 * i;
        const double mag = 15.0 + 0.08 * std::min(t, 20.0) + late_rate * std::max(t - 20.0, 0.0);
        const double noise = random.uniform() < 0.1 ? random.uniform(-0.8, 0.8) : random.gaussian(0.0, 0.02);
        curve.points.push_back(measured(t, mag + noise, 0.02));
    }
    return curve;
}

std::vector<lightcurve::CurveFit> fits_of(const lightcurve::LightCurve& curve) {
    std::vector<lightcurve::CurveFit> fits;
    const auto add = [&](std::unique_ptr<lightcurve::Model> model) {
        auto fit = lightcurve::fit(curve, std::move(model));
        if (fit) fits.push_back(std::move(*fit));
    };
    add(lightcurve::straight_line());
    add(lightcurve::broken_line(1));
    add(lightcurve::broken_line(2));
    return fits;
}

std::string chosen_name(const lightcurve::ModelChoice& choice,
                        const std::vector<lightcurve::CurveFit>& fits) {
    return choice.chosen ? fits[*choice.chosen].model : "none";
}

}  // namespace

TEST_CASE("the lowest BIC wins and says by how much", "[choose_model]") {
    const std::vector fits{made_up("straight-line", 2, 114.2), made_up("broken-line-1", 4, 100.0),
                           made_up("broken-line-2", 6, 103.0)};
    const auto choice = lightcurve::choose_model(fits);
    REQUIRE(choice.chosen == 1);
    CHECK(choice.why ==
          "broken-line-1: its BIC is 3.0 below that of broken-line-2, the next best; some evidence, not "
          "strong.");
    // exp(−ΔBIC/2) over their sum.
    const double sum = std::exp(-7.1) + 1.0 + std::exp(-1.5);
    CHECK(choice.weights[0] == Approx(std::exp(-7.1) / sum));
    CHECK(choice.weights[1] == Approx(1.0 / sum));
    CHECK(choice.weights[2] == Approx(std::exp(-1.5) / sum));
    const auto clear = lightcurve::choose_model({fits[0], fits[1]});
    CHECK(clear.why ==
          "broken-line-1: its BIC is 14.2 below that of straight-line, the next best; strong evidence.");
}

TEST_CASE("without evidence the simpler model stands", "[choose_model]") {
    const auto choice =
        lightcurve::choose_model({made_up("straight-line", 2, 101.5), made_up("broken-line-1", 4, 100.0)});
    CHECK(choice.chosen == 0);
    CHECK(choice.why ==
          "straight-line: the simpler one. It cannot be told from broken-line-1, for their BICs differ by "
          "1.5 only.");
}

TEST_CASE("models as simple as each other are told apart by evidence or not at all", "[choose_model]") {
    // Curves that agree within their errors: either will do.
    const auto agree =
        lightcurve::choose_model({made_up("rise", 4, 100.0), made_up("plateau", 4, 101.0, 0.0001)});
    CHECK(agree.chosen == 0);
    CHECK_THAT(agree.why, Contains("agree within their errors"));
    // Curves that do not: 0.05 mag a day apart.
    const auto apart =
        lightcurve::choose_model({made_up("rise", 4, 100.0), made_up("plateau", 4, 101.0, 0.05)});
    CHECK_FALSE(apart.chosen);
    CHECK_THAT(apart.why, Contains("Cannot tell rise from plateau"));
    CHECK_THAT(apart.why, Contains("1.50 mag apart"));
    CHECK(apart.weights[0] + apart.weights[1] == Approx(1.0));
}

TEST_CASE("fits of other points and fits without a likelihood are left aside", "[choose_model]") {
    CHECK_FALSE(lightcurve::choose_model({}).chosen);
    CHECK(lightcurve::choose_model({}).why == "No model could be fitted.");
    auto tail = made_up("cobalt-tail", 1, -500.0);
    tail.n = 5;
    auto broken = made_up("plateau", 6, std::nan(""));
    const auto choice = lightcurve::choose_model(
        {tail, made_up("straight-line", 2, 120.0), broken, made_up("broken-line-1", 4, 100.0)});
    CHECK(choice.chosen == 3);
    CHECK(choice.weights[0] == 0.0);
    CHECK(choice.weights[2] == 0.0);
    CHECK_THAT(choice.why, Contains("1 of other points is not compared."));
    CHECK_THAT(choice.why, Contains("1 without a finite likelihood is left out."));
    CHECK_FALSE(lightcurve::choose_model({broken}).chosen);
    const auto alone = lightcurve::choose_model({made_up("straight-line", 2, 120.0)});
    CHECK(alone.chosen == 0);
    CHECK_THAT(alone.why, Contains("the only model"));
}

TEST_CASE("no model buys a better BIC by calling another's points outliers", "[choose_model]") {
    constexpr std::uint64_t seed = 51;
    constexpr int curves = 40;
    CAPTURE(seed);
    Random random(seed);
    int break_found = 0, break_invented = 0;
    for (int i = 0; i < curves; ++i) {
        // A bend of 0.05 mag/d: the last points leave a straight line by 1 mag.
        const auto bent = fits_of(broken_fade(random, 0.03));
        const auto of_bent = lightcurve::choose_model(bent);
        if (chosen_name(of_bent, bent) == "broken-line-1") ++break_found;
        INFO(of_bent.why);
        CHECK(chosen_name(of_bent, bent) != "straight-line");
        const auto straight = fits_of(broken_fade(random, 0.08));
        const auto of_straight = lightcurve::choose_model(straight);
        if (chosen_name(of_straight, straight) != "straight-line") ++break_invented;
    }
    CHECK(break_found >= curves * 85 / 100);
    CHECK(break_invented <= curves * 15 / 100);
}

TEST_CASE("the last few points of a new slope are a break, not outliers", "[choose_model]") {
    // Five of 25 points follow the new slope: a tenth of a magnitude off and more, with errors of 0.02.
    constexpr std::uint64_t seed = 52;
    CAPTURE(seed);
    Random random(seed);
    int found = 0;
    constexpr int curves = 20;
    for (int i = 0; i < curves; ++i) {
        auto curve = empty_curve();
        for (int k = 0; k < 25; ++k) {
            const double t = 2.0 * k;
            const double mag = 15.0 + 0.02 * t + 0.08 * std::max(t - 39.0, 0.0);
            curve.points.push_back(measured(t, mag + random.gaussian(0.0, 0.02), 0.02));
        }
        const auto fits = fits_of(curve);
        if (chosen_name(lightcurve::choose_model(fits), fits) == "broken-line-1") ++found;
    }
    CHECK(found >= curves - 2);
}
