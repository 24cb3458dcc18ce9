// SPDX-License-Identifier: MIT
// The frame's stars in words, beside the picture: chosen with the arrow keys as with the pointer.
import { h, replace } from "../dom";
import { fixed } from "../words";
import type { FrameFacts } from "./answers";

interface Entry {
    star: string; // as the address has it
    words: string;
}

export class StarList {
    readonly root: HTMLElement;
    private readonly list = h("ul", { role: "listbox", "aria-label": "Stars of the frame", tabindex: 0, class: "frame-stars" });
    private entries: Entry[] = [];
    private active = -1;

    constructor(private readonly pick: (star: string) => void) {
        this.list.addEventListener("keydown", (event) => this.press(event));
        this.list.addEventListener("click", (event) => {
            const item = event.target instanceof Element ? event.target.closest("li") : null;
            const at = item ? [...this.list.children].indexOf(item) : -1;
            if (at >= 0) this.choose(at);
        });
        this.root = h("section", {}, h("h2", {}, "Stars"), h("p", { class: "hint" }, "Choose one here, or click on any star of the picture."), this.list);
    }

    show(facts: FrameFacts, chosen: string | null): void {
        const transient = facts.transient ? `${facts.transient.x_px.toFixed(2)},${facts.transient.y_px.toFixed(2)}` : null;
        const wanted = chosen === "transient" ? transient : chosen;
        const order = { transient: 0, check: 1, comparison: 2, unused: 3 };
        const stars = [...facts.stars].sort((a, b) => order[a.role] - order[b.role]);
        this.entries = [
            ...(transient ? [{ star: transient, words: "Transient" }] : []),
            ...stars.map((one) => ({
                star: one.label,
                words: `${one.label}${one.catalogue_mag === null ? "" : `  ${fixed(one.catalogue_mag, 2)} mag`}, ${one.role}${one.suspect ? `, suspect: ${one.why}` : ""}`,
            })),
        ];
        const at = this.entries.findIndex((one) => one.star === wanted);
        if (at >= 0 || this.active >= this.entries.length) this.active = at;
        replace(
            this.list,
            ...this.entries.map((one, i) => h("li", { role: "option", id: `frame-star-${i}`, "aria-selected": one.star === wanted ? "true" : "false" }, one.words)),
        );
        this.mark();
    }

    private press(event: KeyboardEvent): void {
        if (event.ctrlKey || event.metaKey || event.altKey) return;
        const last = this.entries.length - 1;
        const moves: Record<string, number> = {
            ArrowDown: Math.min(this.active + 1, last),
            ArrowUp: Math.max(this.active - 1, 0),
            Home: 0,
            End: last,
        };
        const to = moves[event.key];
        if (to !== undefined) {
            this.active = to;
            this.mark();
        } else if (event.key === "Enter" || event.key === " ") this.choose(this.active);
        else return;
        event.preventDefault();
    }

    private choose(at: number): void {
        const entry = this.entries[at];
        if (!entry) return;
        this.active = at;
        this.mark();
        this.pick(entry.star);
    }

    private mark(): void {
        [...this.list.children].forEach((item, i) => item.classList.toggle("active", i === this.active));
        const item = this.list.children[this.active];
        if (!item) this.list.removeAttribute("aria-activedescendant");
        else {
            this.list.setAttribute("aria-activedescendant", item.id);
            if (this.list.contains(document.activeElement)) item.scrollIntoView({ block: "nearest" });
        }
    }
}
