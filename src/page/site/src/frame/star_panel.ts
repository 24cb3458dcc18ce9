// SPDX-License-Identifier: MIT
// One star of the frame: its cut-out, profile, growth curve and numbers.
import { Chart } from "../chart";
import { h, replace } from "../dom";
import { loading, trouble } from "../parts";
import { fixed, signed, thin, withError } from "../words";
import type { StarLook } from "./answers";
import { paintSquare, type Shades } from "./squares";

const roleWords = { transient: "the transient", comparison: "comparison star", check: "check star", unused: "star of the sequence, not used" } as const;

export class StarPanel {
    readonly root = h("section", { class: "frame-star", "aria-live": "polite", hidden: true });
    private readonly profilePlace = h("div", {});
    private readonly growthPlace = h("div", {});
    private profile: Chart | null = null;
    private growth: Chart | null = null;
    private look: StarLook | null = null;

    constructor(private readonly close: () => void) {}

    busy(words: string): void {
        this.root.hidden = false;
        this.look = null;
        replace(this.root, this.head(words), loading("Measuring the star", 3));
    }

    fail(words: string, error: unknown): void {
        this.root.hidden = false;
        this.look = null;
        replace(this.root, this.head(words), trouble(error));
    }

    show(look: StarLook): void {
        this.root.hidden = false;
        this.look = look;
        const cut = h("canvas", { class: "frame-cutout", role: "img", "aria-label": `Cut-out of ${look.cutout.width_px} by ${look.cutout.height_px} pixels about the star` });
        replace(
            this.root,
            this.head(heading(look)),
            look.remarks.length ? h("ul", { class: "frame-remarks" }, ...look.remarks.map((words) => h("li", {}, words))) : null,
            h("div", { class: "frame-star-body" }, h("div", { class: "frame-star-side" }, cut, numbers(look)), h("div", { class: "frame-star-plots" }, this.profilePlace, this.growthPlace)),
        );
        paintCut(cut, look);
        this.plots(look);
    }

    repaint(): void {
        const canvas = this.root.querySelector("canvas.frame-cutout");
        if (this.look && canvas instanceof HTMLCanvasElement) paintCut(canvas, this.look);
    }

    hide(): void {
        this.root.hidden = true;
        this.look = null;
        this.destroy();
        replace(this.root);
    }

    destroy(): void {
        this.profile?.destroy();
        this.growth?.destroy();
        this.profile = null;
        this.growth = null;
    }

    private head(words: string): HTMLElement {
        return h("div", { class: "frame-panel-head" }, h("h2", {}, words), h("button", { type: "button", onclick: this.close }, "Close"));
    }

    private plots(look: StarLook): void {
        const name = look.label ?? "place";
        this.profile ??= new Chart(this.profilePlace, { label: "Profile of the star", fileName: `profile-${name}`, folded: true, empty: "No pixel of it can be read." });
        this.growth ??= new Chart(this.growthPlace, { label: "Growth curve of the star", fileName: `growth-${name}`, folded: true, empty: "No growth curve could be measured." });
        const aperture = [{ x: look.aperture_px, words: look.method === "psf" ? "core" : "aperture", colour: "slate" }];
        this.profile.set({
            x: { kind: "plain", label: "Distance from its middle, px" },
            panels: [
                {
                    name: "Profile",
                    unit: "ADU above the sky",
                    height: 190,
                    marks: aperture,
                    points: [
                        {
                            name: "Pixels",
                            shape: "disc",
                            colour: "slate",
                            points: look.profile.map(({ radius_px, adu }) => ({ x: radius_px, y: adu, words: `${fixed(adu, 0)} ADU at ${fixed(radius_px, 2)} px` })),
                        },
                    ],
                    lines: look.profile_fit.length
                        ? [{ name: "Fitted", colour: "ember", x: look.profile_fit.map((one) => one.radius_px), y: look.profile_fit.map((one) => one.adu) }]
                        : [],
                },
            ],
        });
        this.growth.set({
            x: { kind: "plain", label: "Radius of the aperture, px" },
            panels: [
                {
                    name: "Growth",
                    unit: "share of its light",
                    height: 170,
                    marks: aperture,
                    levels: [{ y: 1, words: "all" }],
                    include: [0, 1.1],
                    points: [
                        {
                            name: "Light within",
                            shape: "square",
                            colour: "slate",
                            points: look.growth.map(({ radius_px, share, err }) => ({
                                x: radius_px,
                                y: share,
                                err,
                                words: `${fixed(share, 3)}${thin}±${thin}${fixed(err, 3)} of its light within ${fixed(radius_px, 1)} px`,
                            })),
                        },
                    ],
                },
            ],
        });
    }
}

function heading(look: StarLook): string {
    if (look.role === "transient") return "The transient";
    if (look.label) return `Star ${look.label}: ${roleWords[look.role ?? "unused"]}`;
    return `Star at x ${fixed(look.x_px, 1)}, y ${fixed(look.y_px, 1)}`;
}

function numbers(look: StarLook): HTMLElement {
    const rows: [string, string | null][] = [
        ["Magnitude", look.mag === null ? null : withError(look.mag, look.err_mag)],
        ["Catalogue", look.catalogue_mag === null ? null : withError(look.catalogue_mag, look.catalogue_err_mag)],
        ["Measured − catalogue", look.residual_mag === null ? null : `${signed(look.residual_mag)} mag`],
        ["Instrumental", look.instrumental_mag === null ? null : fixed(look.instrumental_mag)],
        ["Flux", look.flux_e === null ? null : `${withError(look.flux_e, look.flux_err_e, 0)} e⁻`],
        ["Signal to noise", look.signal_to_noise === null ? null : fixed(look.signal_to_noise, 1)],
        ["FWHM", look.fwhm_px === null ? "no profile could be fitted" : `${withError(look.fwhm_px, look.fwhm_err_px, 2)} px`],
        ["Elongation", look.elongation === null ? null : `${fixed(look.elongation, 2)}${look.direction_deg === null ? "" : ` at ${fixed(look.direction_deg, 0)}°`}`],
        ["Moffat β", look.moffat_beta === null ? null : fixed(look.moffat_beta, 2)],
        ["Peak", `${fixed(look.peak_adu, 0)} ADU${look.saturated ? ", saturated" : ""}`],
        ["Sky", `${withError(look.sky_adu, look.sky_err_adu, 1)} ADU, noise ${fixed(look.sky_noise_adu, 1)}`],
        ["Method", look.method === "psf" ? "point-spread function" : "aperture"],
        ["Aperture, annulus", `${fixed(look.aperture_px, 1)} px, ${fixed(look.inner_px, 1)} to ${fixed(look.outer_px, 1)} px`],
        ["Place", `x ${fixed(look.x_px, 2)}, y ${fixed(look.y_px, 2)}${thin}±${thin}${fixed(look.position_err_px, 2)} px`],
        ["Sky position", look.ra_deg === null || look.dec_deg === null ? null : `${fixed(look.ra_deg, 5)}°, ${signed(look.dec_deg, 5)}°`],
        ["Flags", look.flags.join(", ") || null],
    ];
    return h("dl", { class: "frame-numbers" }, ...rows.flatMap(([name, value]) => (value === null ? [] : [h("div", {}, h("dt", {}, name), h("dd", {}, value))])));
}

function paintCut(canvas: HTMLCanvasElement, look: StarLook): void {
    const noise = look.sky_noise_adu > 0 ? look.sky_noise_adu : 1;
    const most = Math.max(20, ...look.cutout.adu.map((adu) => (adu === null ? 0 : (adu - look.sky_adu) / noise)));
    const values = look.cutout.adu.map((adu) => (adu === null ? null : (adu - look.sky_adu) / noise));
    const shades: Shades = { kind: "light", stretch: { black: -2, white: most, curve: "asinh" } };
    paintSquare(canvas, values, look.cutout.width_px, look.cutout.height_px, shades);
}
