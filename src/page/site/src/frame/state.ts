// SPDX-License-Identifier: MIT
// What of the view stands in the address.
import type { Address } from "../address";
import type { Curve } from "./stretch";

export const overlayNames = ["transient", "comparison", "check", "nucleus", "aperture", "labels", "compass", "scale"] as const;
export type OverlayName = (typeof overlayNames)[number];

export type Blink = "still" | "auto" | "wipe";

export interface FrameState {
    frame: string | null;
    centre: { x: number; y: number } | null;
    zoom: number | null; // null: the whole frame
    north: boolean;
    black: number | null; // null: automatic
    white: number | null;
    curve: Curve;
    invert: boolean | null; // null: as the theme has it
    star: string | null; // a label, or "x,y"
    other: string | null; // the frame to compare with
    blink: Blink;
    wipe: number; // 0 … 1
    hidden: Set<OverlayName>;
    host: string | null; // the method that is shown; "1": the one in use
}

function number(text: string | undefined): number | null {
    if (text === undefined || text.trim() === "") return null;
    const value = Number(text);
    return Number.isFinite(value) ? value : null;
}

export function parse(address: Readonly<Record<string, string | undefined>>): FrameState {
    const x = number(address["x"]);
    const y = number(address["y"]);
    const zoom = number(address["zoom"]);
    const wipe = number(address["wipe"]);
    const invert = address["invert"];
    const hidden = (address["hide"] ?? "").split(",");
    const blink = address["blink"];
    return {
        frame: address["frame"] ?? null,
        centre: x !== null && y !== null ? { x, y } : null,
        zoom: zoom !== null && zoom > 0 ? zoom : null,
        north: address["north"] === "1",
        black: number(address["black"]),
        white: number(address["white"]),
        curve: address["curve"] === "linear" ? "linear" : "asinh",
        invert: invert === "1" ? true : invert === "0" ? false : null,
        star: address["star"] ?? null,
        other: address["other"] ?? null,
        blink: blink === "auto" || blink === "wipe" ? blink : "still",
        wipe: wipe === null ? 0.5 : Math.min(Math.max(wipe, 0), 1),
        hidden: new Set(overlayNames.filter((name) => hidden.includes(name))),
        host: address["host"] ?? null,
    };
}

export type Patch = Record<string, string | number | null>;

// The overlays with one of them switched.
export function hideWith(hidden: ReadonlySet<OverlayName>, name: OverlayName, shown: boolean): string | null {
    const next = overlayNames.filter((one) => (one === name ? !shown : hidden.has(one)));
    return next.length ? next.join(",") : null;
}

export function placeOf(star: string): { x_px: number; y_px: number } | null {
    const match = /^(-?\d+(?:\.\d+)?),(-?\d+(?:\.\d+)?)$/.exec(star);
    return match ? { x_px: Number(match[1]), y_px: Number(match[2]) } : null;
}

export function sameAddress(a: Address, b: Address): boolean {
    const one = Object.entries(a).filter(([, value]) => value !== undefined);
    return one.length === Object.values(b).filter((value) => value !== undefined).length && one.every(([name, value]) => b[name] === value);
}
