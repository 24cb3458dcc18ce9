// SPDX-License-Identifier: MIT
// The mean rate of an interval that the observer picks: the server's fit, and the command that prints the same.
import { ApiProblem, read } from "../../api";
import { civil, typedJd, type Range } from "../../chart";
import { h, replace } from "../../dom";
import { command, table } from "../../parts";
import { fixed } from "../../words";
import { copyButton } from "../copy_button";
import type { RateAnswer } from "./answers";
import { bandSign, figure } from "./figures";
import { rounded } from "./state";

const settleMs = 120;

interface Line {
    band: string;
    answer: RateAnswer | null;
    problem: string;
}

export class RatePanel {
    readonly root: HTMLElement;
    readonly #from = this.#field("From");
    readonly #to = this.#field("To");
    readonly #note = h("p", { class: "hint", id: "rate-note" });
    readonly #result = h("div", { class: "rate-result", "aria-live": "polite" });
    readonly #clear = h("button", { type: "button", onclick: () => this.pick(null) }, "Clear");
    #range: Range | null = null;
    #bands: string[] = [];
    #wait = 0;
    #asking: AbortController | null = null;

    constructor(
        private readonly pick: (range: Range | null) => void,
        private readonly suggest: () => Range | null,
        private readonly drawn: (rates: RateAnswer[]) => void,
    ) {
        const last = h(
            "button",
            { type: "button", onclick: () => this.pick(this.suggest()), title: "Then move its ends" },
            "The last 15 days",
        );
        const form = h(
            "form",
            { class: "rate-form" },
            this.#from.label,
            this.#to.label,
            h("button", { type: "submit" }, "Measure"),
            last,
            this.#clear,
        );
        form.addEventListener("submit", (event) => {
            event.preventDefault();
            this.#typed();
        });
        this.root = h("section", { class: "rate", "aria-labelledby": "rate-title" }, h("h2", { id: "rate-title" }, "Rate of an interval"), form, this.#note, this.#result);
    }

    show(range: Range | null, bands: string[]): void {
        const same = range?.[0] === this.#range?.[0] && range?.[1] === this.#range?.[1] && bands.join() === this.#bands.join();
        this.#bands = bands;
        this.#range = range;
        this.#clear.disabled = range === null;
        if (!same) this.#put();
        if (!range) {
            this.#asking?.abort();
            clearTimeout(this.#wait);
            replace(this.#result);
            this.drawn([]);
        } else if (!same) this.#soon();
    }

    // The ledger changed: the same interval may have another rate.
    again(): void {
        if (this.#range) this.#soon();
    }

    // While a handle is dragged, before the address knows.
    dragged(range: Range): void {
        this.#range = rounded(range);
        this.#put();
        this.#soon();
    }

    #field(name: string): { label: HTMLElement; input: HTMLInputElement } {
        const input = h("input", { type: "text", autocomplete: "off", spellcheck: "false", "aria-describedby": "rate-note" });
        return { input, label: h("label", { class: "field" }, h("span", {}, name), input) };
    }

    #put(): void {
        this.#from.input.value = this.#range ? civil(this.#range[0]) : "";
        this.#to.input.value = this.#range ? civil(this.#range[1]) : "";
        [this.#from.input, this.#to.input].forEach((input) => input.removeAttribute("aria-invalid"));
        this.#note.textContent = this.#range
            ? `BJD (TDB) ${this.#range[0].toFixed(4)} to ${this.#range[1].toFixed(4)}, ${fixed(this.#range[1] - this.#range[0], 1)} days.`
            : "Type two dates (2024-03-18, 2024-03-18 21:30 or a Julian date), or press Pick an interval and drag along the chart.";
    }

    #typed(): void {
        const ends = [this.#from, this.#to].map(({ input }) => {
            const jd = typedJd(input.value);
            if (jd === null) input.setAttribute("aria-invalid", "true");
            else input.removeAttribute("aria-invalid");
            return jd;
        });
        const [from, to] = ends;
        const bad = [this.#from, this.#to].find(({ input }) => input.hasAttribute("aria-invalid"));
        if (bad || from == null || to == null) {
            this.#note.textContent = `“${bad?.input.value ?? ""}” is no date. Write it as 2024-03-18, 2024-03-18 21:30 or 2460388.4.`;
            bad?.input.focus();
        } else if (from === to) {
            this.#note.textContent = "The interval has no length: give two different dates.";
        } else {
            this.pick(from < to ? [from, to] : [to, from]);
        }
    }

    #soon(): void {
        this.#result.setAttribute("aria-busy", "true");
        clearTimeout(this.#wait);
        this.#wait = window.setTimeout(() => void this.#ask(), settleMs);
    }

    async #ask(): Promise<void> {
        const range = this.#range;
        if (!range) return;
        this.#asking?.abort();
        const asking = new AbortController();
        this.#asking = asking;
        const lines = await Promise.all(
            this.#bands.map(async (band): Promise<Line> => {
                try {
                    const query = { band, from: range[0], to: range[1] };
                    return { band, answer: await read<RateAnswer>("/api/curve/rate", query, asking.signal), problem: "" };
                } catch (error) {
                    if (error instanceof ApiProblem) return { band, answer: null, problem: `${error.problem.what} ${error.problem.mend}` };
                    return { band, answer: null, problem: "" };
                }
            }),
        );
        if (asking.signal.aborted) return;
        this.#result.removeAttribute("aria-busy");
        this.drawn(lines.flatMap((line) => (line.answer ? [line.answer] : [])));
        replace(this.#result, this.#table(lines), ...lines.flatMap((line) => (line.answer ? [this.#command(line.answer)] : [])));
    }

    #table(lines: Line[]): HTMLElement {
        const bad = lines.filter((line) => line.problem);
        const good = lines.flatMap((line) => (line.answer ? [line.answer] : []));
        const columns = [
            { name: "Band", cell: (rate: RateAnswer) => h("span", {}, bandSign(rate.band), ` ${rate.band}`) },
            { name: "Rate", unit: "mag/d", number: true, cell: (rate: RateAnswer) => figure(rate.mag_per_day) },
            { name: "In 100 days", unit: "mag", number: true, cell: (rate: RateAnswer) => figure(rate.mag_per_100_days) },
            { name: "Points", number: true, cell: (rate: RateAnswer) => rate.n },
        ];
        return h(
            "div",
            {},
            good.length > 0 && table("Rate of the interval", columns, good, { headed: true, rowKey: (rate) => rate.band }),
            ...bad.map((line) => h("p", {}, h("strong", {}, line.band), ` ${line.problem}`)),
            ...good.flatMap((rate) => (rate.remarks ?? []).map((words) => h("p", { class: "hint" }, h("strong", {}, rate.band), ` ${words}`))),
            good.length > 0 && h("p", { class: "hint" }, "Positive fades. The same numbers from a terminal:"),
        );
    }

    #command(rate: RateAnswer): HTMLElement {
        return h("p", { class: "command-line" }, command(rate.command), copyButton(() => rate.command, "Copy", `Copy the command for ${rate.band}`));
    }
}
