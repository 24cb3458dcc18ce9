// SPDX-License-Identifier: MIT
// The controls beside the picture: stretch, marks with their legend, comparison with another frame.
import { h, replace } from "../dom";
import { choice, svg } from "../parts";
import { renew } from "../renew";
import { fixed } from "../words";
import type { Encoding, FrameFacts, FrameRow } from "./answers";
import { leastSpan, type Curve, type Stretch } from "./stretch";
import { hideWith, overlayNames, type Blink, type FrameState, type OverlayName, type Patch } from "./state";

type Change = (patch: Patch, small?: boolean) => void;

export const frameKeys = [
    ["[ ]", "previous, next frame"],
    ["+ −", "zoom in, out (picture)"],
    ["0", "the whole frame (picture)"],
    ["← → ↑ ↓", "move along (picture), from star to star (list)"],
    ["Enter", "the star in the middle (picture), the chosen one (list)"],
    ["b", "hold to compare with the other frame"],
    ["i", "dark stars on light, or light on dark"],
    ["o", "north up"],
] as const;

// Sliders run evenly in the encoding's own measure, fine about the sky and coarse far above it.
const lowest = Math.asinh(-10);

export class StretchControls {
    readonly root: HTMLElement;
    private readonly black = slider("frame-black", "Black");
    private readonly white = slider("frame-white", "White");
    private readonly curve = h("div", {});
    private readonly invert = h("input", { type: "checkbox", id: "frame-invert" });
    private shown: Stretch = { black: -1, white: 50, curve: "asinh" };

    constructor(private readonly change: Change) {
        const auto = h("button", { type: "button", onclick: () => this.change({ black: null, white: null, curve: null }) }, "Auto");
        this.black.input.addEventListener("input", () => this.slid("black"));
        this.white.input.addEventListener("input", () => this.slid("white"));
        this.invert.addEventListener("change", () => this.change({ invert: this.invert.checked ? "1" : "0" }));
        this.root = section(
            "Stretch",
            this.black.root,
            this.white.root,
            h("div", { class: "frame-line" }, this.curve, auto),
            h("label", { class: "frame-check", for: "frame-invert" }, this.invert, "Dark stars on a light sky"),
        );
    }

    show(stretch: Stretch, encoding: Encoding | null, inverted: boolean): void {
        this.shown = stretch;
        this.invert.checked = inverted;
        const most = encoding ? encoding.low + encoding.step * 255 : 12;
        for (const [one, value] of [[this.black, stretch.black], [this.white, stretch.white]] as const) {
            one.input.min = String(lowest);
            one.input.max = String(most);
            one.input.step = "0.01";
            one.input.value = String(Math.asinh(value));
            one.input.disabled = !encoding;
            const adu = encoding ? `, ${fixed(encoding.sky_adu + value * encoding.noise_adu, 0)} ADU` : "";
            one.value.textContent = `${fixed(value, Math.abs(value) < 20 ? 1 : 0)} σ${adu}`;
            one.input.setAttribute("aria-valuetext", `${fixed(value, 1)} times the noise above the sky${adu}`);
        }
        renew(
            this.curve,
            h("div", {}, choice<Curve>(
                "Curve",
                [
                    { value: "asinh", words: "Asinh", describe: "Even within the noise, logarithmic far above it" },
                    { value: "linear", words: "Linear" },
                ],
                stretch.curve,
                (curve) => this.change({ curve: curve === "asinh" ? null : curve }),
            )),
        );
    }

    private slid(which: "black" | "white"): void {
        let black = which === "black" ? Math.sinh(Number(this.black.input.value)) : this.shown.black;
        let white = which === "white" ? Math.sinh(Number(this.white.input.value)) : this.shown.white;
        if (white < black + leastSpan) {
            if (which === "black") white = black + leastSpan;
            else black = white - leastSpan;
        }
        this.change({ black: black.toFixed(2), white: white.toFixed(2) }, true);
    }
}

function slider(id: string, words: string): { root: HTMLElement; input: HTMLInputElement; value: HTMLElement } {
    const input = h("input", { type: "range", id });
    const value = h("output", { for: id, class: "hint" });
    return { root: h("div", { class: "frame-slider" }, h("label", { for: id }, words), value, input), input, value };
}

export function section(title: string, ...content: (Node | string | null)[]): HTMLElement {
    return h("section", {}, h("h2", {}, title), ...content);
}

const overlayWords: Record<OverlayName, string> = {
    transient: "Transient",
    comparison: "Comparison stars",
    check: "Check star",
    nucleus: "Host nucleus",
    aperture: "Aperture and annulus",
    labels: "Labels",
    compass: "North and east",
    scale: "Scale bar",
};

const signs: Record<OverlayName, readonly [colour: string, path: string]> = {
    transient: ["ember", "M11 1V7M11 15V21M1 11H7M15 11H21"],
    comparison: ["slate", "M4 4H18V18H4Z"],
    check: ["slate", "M11 3L19.5 18H2.5Z"],
    nucleus: ["ink", "M3 11H19M11 3V19"],
    aperture: ["ember", "M11 5A6 6 0 1 1 10.9 5M11 1.5A9.5 9.5 0 0 1 20 8M20.5 11A9.5 9.5 0 0 1 14 20M11 20.5A9.5 9.5 0 0 1 2 14M1.5 11A9.5 9.5 0 0 1 8 2"],
    labels: ["slate", "M4 6H18M11 6V18"],
    compass: ["ink", "M14 18V4M11 7L14 3.5L17 7M14 18H3"],
    scale: ["ink", "M3 9V14H19V9"],
};

// Each mark with its sign and a switch: the legend and the controls in one.
export function overlayControls(hidden: ReadonlySet<OverlayName>, change: Change): HTMLElement {
    return section(
        "Marks",
        h(
            "div",
            { class: "frame-marks" },
            ...overlayNames.map((name) => {
                const [colour, path] = signs[name];
                const box = h("input", { type: "checkbox", id: `frame-mark-${name}`, checked: !hidden.has(name) });
                box.addEventListener("change", () => change({ hide: hideWith(hidden, name, box.checked) }));
                const drawn = svg("svg", { viewBox: "0 0 22 22", width: 20, height: 20, "aria-hidden": "true", class: `frame-sign ${colour}` }, svg("path", { d: path }));
                return h("label", { class: "frame-check", for: `frame-mark-${name}` }, box, drawn, overlayWords[name]);
            }),
        ),
    );
}

export interface BlinkChoice {
    rows: FrameRow[];
    templates: { id: string; band: string }[];
}

// `note`: why the other frame cannot be laid over this one, where it cannot.
export class BlinkControls {
    readonly root: HTMLElement;
    private readonly pick = h("select", { id: "frame-other" });
    private readonly hold = h("button", { type: "button" }, "Hold to compare");
    private readonly mode = h("div", {});
    private readonly wipe = slider("frame-wipe", "Wipe");
    private readonly note = h("p", { class: "hint", role: "status" });
    private readonly tools: HTMLElement;

    constructor(
        private readonly change: Change,
        holding: (on: boolean) => void,
    ) {
        this.pick.addEventListener("change", () => this.change({ other: this.pick.value || null, blink: null }));
        const on = (event: Event) => {
            event.preventDefault();
            holding(true);
        };
        this.hold.addEventListener("pointerdown", on);
        this.hold.addEventListener("keydown", (event) => {
            if ((event.key === " " || event.key === "Enter") && !event.repeat) on(event);
        });
        for (const name of ["pointerup", "pointercancel", "pointerleave", "keyup", "blur"]) this.hold.addEventListener(name, () => holding(false));
        this.hold.addEventListener("contextmenu", (event) => event.preventDefault());
        this.wipe.input.min = "0";
        this.wipe.input.max = "1";
        this.wipe.input.step = "0.01";
        this.wipe.input.addEventListener("input", () => this.change({ wipe: this.wipe.input.value }, true));
        this.tools = h("div", { class: "frame-compare" }, this.hold, this.mode, this.wipe.root);
        this.root = section("Compare", h("label", { for: "frame-other", class: "heard" }, "With the frame"), this.pick, this.tools, this.note);
    }

    show(state: FrameState, facts: FrameFacts, from: BlinkChoice, note: string, still: boolean): void {
        const rows = from.rows.filter((row) => row.id !== facts.id);
        const templates = from.templates.filter((one) => one.id !== facts.id);
        const known = !state.other || rows.some((row) => row.id === state.other) || templates.some((one) => one.id === state.other);
        replace(
            this.pick,
            h("option", { value: "" }, "no other frame"),
            ...templates.map((one) => h("option", { value: one.id }, `Template ${one.band}`)),
            ...rows.map((row) => h("option", { value: row.id }, `${row.night}  ${row.band}  ${row.name}`)),
            known ? null : h("option", { value: state.other }, "another frame"),
        );
        this.pick.value = state.other ?? "";
        this.tools.hidden = !state.other || note !== "";
        this.note.textContent = note || (state.other && still ? "Your system asks for little motion: the frames change only by hand." : "");
        const options: { value: Blink; words: string }[] = [
            { value: "still", words: "By hand" },
            { value: "wipe", words: "Wipe" },
        ];
        if (!still) options.splice(1, 0, { value: "auto", words: "Blink" });
        renew(this.mode, h("div", {}, choice<Blink>("How to compare", options, state.blink, (blink) => this.change({ blink: blink === "still" ? null : blink }))));
        this.wipe.root.hidden = state.blink !== "wipe";
        this.wipe.input.value = String(state.wipe);
        this.wipe.value.textContent = `${Math.round((1 - state.wipe) * 100)} % of the other frame`;
    }
}

// A panel that opened below what is seen: so far up that its beginning is seen, and the picture too.
export function bringUp(panel: HTMLElement): void {
    const top = panel.getBoundingClientRect().top;
    if (top > innerHeight * 0.75) scrollBy(0, top - innerHeight * 0.6);
}

export function zoomTools(tools: [string, () => void][], ...more: HTMLElement[]): HTMLElement {
    const buttons = tools.map(([words, act]) => h("button", { type: "button", onclick: act }, words));
    return h("div", { class: "frame-tools", role: "group", "aria-label": "Zoom" }, ...buttons, ...more);
}
