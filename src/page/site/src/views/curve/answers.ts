// SPDX-License-Identifier: MIT
// What /api/curve, /api/curve/rate, /api/nights and /api/forecast answer, as far as this view uses it.
import type { NightOfBand } from "../tonight/night";

export interface WithError {
    value: number;
    err: number;
}

export interface CurvePoint {
    bjd_tdb: number;
    mid_utc: string | null;
    mag: number;
    err_mag: number | null;
    random_err_mag: number | null;
    common_err_mag: number | null;
    is_limit: boolean;
    series: number;
    night: string | null;
    residual_mag: number | null;
    outlier: boolean;
}

export interface LinePoint {
    bjd_tdb: number;
    mag: number;
    err_mag: number;
}

export interface ModelFit {
    name: string;
    source: string;
    n: number;
    chi2: number | null;
    dof: number;
    bic: number | null;
    aicc: number | null;
    extra_scatter_mag: number;
}

export interface BandFit {
    n: number;
    models: ModelFit[];
    chosen: string | null;
    why: string;
    decline_rate_mag_per_day: (WithError & { from_bjd_tdb: number; to_bjd_tdb: number }) | null;
    peak: { bjd_tdb: number; bjd_tdb_err: number; mag: number; mag_err: number; model: string } | null;
    delta_m15: (WithError & { low: number; high: number }) | null;
    plateau: {
        end_bjd_tdb: WithError;
        length_d: WithError | null;
        drop_mag: WithError;
        slope_mag_per_day: WithError;
    } | null;
    tail: { chosen: string | null; why: string | null; rate_over_cobalt56: WithError | null } | null;
    offsets: { series: string; offset_mag: WithError }[];
    extinction_mag: number | null;
    absolute_peak: (WithError & { note: string }) | null;
    refused: { model: string; problem: { what: string } }[];
    remarks: string[];
    problem?: { what: string; where: string; mend: string };
}

export interface Curve {
    bands: Record<string, BandFit>;
    shape: { sentence: string } | null;
    remarks: string[];
    command: string;
    series: string[];
    points: Record<string, CurvePoint[]>;
    lines: Record<string, LinePoint[]>;
    maximum: { bjd_tdb: number; err_d: number; band: string } | null;
}

export interface RateAnswer {
    band: string;
    n: number;
    from_bjd_tdb: number;
    to_bjd_tdb: number;
    mag_per_day: WithError;
    mag_per_100_days: WithError;
    line: LinePoint[];
    remarks?: string[];
    command: string;
}

// Of GET /api/nights, what a point needs.
export type NightRow = Pick<
    NightOfBand,
    "night" | "band" | "is_limit" | "mag" | "mag_err" | "mag_err_random" | "mag_err_common" | "limit_mag"
> & { bjd_tdb: number };

export interface ForecastBandNight {
    night: string;
    bjd_tdb: number;
    mag: number;
    low_mag: number;
    high_mag: number;
    exposure: { exposure_s: number; exposures: number | null; total_s: number | null; within_night: boolean } | null;
}

export interface Forecast {
    goal_mag: number;
    least_altitude_deg: number;
    nights: {
        night: string;
        sky: {
            observable_h: number;
            moonless_h: number;
            best_utc: string | null;
            best_airmass: number | null;
            moon_illuminated: number;
            moon_altitude_deg: number;
            moon_distance_deg: number;
            near_sun: boolean;
        } | null;
    }[];
    bands: Record<
        string,
        {
            why: string;
            problem: { what: string; where: string; mend: string } | null;
            nights: ForecastBandNight[];
            passes: { mag: number; is_depth: boolean; already: boolean; bjd_tdb: number | null; low_bjd_tdb?: number; high_bjd_tdb?: number | null }[];
        }
    >;
    remarks: string[];
    command: string;
}
