// SPDX-License-Identifier: MIT
// What the frame routes answer (API.md, "Frames").
import type { Problem } from "../api";

export interface Place {
    x_px: number;
    y_px: number;
}

export interface FrameRow {
    id: string;
    name: string;
    frame: string;
    night: string;
    band: string;
    instrument: string;
    plane: number;
    jd_utc: number;
    mid_utc: string;
    exposure_s: number;
    used: boolean;
    reason: string;
    fwhm_arcsec: number;
}

export interface Level {
    level: number;
    width_px: number;
    height_px: number;
    columns: number;
    rows: number;
}

export interface Encoding {
    sky_adu: number;
    noise_adu: number;
    low: number;
    step: number;
}

export type Role = "transient" | "comparison" | "check" | "unused";

export interface FrameStar extends Place {
    label: string;
    role: Role;
    catalogue_mag: number | null;
    suspect: boolean;
    why: string;
}

export interface Aperture {
    radius_px: number;
    inner_px: number;
    outer_px: number;
    psf: boolean;
}

export interface FrameFacts {
    id: string;
    name: string;
    frame: string;
    night: string | null;
    band: string;
    instrument: string;
    mid_utc: string | null;
    exposure_s: number | null;
    airmass: number | null;
    used: boolean;
    reason: string;
    flags: string[];
    fwhm_px: number | null;
    no_pixels: Problem | null;
    width_px: number | null;
    height_px: number | null;
    version: string | null;
    tile_px: number | null;
    levels: Level[] | null;
    encoding: Encoding | null;
    suggested: { black_adu: number; white_adu: number } | null;
    transient: Place | null;
    nucleus: Place | null;
    aperture: Aperture | null;
    stars: FrameStar[];
    px_per_arcsec: [number, number, number, number] | null;
    scale_arcsec_per_px: number | null;
    mag: number | null;
    err_mag: number | null;
    limit_mag: number | null;
}

// A frame with its pixels.
export interface Pixels {
    id: string;
    version: string;
    width_px: number;
    height_px: number;
    tile_px: number;
    levels: Level[];
    encoding: Encoding;
    suggested: { black_adu: number; white_adu: number };
}

export function pixelsOf(facts: FrameFacts): Pixels | null {
    const { id, version, width_px, height_px, tile_px, levels, encoding, suggested } = facts;
    if (facts.no_pixels || !version || !width_px || !height_px || !tile_px || !levels?.length || !encoding || !suggested) return null;
    return { id, version, width_px, height_px, tile_px, levels, encoding, suggested };
}

export interface StarLook extends Place {
    frame: string;
    label: string | null;
    role: Role | null;
    position_err_px: number;
    ra_deg: number | null;
    dec_deg: number | null;
    fwhm_px: number | null;
    fwhm_err_px: number | null;
    elongation: number | null;
    direction_deg: number | null;
    moffat_beta: number | null;
    peak_adu: number;
    saturated: boolean;
    sky_adu: number;
    sky_err_adu: number;
    sky_noise_adu: number;
    method: "aperture" | "psf";
    aperture_px: number;
    inner_px: number;
    outer_px: number;
    flux_e: number | null;
    flux_err_e: number | null;
    signal_to_noise: number | null;
    instrumental_mag: number | null;
    mag: number | null;
    err_mag: number | null;
    catalogue_mag: number | null;
    catalogue_err_mag: number | null;
    residual_mag: number | null;
    flags: string[];
    profile: { radius_px: number; adu: number }[];
    profile_fit: { radius_px: number; adu: number }[];
    growth: { radius_px: number; share: number; err: number | null }[];
    cutout: Place & { width_px: number; height_px: number; adu: (number | null)[] };
    remarks: string[];
}

export interface HostLook extends Place {
    methods: { method: string; used: boolean; model_adu: (number | null)[]; residual_sigma: (number | null)[] }[];
    data_adu: (number | null)[];
    width_px: number;
    height_px: number;
    noise_adu: number;
    transient: Place;
    nucleus: Place | null;
    words: string;
    frame: string;
}
