// SPDX-License-Identifier: MIT
// An interval of x between two handles, each of which is a slider for the keyboard.
import { h } from "../dom";
import type { Range } from "./marks";

export interface IntervalOptions {
    label: string; // "Interval of the rate"
    step: number; // of an arrow key; Page keys take ten, Shift a tenth
    words: (x: number) => string;
    onChange: (range: Range | null, done: boolean) => void;
}

export class Interval {
    readonly root = h("div", { class: "chart-interval", hidden: true });
    readonly #shade = h("div", { class: "chart-shade" });
    readonly #handles: [HTMLElement, HTMLElement];
    #range: Range | null = null;
    #shown: Range = [0, 1];

    constructor(
        private readonly options: IntervalOptions,
        private readonly xAt: (clientX: number) => number,
    ) {
        this.#handles = [this.#handle("from"), this.#handle("to")];
        this.root.append(this.#shade, ...this.#handles);
    }

    get range(): Range | null {
        return this.#range;
    }

    set(range: Range | null): void {
        this.#range = range && (range[0] <= range[1] ? range : [range[1], range[0]]);
        this.place(this.#shown);
    }

    // Where x runs from `shown[0]` to `shown[1]` across the root's width.
    place(shown: Range): void {
        this.#shown = shown;
        this.root.hidden = this.#range === null;
        if (!this.#range) return;
        const share = (x: number) => (100 * (x - shown[0])) / (shown[1] - shown[0]);
        const [left, right] = this.#range.map((x) => Math.min(100, Math.max(0, share(x)))) as [number, number];
        this.#shade.style.left = `${left}%`;
        this.#shade.style.width = `${right - left}%`;
        this.#range.forEach((x, i) => {
            const handle = this.#handles[i as 0 | 1];
            const at = share(x);
            handle.style.left = `${at}%`;
            handle.hidden = at < -0.01 || at > 100.01;
            handle.setAttribute("aria-valuemin", shown[0].toFixed(4));
            handle.setAttribute("aria-valuemax", shown[1].toFixed(4));
            handle.setAttribute("aria-valuenow", x.toFixed(4));
            handle.setAttribute("aria-valuetext", this.options.words(x));
        });
    }

    #handle(end: "from" | "to"): HTMLElement {
        const handle = h("div", {
            class: `chart-handle ${end}`,
            role: "slider",
            tabindex: 0,
            "aria-label": `${this.options.label}, ${end}`,
            "aria-orientation": "horizontal",
        });
        const which = end === "from" ? 0 : 1;
        handle.addEventListener("keydown", (event) => this.#key(event, which));
        handle.addEventListener("pointerdown", (event) => {
            event.preventDefault();
            event.stopPropagation();
            handle.focus();
            handle.setPointerCapture(event.pointerId);
            const move = (moved: PointerEvent) => this.#move(which, this.xAt(moved.clientX), false);
            const end = (ended: PointerEvent) => {
                handle.removeEventListener("pointermove", move);
                if (ended.type === "pointerup") this.#move(which, this.xAt(ended.clientX), true);
            };
            handle.addEventListener("pointermove", move);
            handle.addEventListener("pointerup", end, { once: true });
            handle.addEventListener("pointercancel", end, { once: true });
        });
        return handle;
    }

    #key(event: KeyboardEvent, which: 0 | 1): void {
        if (!this.#range) return;
        const one = this.options.step * (event.shiftKey ? 0.1 : 1);
        const steps: Record<string, number> = { ArrowLeft: -one, ArrowDown: -one, ArrowRight: one, ArrowUp: one, PageDown: -10 * one, PageUp: 10 * one };
        let x = this.#range[which];
        if (event.key in steps) x += steps[event.key] ?? 0;
        else if (event.key === "Home") x = this.#shown[0];
        else if (event.key === "End") x = this.#shown[1];
        else return;
        event.preventDefault();
        event.stopPropagation();
        this.#move(which, x, true);
    }

    // A handle stops at the other one and at the chart's edges.
    #move(which: 0 | 1, x: number, done: boolean): void {
        if (!this.#range) return;
        const within = Math.min(this.#shown[1], Math.max(this.#shown[0], x));
        const [from, to] = this.#range;
        this.#range = which === 0 ? [Math.min(within, to), to] : [from, Math.max(within, from)];
        this.place(this.#shown);
        this.options.onChange(this.#range, done);
    }
}
