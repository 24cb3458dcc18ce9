// SPDX-License-Identifier: MIT
// Type II. Papers are quoted from memory unless a row says "read".
#include "lightcurve/published_measures.hpp"

namespace emberline::test {
namespace {

void add_sn1987a(std::vector<Claim>& claims, const std::string& datasets) {
    const Source sn{open_curve(datasets, "SN1987A_Catchpole_Whitelock_SAAO.csv"),
                    0.0,
                    {.before_d = 40.0, .after_d = 40.0}};
    constexpr double explosion_mjd = 46849.82;  // the neutrinos, 1987 February 23.316; from memory
    const Interval tail{explosion_mjd + 150.0, explosion_mjd + 400.0};
    const std::string note = "V is not all of the light: 0.05 mag of colour in 250 d";
    claims.insert(claims.end(), {{.supernova = "SN 1987A",
                                  .quantity = "V maximum",
                                  .unit = "mag",
                                  .published = {2.96, 0.005},
                                  .err_is_rounding = true,
                                  .apart = 0.02,
                                  .source = "Hamuy et al. 1988, AJ 95, 63",
                                  .remark = "other telescope",
                                  .measure = maximum(sn, "V")},
                                 {.supernova = "SN 1987A",
                                  .quantity = "time of V maximum",
                                  .unit = "MJD",
                                  .published = {46935.0, 2.0},
                                  .err_is_rounding = true,
                                  .source = "Hamuy et al. 1988, AJ 95, 63",
                                  .remark = "1987 May 20, on a top flat within 0.01 mag for ten days; window "
                                            "of 40 d either side: the usual one of "
                                            "type Ia is too narrow and finds May 11",
                                  .measure = time_of_maximum(sn, "V")},
                                 {.supernova = "SN 1987A",
                                  .quantity = "V rate, day 150 to 400",
                                  .unit = "mag/100 d",
                                  .published = {0.98, 0.005},
                                  .err_is_rounding = true,
                                  .apart = 0.02,
                                  .basis = Basis::physics,
                                  .source = "decay of ⁵⁶Co, e-folding 111.3 d",
                                  .remark = note,
                                  .measure = straight_rate(sn, "V", tail)},
                                 {.supernova = "SN 1987A",
                                  .quantity = "V tail over ⁵⁶Co",
                                  .unit = "",
                                  .published = {1.0, 0.0},
                                  .apart = 0.02,
                                  .basis = Basis::physics,
                                  .source = "all gamma rays kept",
                                  .remark = note,
                                  .measure = over_cobalt(sn, "V", tail)}});
}

void add_sn2012aw(std::vector<Claim>& claims, const std::string& datasets) {
    const Source sn{open_curve(datasets, "SN2012aw_Bose2013.csv"), 0.0026};
    constexpr double explosion_mjd = 56002.1;  // Bose et al. 2013, from memory
    const Step after_rise{{explosion_mjd + 20.0, explosion_mjd + 280.0}};
    const std::string bose = "Bose et al. 2013, MNRAS 433, 1871";
    const std::string gap = "no points from day 104 to 215";
    claims.insert(claims.end(),
                  {{.supernova = "SN 2012aw",
                    .quantity = "V plateau slope",
                    .unit = "mag/100 d",
                    .published = {0.6, 0.05},
                    .err_is_rounding = true,
                    .source = bose,
                    .measure = straight_rate(sn, "V", {explosion_mjd + 30.0, explosion_mjd + 104.0})},
                   {.supernova = "SN 2012aw",
                    .quantity = "middle of the drop",
                    .unit = "d",
                    .published = {135.0, 4.0},
                    .source = "Valenti et al. 2016, MNRAS 459, 3939",
                    .remark = gap,
                    .measure = drop_after(sn, "V", after_rise, explosion_mjd)},
                   {.supernova = "SN 2012aw",
                    .quantity = "end of the plateau",
                    .unit = "d",
                    .published = {110.0, 10.0},
                    .err_is_rounding = true,
                    .source = bose,
                    .remark = gap,
                    .measure = drop_after(sn, "V", after_rise, explosion_mjd, widths_of_drop)},
                   {.supernova = "SN 2012aw",
                    .quantity = "V rate, day 215 to 270",
                    .unit = "mag/100 d",
                    .published = {1.0, 0.05},
                    .err_is_rounding = true,
                    .source = bose,
                    .measure = straight_rate(sn, "V", {explosion_mjd + 210.0, explosion_mjd + 275.0})},
                   {.supernova = "SN 2012aw",
                    .quantity = "V tail over ⁵⁶Co",
                    .unit = "",
                    .published = {1.0, 0.05},
                    .err_is_rounding = true,
                    .basis = Basis::physics,
                    .source = "all gamma rays kept",
                    .remark = "V is not all of the light",
                    .measure = over_cobalt(sn, "V", {explosion_mjd + 210.0, explosion_mjd + 275.0})}});
}

void add_sn2013ej(std::vector<Claim>& claims, const std::string& datasets) {
    const Source sn{open_curve(datasets, "SN2013ej_Huang2015.csv"), 0.0022};
    constexpr double explosion_mjd = 56496.8;  // Bose et al. 2015, from memory
    const Step late{{explosion_mjd + 40.0, explosion_mjd + 175.0}};
    const Step whole{{explosion_mjd, explosion_mjd + 175.0}, "humped-plateau-and-drop"};
    const std::string bose = "Bose et al. 2015, ApJ 806, 160, abstract";
    claims.insert(
        claims.end(),
        {{.supernova = "SN 2013ej",
          .quantity = "end of the plateau",
          .unit = "d",
          .published = {85.0, 2.5},
          .err_is_rounding = true,
          .basis = Basis::read,
          .source = bose,
          .remark = "\"about\"",
          .measure = drop_after(sn, "V", late, explosion_mjd, widths_of_drop)},
         {.supernova = "SN 2013ej",
          .quantity = "V plateau slope",
          .unit = "mag/100 d",
          .published = {1.7, 0.05},
          .err_is_rounding = true,
          .basis = Basis::read,
          .source = bose,
          .remark = "days 40 to 86, after the first decline; from day 15 on it is 2.2",
          .measure = straight_rate(sn, "V", {explosion_mjd + 40.0, explosion_mjd + 86.0})},
         {.supernova = "SN 2013ej",
          .quantity = "V drop, end to start",
          .unit = "mag",
          .published = {2.4, 0.05},
          .err_is_rounding = true,
          .basis = Basis::read,
          .source = bose,
          .remark = "from 2 % to 98 % of the step; between both lines at its middle it is 2.05 to 2.15",
          .measure = whole_drop(sn, "V", late)},
         {.supernova = "SN 2013ej",
          .quantity = "end of the plateau",
          .unit = "d",
          .published = {85.0, 2.5},
          .err_is_rounding = true,
          .basis = Basis::read,
          .source = bose,
          .remark = "fit of the whole curve",
          .measure = drop_after(sn, "V", whole, explosion_mjd, widths_of_drop)},
         {.supernova = "SN 2013ej",
          .quantity = "V drop, end to start",
          .unit = "mag",
          .published = {2.4, 0.05},
          .err_is_rounding = true,
          .basis = Basis::read,
          .source = bose,
          .remark = "fit of the whole curve",
          .measure = whole_drop(sn, "V", whole)},
         {.supernova = "SN 2013ej",
          .quantity = "slow stretch",
          .unit = "d",
          .published = {50.0, 5.0},
          .err_is_rounding = true,
          .basis = Basis::read,
          .source = "Huang et al. 2015, ApJ 807, 59, abstract",
          .remark = "their shorter plateau: from the break to the end",
          .measure = slow_stretch(sn, "V", {explosion_mjd + 14.0, explosion_mjd + 86.0}, late)},
         {.supernova = "SN 2013ej",
          .quantity = "middle of the drop",
          .unit = "d",
          .published = {98.5, 1.0},
          .source = "Valenti et al. 2016, MNRAS 459, 3939",
          .remark = "explosion a day uncertain",
          .measure = drop_after(sn, "V", late, explosion_mjd)},
         {.supernova = "SN 2013ej",
          .quantity = "V rate, day 120 to 165",
          .unit = "mag/100 d",
          .published = {1.53, 0.06},
          .source = "Bose et al. 2015, ApJ 806, 160",
          .remark = "recalled with doubt",
          .measure = straight_rate(sn, "V", {explosion_mjd + 115.0, explosion_mjd + 170.0})}});
}

void add_sn1979c(std::vector<Claim>& claims, const std::string& datasets) {
    const Source sn{open_curve(datasets, "SN1979C_Barbon1982_deVaucouleurs1981.csv"), 0.005};
    constexpr double maximum_mjd = 43978.9;  // the brightest point, 1979 April 15
    claims.insert(claims.end(), {{.supernova = "SN 1979C",
                                  .quantity = "B rate, first 75 d",
                                  .unit = "mag/100 d",
                                  .published = {5.0, 1.0},
                                  .err_is_rounding = true,
                                  .source = "Barbon, Ciatti & Rosino 1979, A&A 72, 287",
                                  .remark = "linear type II in general, about 0.05 mag/d",
                                  .measure = straight_rate(sn, "B", {maximum_mjd, maximum_mjd + 75.0})},
                                 {.supernova = "SN 1979C",
                                  .quantity = "B fade in 100 d",
                                  .unit = "mag",
                                  .published = {3.6, 0.4},
                                  .err_is_rounding = true,
                                  .source = "Panagia et al. 1980; Barbon et al. 1982; Patat et al. 1994",
                                  .remark = "3.2 to 4, linear is above 3.5; it slows after day 75, and a "
                                            "line through it all has 4.6 per 100 d",
                                  .measure = fade_between(sn, "B", {maximum_mjd - 1.0, maximum_mjd + 120.0},
                                                          maximum_mjd, maximum_mjd + 100.0)}});
}

}  // namespace

std::vector<Claim> claims_on_type_ii(const std::string& datasets) {
    std::vector<Claim> claims;
    add_sn1987a(claims, datasets);
    add_sn2012aw(claims, datasets);
    add_sn2013ej(claims, datasets);
    add_sn1979c(claims, datasets);
    return claims;
}

}  // namespace emberline::test
