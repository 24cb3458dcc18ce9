// SPDX-License-Identifier: MIT
// A star, a night or a frame set aside, or taken back: first what it would change, then a reason, then it is kept.
import { change, read } from "./api";
import { bandPlace, bandShape, tellOwnChange } from "./campaign";
import { h, replace } from "./dom";
import { say, sayProblem } from "./notice";
import { loading, sign, table, trouble, type Column } from "./parts";
import { fixed, shortDay, signed, withError } from "./words";

export type Action = "exclude" | "include";
export type Kind = "star" | "night" | "frame";

interface NightChange {
    night: string;
    band: string;
    instrument: string;
    before_mag: number | null;
    before_err_mag: number | null;
    after_mag: number | null;
    after_err_mag: number | null;
    change_mag: number | null;
    change_sigma: number | null;
}
interface Rate {
    value: number;
    err: number;
}
interface Preview {
    words: string;
    nights: NightChange[];
    decline: { band: string; before: Rate | null; after: Rate | null }[];
    remarks: string[];
}

export interface SetAsideOptions {
    action: Action;
    kind: Kind;
    key: string;
    // "Star 131b"
    name: string;
    // It was kept, or left.
    done: () => void;
}

export class SetAside {
    readonly root: HTMLElement;
    private readonly body = h("div", { class: "preview" });
    private readonly asking = new AbortController();
    private readonly reason = h("input", { type: "text", id: "reason", name: "reason", maxlength: 300, autocomplete: "off", required: true, "aria-describedby": "reason-hint" });

    constructor(private readonly options: SetAsideOptions) {
        const heading = h("h3", { tabindex: -1 }, `${options.action === "exclude" ? "Set aside" : "Take back into use"}: ${options.name}?`);
        this.root = h("section", { class: "set-aside" }, heading, this.body, this.form());
        void this.preview();
        queueMicrotask(() => heading.focus({ preventScroll: true }));
    }

    refresh(): void {
        void this.preview();
    }

    end(): void {
        this.asking.abort();
    }

    private async preview(): Promise<void> {
        const { action, kind, key } = this.options;
        if (!this.body.firstChild) replace(this.body, loading("Working out what would change", 4));
        try {
            const answer = await read<Preview>("/api/preview", { action, kind, key }, this.asking.signal);
            replace(this.body, ...pictured(answer));
        } catch (error) {
            if (!this.asking.signal.aborted) replace(this.body, trouble(error, () => void this.preview()));
        }
    }

    private form(): HTMLElement {
        const exclude = this.options.action === "exclude";
        const keep = h("button", { type: "submit", class: "main" }, exclude ? "Set it aside" : "Take it back into use");
        const form = h(
            "form",
            { class: "keep" },
            exclude && h("label", { for: "reason" }, "Reason"),
            exclude && this.reason,
            exclude && h("p", { class: "hint", id: "reason-hint" }, "It is written into the ledger, and stands beside it from now on."),
            h("div", { class: "buttons" }, h("button", { type: "button", onclick: () => this.options.done() }, "Leave it as it is"), keep),
        );
        form.addEventListener("submit", (event) => {
            event.preventDefault();
            void this.keep(keep);
        });
        return form;
    }

    private async keep(button: HTMLButtonElement): Promise<void> {
        const { action, kind, key } = this.options;
        const reason = this.reason.value.trim();
        if (action === "exclude" && reason === "") {
            this.reason.focus();
            return;
        }
        button.disabled = true;
        try {
            const answer = await change<{ words: string }>("/api/changes", { action, kind, key, reason });
            say(answer.words);
            this.options.done();
            tellOwnChange();
        } catch (error) {
            sayProblem(error);
            button.disabled = false;
        }
    }
}

function pictured(preview: Preview): HTMLElement[] {
    const moved = preview.nights.filter((one) => one.change_mag !== 0);
    const columns: Column<NightChange>[] = [
        { name: "Night", cell: (one) => h("span", { class: "band" }, `${shortDay(one.night)} `, sign(bandShape(one.band), `band-${bandPlace(one.band)}`), ` ${one.band}`) },
        { name: "Now", number: true, wide: true, cell: (one) => withError(one.before_mag, one.before_err_mag) },
        { name: "Then", number: true, cell: (one) => withError(one.after_mag, one.after_err_mag) },
        { name: "Change", unit: "mag", number: true, cell: (one) => signed(one.change_mag, 4) },
        { name: "Change", unit: "σ", number: true, wide: true, cell: (one) => signed(one.change_sigma, 2) },
    ];
    const decline: Column<Preview["decline"][number]>[] = [
        { name: "Decline", cell: (one) => h("span", { class: "band" }, sign(bandShape(one.band), `band-${bandPlace(one.band)}`), ` ${one.band}`) },
        { name: "Now", unit: "mag/day", number: true, cell: (one) => withError(one.before?.value, one.before?.err, 4) },
        { name: "Then", unit: "mag/day", number: true, cell: (one) => withError(one.after?.value, one.after?.err, 4) },
    ];
    const parts: (HTMLElement | false)[] = [
        h("p", { class: "preview-words" }, preview.words.replaceAll(/-(?=\d+\.\d)/g, "−")),
        preview.nights.length > 0 && table("What would change, night by night", columns, moved.length > 0 ? moved : preview.nights),
        moved.length > 0 && moved.length < preview.nights.length && h("p", { class: "hint" }, `Nights that stay exactly as they are: ${fixed(preview.nights.length - moved.length, 0)}.`),
        preview.decline.length > 0 && table("The decline before and after", decline, preview.decline),
        ...preview.remarks.map((remark) => h("p", {}, remark)),
    ];
    return parts.filter((part): part is HTMLElement => part !== false);
}
