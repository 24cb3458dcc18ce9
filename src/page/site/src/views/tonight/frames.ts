// SPDX-License-Identifier: MIT
// The frames of a night, newest first; each leads to the Frame view.
import { addressWith } from "../../address";
import { bandPlace, bandShape } from "../../campaign";
import { h } from "../../dom";
import { sign, table, type Column } from "../../parts";
import { clock, count, fixed, magnitude } from "../../words";
import type { FrameOfNight } from "./night";

function link(frame: FrameOfNight): HTMLElement {
    return h("a", { href: addressWith({ view: "frame", frame: frame.id, night: null }, { view: "frame" }) }, frame.name);
}

function band(frame: FrameOfNight): HTMLElement {
    return h("span", { class: "band" }, sign(bandShape(frame.band), `band-${bandPlace(frame.band)}`), ` ${frame.band}`);
}

const time: Column<FrameOfNight> = { name: "Time", unit: "UTC", cell: (frame) => clock(frame.mid_utc) };
const name: Column<FrameOfNight> = { name: "Frame", cell: link };

export function framesTable(frames: FrameOfNight[]): HTMLElement {
    const common = commonFlags(frames);
    const columns: Column<FrameOfNight>[] = [
        time,
        name,
        { name: "Band", cell: band },
        { name: "Magnitude", number: true, cell: (frame) => magnitude(frame.is_limit ? null : frame.mag, frame.random_err_mag, frame.limit_mag) },
        { name: "Transparency", number: true, wide: true, cell: (frame) => fixed(frame.transparency, 2) },
        { name: "FWHM", unit: "arcsec", number: true, wide: true, cell: (frame) => fixed(frame.fwhm_arcsec, 2) },
        { name: "Sky", unit: "mag/arcsec²", number: true, wide: true, cell: (frame) => fixed(frame.sky_mag_per_arcsec2, 2) },
        { name: "Airmass", number: true, wide: true, cell: (frame) => fixed(frame.airmass, 2) },
        { name: "Exposure", unit: "s", number: true, wide: true, cell: (frame) => fixed(frame.exposure_s, 0) },
        { name: "Stars", number: true, wide: true, cell: (frame) => `${frame.stars_found} of ${frame.stars_expected}` },
        { name: "Remarks", wide: true, cell: (frame) => [frame.used ? "" : `refused: ${frame.reason}`, ...flagsOf(frame).filter((flag) => !common.includes(flag))].filter(Boolean).join(", ") },
    ];
    return table("Frames of the night", columns, byTime(frames), { rowKey: (frame) => frame.id, rowClass: (frame) => (frame.used ? "" : "refused") });
}

export function refusedList(frames: FrameOfNight[]): HTMLElement {
    const refused = byTime(frames.filter((frame) => !frame.used));
    if (refused.length === 0) return h("div", {}, h("p", { class: "hint" }, "No frame was refused."));
    const columns: Column<FrameOfNight>[] = [time, name, { name: "Band", cell: band }, { name: "Why", cell: (frame) => frame.reason }];
    return h("div", {}, h("h3", {}, count(refused.length, "refused frame")), table("Refused frames", columns, refused, { rowKey: (frame) => frame.id }));
}

function flagsOf(frame: FrameOfNight): string[] {
    return frame.flags.map((flag) => flag.replaceAll("-", " "));
}

// What is true of every frame is said once, above the table.
export function commonFlags(frames: FrameOfNight[]): string[] {
    const [first, ...rest] = frames.map(flagsOf);
    return (first ?? []).filter((flag) => rest.every((others) => others.includes(flag)));
}

function byTime(frames: FrameOfNight[]): FrameOfNight[] {
    return [...frames].sort((a, b) => b.jd_utc - a.jd_utc);
}
