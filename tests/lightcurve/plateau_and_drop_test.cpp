// SPDX-License-Identifier: MIT
#include "lightcurve/choose_model.hpp"
#include "lightcurve/model_checks.hpp"

using namespace emberline;
using namespace emberline::test;
using numerics::Random;

namespace {

// drop_middle, mag_at_drop, drop, drop_width, tail_rate; then plateau_rate.
const std::vector<double> even{60.0, 15.5, 2.0, 4.0, 0.011};
const std::vector<double> sloping{60.0, 15.5, 2.0, 4.0, 0.011, 0.004};

lightcurve::LightCurve nights(Random& random, const lightcurve::Model& model,
                              const std::vector<double>& truth, double from, double to, double err = 0.03) {
    auto curve = empty_curve();
    for (double night = from; night <= to; night += 1.0) {
        const double t = night + random.uniform(0.2, 0.4);
        if (random.uniform() < 0.4)
            curve.points.push_back(measured(t, model.magnitude(t, truth) + random.gaussian(0.0, err), err));
    }
    return curve;
}

std::unique_ptr<lightcurve::Model> plateau(bool two_rates) {
    return two_rates ? lightcurve::sloping_plateau_and_drop() : lightcurve::plateau_and_drop();
}

}  // namespace

TEST_CASE("plateau and drop is the published step on a line", "[plateau_and_drop]") {
    // [Valenti et al. 2016, MNRAS 459, 3939, eq. 1; from memory]: m = −a0 / (1 + exp((t − tPT)/w0)) + p0 (t −
    // tPT) + m0, with m0 = mag_at_drop + a0/2.
    const double a0 = even[2], w0 = even[3], t_pt = even[0], p0 = even[4], m0 = even[1] + 0.5 * a0;
    auto same_rates = even;
    same_rates.push_back(p0);
    for (double t = -100.0; t < 400.0; t += 3.3) {
        const double paper = -a0 / (1.0 + std::exp((t - t_pt) / w0)) + p0 * (t - t_pt) + m0;
        CHECK(lightcurve::plateau_and_drop()->magnitude(t, even) == Approx(paper).epsilon(1e-13));
        CHECK(lightcurve::sloping_plateau_and_drop()->magnitude(t, same_rates) ==
              Approx(paper).epsilon(1e-13));
    }
}

TEST_CASE("two rates hold on their sides, and the drop is what parts the two lines", "[plateau_and_drop]") {
    const auto model = lightcurve::sloping_plateau_and_drop();
    const auto mag = [&](double t) { return model->magnitude(t, sloping); };
    // Ten widths away 5e-5 of the step is left.
    CHECK((mag(20.0) - mag(-20.0)) / 40.0 == Approx(sloping[5]).margin(1e-5));
    CHECK((mag(140.0) - mag(100.0)) / 40.0 == Approx(sloping[4]).margin(1e-5));
    const double before = mag(0.0) + 60.0 * sloping[5], after = mag(120.0) - 60.0 * sloping[4];
    CHECK(after - before == Approx(sloping[2]).margin(1e-5));
    CHECK(mag(60.0) == Approx(sloping[1]).epsilon(1e-14));
    // It never brightens on its way down.
    for (double t = -20.0; t < 150.0; t += 0.5)
        CHECK(mag(t + 0.5) > mag(t));
    check_gradient(*model, sloping, -20.0, 150.0);
    check_gradient(*lightcurve::plateau_and_drop(), even, -20.0, 150.0);
}

TEST_CASE("plateau and drop finds the truth, and its errors hold it", "[plateau_and_drop]") {
    constexpr std::uint64_t seed = 500;
    constexpr int curves = 40;
    CAPTURE(seed);
    for (const bool two_rates : {false, true}) {
        Random random(seed);
        const auto& values = two_rates ? sloping : even;
        std::vector<std::vector<double>> pulls(values.size());
        for (int i = 0; i < curves; ++i) {
            const auto fit =
                fitted(nights(random, *plateau(two_rates), values, 0.0, 120.0), plateau(two_rates));
            for (std::size_t j = 0; j < values.size(); ++j) {
                const auto found = *fit.parameter(fit.parameter_info[j].name);
                const double truth = values[j] + (fit.parameter_info[j].is_epoch ? epoch_bjd : 0.0);
                pulls[j].push_back((found.value - truth) / found.err);
            }
        }
        // A spread of 40 pulls is known to 0.11, their mean to 0.16.
        for (std::size_t j = 0; j < values.size(); ++j) {
            CAPTURE(two_rates, j);
            CHECK(spread_of(pulls[j]).sigma > 0.65);
            CHECK(spread_of(pulls[j]).sigma < 1.35);
            CHECK(std::abs(spread_of(pulls[j]).mean) < 0.5);
        }
    }
}

TEST_CASE("BIC takes two rates where there are two, and one where there is one", "[plateau_and_drop]") {
    constexpr std::uint64_t seed = 900;
    constexpr int curves = 20;
    CAPTURE(seed);
    Random random(seed);
    int right_even = 0, right_sloping = 0;
    const std::vector<double> steep{60.0, 15.5, 2.0, 4.0, 0.009, 0.021};
    for (int i = 0; i < curves; ++i) {
        for (const bool two_rates : {false, true}) {
            const auto curve = nights(random, *plateau(two_rates), two_rates ? steep : even, 0.0, 120.0);
            const auto choice =
                lightcurve::choose_model({fitted(curve, plateau(false)), fitted(curve, plateau(true))});
            if (choice.chosen == std::size_t{two_rates}) ++(two_rates ? right_sloping : right_even);
        }
    }
    // A needless parameter gains ln n = 3.9 by chance once in twenty.
    CHECK(right_even >= 17);
    CHECK(right_sloping >= 18);
}

TEST_CASE("the first weeks are a Gaussian on the plateau, and leave its rate alone", "[plateau_and_drop]") {
    // A blue band's fast first fade: 0.8 mag above the plateau, 12 d wide, 80 d before the drop.
    auto humped = sloping;
    humped[0] = 85.0;
    auto plain_values = humped;
    humped.insert(humped.end(), {80.0, 0.8, std::log10(12.0)});
    const auto model = lightcurve::humped_plateau_and_drop();
    for (double t = 0.0; t < 150.0; t += 3.3) {
        const double z = (t - 5.0) / 12.0;
        CHECK(
            model->magnitude(t, humped) ==
            Approx(plateau(true)->magnitude(t, plain_values) - 0.8 * std::exp(-0.5 * z * z)).epsilon(1e-13));
    }
    check_gradient(*model, humped, 0.0, 150.0);
    constexpr std::uint64_t seed = 1200;
    CAPTURE(seed);
    Random random(seed);
    std::vector<double> with, without;
    for (int i = 0; i < 15; ++i) {
        const auto curve = nights(random, *model, humped, 0.0, 150.0);
        const auto whole = fitted(curve, lightcurve::humped_plateau_and_drop());
        const auto blind = fitted(curve, plateau(true));
        CHECK(whole.bic < blind.bic - 20.0);
        const auto rate = *whole.parameter("plateau_rate");
        with.push_back((rate.value - sloping[5]) / rate.err);
        without.push_back((blind.parameter("plateau_rate")->value - sloping[5]) / rate.err);
    }
    // A mean of 15 pulls is known to 0.26.
    CHECK(std::abs(spread_of(with).mean) < 0.8);
    CHECK(spread_of(with).sigma < 1.7);
    CHECK(spread_of(without).mean > 3.0);
}

TEST_CASE("a form with a hump is never the less likely for it", "[plateau_and_drop]") {
    // A plateau that brightens for ten weeks, as that of SN 1987A did, and no hump.
    constexpr std::uint64_t seed = 87;
    CAPTURE(seed);
    Random random(seed);
    const std::vector<double> rising{90.0, 14.0, 1.9, 8.0, 0.0097, -0.024};
    for (int i = 0; i < 5; ++i) {
        const auto curve = nights(random, *plateau(true), rising, 0.0, 400.0);
        const auto with = fitted(curve, lightcurve::humped_plateau_and_drop());
        const auto without = fitted(curve, plateau(true));
        // Priors of a hump that is not there may cost a little.
        CHECK(with.minus_two_log_likelihood < without.minus_two_log_likelihood + 1.0);
    }
}

TEST_CASE("a drop that fell behind the Sun keeps its depth and widens its date", "[plateau_and_drop]") {
    constexpr std::uint64_t seed = 31;
    CAPTURE(seed);
    Random random(seed);
    auto curve = nights(random, *plateau(true), sloping, 0.0, 200.0);
    std::erase_if(curve.points,
                  [](const auto& p) { return p.bjd_tdb > epoch_bjd + 40.0 && p.bjd_tdb < epoch_bjd + 90.0; });
    const auto fit = fitted(curve, plateau(true));
    const auto middle = *fit.parameter("drop_middle"), drop = *fit.parameter("drop");
    CHECK(middle.err > 5.0);
    CHECK(middle.value == Approx(epoch_bjd + 60.0).margin(3.0 * middle.err));
    CHECK(drop.err < 0.2);
    CHECK(drop.value == Approx(2.0).margin(4.0 * drop.err));
}

TEST_CASE("a plateau without its drop is refused in words", "[plateau_and_drop]") {
    auto few = empty_curve();
    for (int i = 0; i < 4; ++i)
        few.points.push_back(measured(10.0 * i, 15.0, 0.03));
    CHECK(lightcurve::plateau_and_drop()->starts(few, epoch_bjd).error().what ==
          "A plateau and its drop need 5 detections, and there are 4.");
    auto flat = empty_curve();
    for (int i = 0; i < 30; ++i)
        flat.points.push_back(measured(2.0 * i, 15.0 + 0.002 * i + (i % 2 == 0 ? 0.01 : -0.01), 0.02));
    for (const bool two_rates : {false, true}) {
        const auto refused = plateau(two_rates)->starts(flat, epoch_bjd);
        REQUIRE_FALSE(refused);
        CHECK(refused.error().what == "These points show no drop from a plateau.");
    }
}
