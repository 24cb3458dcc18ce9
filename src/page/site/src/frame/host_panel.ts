// SPDX-License-Identifier: MIT
// What the host is taken to be at the transient: data, model and what is left, in one scale.
import { h, replace } from "../dom";
import { choice, loading, trouble } from "../parts";
import { fixed, signed } from "../words";
import type { HostLook } from "./answers";
import { paintSquare } from "./squares";

const mostSigma = 5;
const methodWords: Record<string, string> = { template: "Template", scene: "Scene of all frames", smooth: "Smooth host", annulus: "Annulus", sky: "Sky alone" };

export class HostPanel {
    readonly root = h("section", { class: "frame-host", hidden: true });
    private look: HostLook | null = null;
    private method = "1";

    constructor(
        private readonly close: () => void,
        private readonly pick: (method: string) => void,
    ) {}

    busy(): void {
        this.root.hidden = false;
        replace(this.root, this.head(), loading("Solving the host by each method; the first time this takes a while", 3));
    }

    fail(error: unknown): void {
        this.root.hidden = false;
        this.look = null;
        replace(this.root, this.head(), trouble(error));
    }

    show(look: HostLook, method: string): void {
        this.root.hidden = false;
        this.look = look;
        this.method = method;
        this.draw();
    }

    choose(method: string): void {
        if (!this.look || method === this.method) return;
        this.method = method;
        this.draw();
    }

    hide(): void {
        this.root.hidden = true;
        this.look = null;
        replace(this.root);
    }

    repaint(): void {
        if (this.look) this.draw();
    }

    private head(): HTMLElement {
        return h("div", { class: "frame-panel-head" }, h("h2", {}, "Data, model and residual at the transient"), h("button", { type: "button", onclick: this.close }, "Close"));
    }

    private draw(): void {
        const look = this.look!;
        const shown = look.methods.find((one) => one.method === this.method) ?? look.methods[0];
        if (!shown) {
            replace(this.root, this.head(), h("p", {}, look.words));
            return;
        }
        const noise = look.noise_adu > 0 ? look.noise_adu : 1;
        const sky = median(shown.model_adu.filter((value): value is number => value !== null));
        const data = look.data_adu.map((value) => (value === null ? null : (value - sky) / noise));
        const model = shown.model_adu.map((value) => (value === null ? null : (value - sky) / noise));
        const most = Math.max(10, ...data.map((value) => value ?? 0));
        const least = Math.min(-2, ...model.map((value) => value ?? 0));
        const light = { kind: "light", stretch: { black: least, white: most, curve: "asinh" } } as const;
        const choosing = this.root.contains(document.activeElement) && document.activeElement instanceof HTMLElement ? document.activeElement.dataset["value"] : undefined;
        const picture = (name: string, words: string, values: readonly (number | null)[], shades: Parameters<typeof paintSquare>[4]) => {
            const canvas = h("canvas", { role: "img", "aria-label": `${name}: ${words}` });
            paintSquare(canvas, values, look.width_px, look.height_px, shades);
            return h("figure", {}, canvas, h("figcaption", {}, h("strong", {}, name), ` ${words}`));
        };
        replace(
            this.root,
            this.head(),
            look.methods.length > 1
                ? choice(
                      "Method",
                      look.methods.map((one) => ({ value: one.method, words: `${methodWords[one.method] ?? one.method}${one.used ? " (in use)" : ""}` })),
                      shown.method,
                      this.pick,
                  )
                : h("p", { class: "hint" }, `Method: ${methodWords[shown.method] ?? shown.method}${shown.used ? ", in use" : ""}`),
            h("p", {}, look.words),
            h(
                "div",
                { class: "frame-three" },
                picture("Data", `${look.width_px} by ${look.height_px} px`, data, light),
                picture("Model", `in the data's scale, up to ${fixed(most, 0)} times the noise`, model, light),
                picture("Residual", residualWords(shown.residual_sigma), shown.residual_sigma, { kind: "residual", most: mostSigma }),
            ),
            scale(),
        );
        if (choosing) this.root.querySelector<HTMLElement>(`[data-value="${choosing}"]`)?.focus();
    }
}

function residualWords(values: readonly (number | null)[]): string {
    const known = values.filter((value): value is number => value !== null);
    if (!known.length) return "no pixel is defined";
    const rms = Math.sqrt(known.reduce((sum, value) => sum + value * value, 0) / known.length);
    return `from ${signed(Math.min(...known), 1)} to ${signed(Math.max(...known), 1)} σ, root mean square ${fixed(rms, 2)} σ`;
}

// What the tones of the residual mean.
function scale(): HTMLElement {
    const bar = h("canvas", { class: "frame-tones", "aria-hidden": "true" });
    const values = Array.from({ length: 101 }, (_, i) => (i / 50 - 1) * mostSigma);
    paintSquare(bar, values, values.length, 1, { kind: "residual", most: mostSigma });
    return h(
        "div",
        { class: "frame-scale" },
        bar,
        h("span", {}, `−${mostSigma} σ: fainter than the model`),
        h("span", {}, "0: as the model"),
        h("span", {}, `+${mostSigma} σ: brighter, the transient`),
    );
}

function median(values: number[]): number {
    if (!values.length) return 0;
    const sorted = [...values].sort((a, b) => a - b);
    return sorted[Math.floor(sorted.length / 2)]!;
}
