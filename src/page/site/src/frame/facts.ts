// SPDX-License-Identifier: MIT
// What the frame is, in words and numbers; and which frame is looked at.
import { addressWith } from "../address";
import { h, replace } from "../dom";
import { command, picker } from "../parts";
import { day, fixed, magnitude, shellWord, thin } from "../words";
import { between } from "./affine";
import type { FrameFacts, FrameRow } from "./answers";
import { section } from "./controls";

export function factsOf(facts: FrameFacts): HTMLElement {
    const template = facts.id.startsWith("template-");
    const verdict = template ? "template" : facts.used ? "used" : "refused";
    const rows: [string, string | null][] = [
        ["Middle", facts.mid_utc && `${facts.mid_utc.replace("T", " ").replace("Z", "")} UTC`],
        ["Exposure", facts.exposure_s === null ? null : `${fixed(facts.exposure_s, facts.exposure_s < 10 ? 1 : 0)}${thin}s`],
        ["Instrument", facts.instrument || null],
        ["Airmass", facts.airmass === null ? null : fixed(facts.airmass, 2)],
        ["FWHM", facts.fwhm_px === null ? null : `${fixed(facts.fwhm_px, 2)} px${facts.scale_arcsec_per_px ? ` = ${fixed(facts.fwhm_px * facts.scale_arcsec_per_px, 1)}″` : ""}`],
        ["Transient", facts.mag === null && facts.limit_mag === null ? null : `${facts.band} ${magnitude(facts.mag, facts.err_mag, facts.limit_mag)}`],
        ["Size", facts.width_px && facts.height_px ? `${facts.width_px} × ${facts.height_px} px` : null],
        ["Scale", facts.scale_arcsec_per_px ? `${fixed(facts.scale_arcsec_per_px, 3)}″ a pixel` : null],
        ["Flags", facts.flags.join(", ") || null],
    ];
    return section(
        facts.name,
        h("p", { class: `frame-verdict ${verdict}` }, h("strong", {}, `${facts.band}, ${verdict}`), facts.reason ? `: ${facts.reason}` : ""),
        h("dl", { class: "frame-numbers" }, ...rows.flatMap(([name, value]) => (value ? [h("div", {}, h("dt", {}, name), h("dd", {}, value))] : []))),
        template ? null : h("p", { class: "hint" }, "The same in a terminal: ", command(`emberline look ${shellWord(facts.frame)} --band ${facts.band}`)),
        facts.night ? h("p", {}, h("a", { href: addressWith({ view: "tonight", night: facts.night }, { view: "tonight" }) }, `The night of ${day(facts.night)}`)) : null,
    );
}

// Its file is gone, or is another by now: why, and what stands all the same.
export function missing(given: FrameFacts): HTMLElement {
    const { what, where, mend } = given.no_pixels!;
    return h("div", { class: "trouble box", role: "status" }, h("p", { class: "what" }, what), where && h("p", { class: "where" }, where), mend && h("p", {}, mend), h("p", { class: "hint" }, "What was measured on it stands, and its marks are where the stars were."));
}

// Why a frame cannot be laid over another; empty where it can.
export function notOver(other: FrameFacts, given: FrameFacts): string {
    if (other.no_pixels) return `${other.name}: ${other.no_pixels.what}`;
    if (!between(other, given)) return "The plate of one of the two frames is not known: they cannot be laid upon each other.";
    return "";
}

export interface PickFrom {
    nights: string[];
    night: string | null;
    band: string; // "": every band
    rows: FrameRow[];
    templates: { id: string; band: string }[];
    frame: string;
}

export class FramePicker {
    readonly root = h("div", { class: "frame-picker", role: "group", "aria-label": "Which frame" });

    constructor(
        private readonly open: (id: string) => void,
        private readonly night: (night: string) => void,
        private readonly band: (band: string) => void,
    ) {}

    show(from: PickFrom): void {
        const focused = document.activeElement instanceof HTMLElement && this.root.contains(document.activeElement) ? document.activeElement.dataset["part"] : undefined;
        const bands = [...new Set(from.rows.map((row) => row.band))];
        const rows = from.band ? from.rows.filter((row) => row.band === from.band || row.id === from.frame) : from.rows;
        const at = rows.findIndex((row) => row.id === from.frame);
        const frames = rows.map((row) => ({ value: row.id, words: `${row.mid_utc.slice(11, 19)}  ${row.band}  ${row.name}${row.used ? "" : " (refused)"}` }));
        const templates = from.templates.map((one) => ({ value: one.id, words: `Template ${one.band}` }));
        const step = (part: string, words: string, by: number, hint: string) => {
            const to = rows[at + by];
            return h("button", { type: "button", title: hint, disabled: at < 0 || !to, "data-part": part, onclick: () => to && this.open(to.id) }, words);
        };
        const choices = at < 0 && !templates.some((one) => one.value === from.frame) ? [{ value: from.frame, words: "this frame" }] : [];
        replace(
            this.root,
            part("night", picker("Night", from.nights.map((night) => ({ value: night, words: night })), from.night ?? "", this.night)),
            bands.length > 1 ? part("band", picker("Band", [{ value: "", words: "all" }, ...bands.map((band) => ({ value: band, words: band }))], from.band, this.band)) : null,
            part("frame", picker("Frame", [...choices, ...frames, ...templates], from.frame, this.open)),
            h("span", { class: "frame-steps" }, step("before", "Previous", -1, "Key ["), step("after", "Next", 1, "Key ]")),
        );
        if (focused) this.root.querySelector<HTMLElement>(`[data-part="${focused}"]`)?.focus();
    }
}

function part(name: string, field: HTMLElement): HTMLElement {
    field.querySelector("select")!.dataset["part"] = name;
    return field;
}
