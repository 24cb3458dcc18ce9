// SPDX-License-Identifier: MIT
// GET /api/stars and /api/stars/{label}, as API.md has them, and how a star is marked.
export interface StarNight {
    night: string;
    residual_mag: number;
    err_mag: number;
    frames: number;
}

export interface StarBand {
    band: string;
    instrument: string;
    catalogue_mag: number;
    catalogue_err_mag: number;
    offset_mag: number | null;
    offset_err_mag: number | null;
    scatter_mag: number | null;
    expected_scatter_mag: number | null;
    suspect: boolean;
    why: string;
    used_in_nights: number;
    nights: StarNight[];
}

export interface Star {
    label: string;
    role: "comparison" | "check" | "unused";
    ra_deg: number;
    dec_deg: number;
    set_aside: { reason: string; since: string } | null;
    bands: StarBand[];
}

export interface Stars {
    revision: string;
    nights: string[];
    stars: Star[];
}

export interface StarFrames {
    label: string;
    bands: {
        band: string;
        instrument: string;
        frames: { id: string; night: string; jd_utc: number; mid_utc: string; residual_mag: number; err_mag: number; used: boolean }[];
    }[];
}

export function shapeOf(star: Star): string {
    return star.role === "check" ? "triangle" : "square";
}

export function bandOf(star: Star, key: string): StarBand | undefined {
    return star.bands.find((band) => keyOf(band) === key);
}

export function keyOf(one: { band: string; instrument: string }): string {
    return `${one.band} ${one.instrument}`;
}

// What is thought of a star: a word, and why.
export function verdict(star: Star, band: StarBand | undefined): [word: string, why: string] {
    if (star.set_aside) return ["set aside", star.set_aside.reason];
    if (star.role === "check") return ["check star", ""];
    if (star.role === "unused") return ["not used", band?.why ?? ""];
    if (!band) return ["not in this band", ""];
    return band.suspect ? ["doubtful", band.why] : ["fits", ""];
}
