// SPDX-License-Identifier: MIT
// The campaign as last read: what several views need to know at once.
import { read } from "./api";
import { setBandColours } from "./theme";

export type BandShape = "disc" | "square" | "triangle" | "diamond" | string;

export interface Watching {
    under_way: boolean;
    folder: string;
    since: string;
    measured: number;
    refused: number;
    last: string;
    ended: { what: string; where: string; mend: string } | null;
}

export interface Campaign {
    title: string;
    observer: string;
    software: string;
    revision: string;
    measured: boolean;
    can_change: boolean;
    key_needed: boolean;
    goal_mag: number;
    limit_sigma: number;
    position: { ra_deg: number; dec_deg: number };
    nucleus: { ra_deg: number; dec_deg: number } | null;
    bands: { name: string; colour: string; shape: BandShape; wavelength_nm: number }[];
    nights: { night: string; frames: number; used: number; bands: string[] }[];
    newest_night: string | null;
    templates: { id: string; band: string }[];
    series: string[];
    watching: Watching;
    changes: { count: number; undoable: string | null };
}

let latest: Campaign | null = null;
const listeners = new Set<(campaign: Campaign) => void>();

export function campaign(): Campaign | null {
    return latest;
}

export function onCampaign(listener: (campaign: Campaign) => void): () => void {
    listeners.add(listener);
    return () => listeners.delete(listener);
}

export async function readCampaign(): Promise<Campaign> {
    const given = await read<Campaign>("/api/campaign");
    latest = given;
    setBandColours(given.bands.map((band) => band.colour));
    listeners.forEach((listener) => listener(given));
    return given;
}

// Something was changed from here: whoever shows the campaign reads it anew, without waiting for the live events.
const changeListeners = new Set<() => void>();
export function onOwnChange(listener: () => void): () => void {
    changeListeners.add(listener);
    return () => changeListeners.delete(listener);
}
export function tellOwnChange(): void {
    changeListeners.forEach((listener) => listener());
}

// The place of a band in the campaign's list: its colour is the token `band-${place}`.
export function bandPlace(name: string): number {
    return Math.max(0, latest?.bands.findIndex((band) => band.name === name) ?? 0);
}

export function bandShape(name: string): BandShape {
    return latest?.bands.find((band) => band.name === name)?.shape ?? "disc";
}
