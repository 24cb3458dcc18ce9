// SPDX-License-Identifier: MIT
// GET /api/nights/{night}, as API.md has it, and what is said of it.
import { count, duration, fixed } from "../../words";

export interface NightOfBand {
    night: string;
    band: string;
    instrument: string;
    exposure_s: number;
    airmass: number | null;
    is_limit: boolean;
    mag: number | null;
    mag_err: number | null;
    mag_err_random: number | null;
    mag_err_common: number | null;
    limit_mag: number | null;
    method: string;
    transformed: boolean;
    comparison_stars: string[];
    check_star: { label: string; mag: number | null; err: number | null; residual: number | null }; // label "": none
    flags: string[];
    n_frames: number;
    n_rejected: number;
    frames_to_goal: number | null;
    goal_out_of_reach: boolean;
    clear_to_goal_s: number | null;
}

export interface RunningPoint {
    jd_utc: number;
    mid_utc: string;
    frames: number;
    mag: number | null;
    random_err_mag: number | null;
    err_mag: number | null;
    limit_mag: number | null;
}

export interface FrameOfNight {
    id: string;
    name: string;
    frame: string;
    band: string;
    instrument: string;
    jd_utc: number;
    mid_utc: string;
    exposure_s: number;
    airmass: number | null;
    mag: number | null;
    err_mag: number | null;
    random_err_mag: number | null;
    limit_mag: number | null;
    is_limit: boolean;
    transparency: number | null;
    fwhm_arcsec: number;
    elongation: number;
    sky_mag_per_arcsec2: number | null;
    stars_found: number;
    stars_expected: number;
    used: boolean;
    reason: string;
    flags: string[];
}

export interface Night {
    night: string;
    revision: string;
    goal_mag: number;
    bands: NightOfBand[];
    running: { band: string; instrument: string; points: RunningPoint[] }[];
    frames: FrameOfNight[];
    flips: { band: string; instrument: string; jd_utc: number; stands_out: boolean }[];
    remarks: string[];
}

// A band of an instrument: what has a magnitude of its own.
export function keyOf(one: { band: string; instrument: string }): string {
    return `${one.band} ${one.instrument}`;
}

export function goalWords(goal: number): string {
    return `±${Number(goal.toFixed(4))}`;
}

// "11 more frames to ±0.02 (about 12 min of clear sky)". `over`: the night is past, and nothing more will come.
export function distanceToGoal(value: NightOfBand, goal: number, over: boolean): string {
    const words = goalWords(goal);
    if (value.mag === null || value.is_limit) return "No magnitude: the transient is not seen.";
    if (value.goal_out_of_reach) {
        return `${words} is out of reach: the comparison stars alone leave ±${fixed(value.mag_err_common)}.`;
    }
    if (value.frames_to_goal === null) return "";
    const more = Math.ceil(value.frames_to_goal);
    if (more <= 0) return `${words} is reached.`;
    if (over) return `${more} more like ${value.n_frames === 1 ? "this" : "these"} would reach ${words}.`;
    const frames = count(more, "more frame");
    const clear = value.clear_to_goal_s === null ? "" : ` (about ${duration(value.clear_to_goal_s)} of clear sky)`;
    return `${frames} to ${words}${clear}`;
}

const tonightLastsMs = 18 * 3_600_000;

export function isOver(night: Night): boolean {
    const last = Math.max(...night.frames.map((frame) => Date.parse(frame.mid_utc)));
    return !(Date.now() - last < tonightLastsMs);
}
