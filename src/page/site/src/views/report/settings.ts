// SPDX-License-Identifier: MIT
// Which report: its format, nights and bands, and what is held back.
import { go } from "../../address";
import { bandPlace, bandShape, campaign } from "../../campaign";
import { h, replace } from "../../dom";
import { choice, sign } from "../../parts";
import { flags, formats, type ReportState } from "./state";

export class Settings {
    readonly root = h("form", { class: "report-settings", "aria-label": "Which report" });
    #before = "";

    constructor() {
        this.root.addEventListener("submit", (event) => {
            event.preventDefault();
            this.#typed();
        });
    }

    // Redrawn where something is different; the control in use keeps the focus.
    show(state: ReportState): void {
        const bands = (campaign()?.bands ?? []).map((band) => band.name);
        const now = JSON.stringify([state, bands]);
        if (now === this.#before) return;
        this.#before = now;
        const focused = this.root.contains(document.activeElement) ? (document.activeElement as HTMLElement).dataset["value"] : undefined;
        const open = this.root.querySelector("details")?.open ?? state.hold.length > 0;
        this.#fill(state, bands, open);
        if (focused) this.root.querySelector<HTMLElement>(`[data-value="${CSS.escape(focused)}"]`)?.focus();
    }

    #fill(state: ReportState, bands: string[], open: boolean): void {
        const format = choice("Format", [...formats], state.format, (value) => go({ format: value === "network" ? null : value }));
        const shown = state.bands ?? bands;
        const held = [...new Set([...flags.map((flag) => flag.value as string), ...state.hold])];
        const wordsOf = (flag: string) => flags.find((one) => one.value === flag)?.words ?? flag;
        replace(
            this.root,
            group("Format", format, h("p", { class: "hint" }, formats.find((one) => one.value === state.format)?.describe ?? "")),
            group(
                "Nights",
                h(
                    "div",
                    { class: "settings-row" },
                    date("From", "from", state.from),
                    date("To", "to", state.to),
                    h("button", { type: "submit", "data-value": "nights" }, "Use"),
                ),
                h("p", { class: "hint", role: "status" }),
            ),
            group(
                "Bands",
                h(
                    "div",
                    { class: "settings-row" },
                    ...bands.map((band) =>
                        tick([sign(bandShape(band), `band-${bandPlace(band)}`), ` ${band}`], `band ${band}`, shown.includes(band), (on) => {
                            const kept = bands.filter((one) => (one === band ? on : shown.includes(one)));
                            go({ bands: kept.length === bands.length || kept.length === 0 ? null : kept.join(",") });
                        }),
                    ),
                ),
            ),
            group(
                "What goes",
                tick(["Also what was reported before"], "again", state.again, (on) => go({ again: on ? "1" : null })),
                tick(["A line a frame instead of a night"], "frames", state.frames, (on) => go({ frames: on ? "1" : null })),
                tick(["Hold limits back"], "limits", state.noLimits, (on) => go({ limits: on ? "0" : null })),
                tick(["Hold untransformed values back"], "transformed", state.transformedOnly, (on) => go({ transformed: on ? "1" : null })),
            ),
            h(
                "details",
                { class: "settings-hold", open },
                h("summary", {}, state.hold.length ? `Held back where flagged: ${state.hold.map(wordsOf).join(", ")}` : "Hold back what is flagged"),
                h(
                    "div",
                    { class: "hold-list" },
                    ...held.map((flag) =>
                        tick([wordsOf(flag)], `hold ${flag}`, state.hold.includes(flag), (on) => {
                            const hold = held.filter((one) => (one === flag ? on : state.hold.includes(one)));
                            go({ hold: hold.join(",") || null });
                        }),
                    ),
                ),
            ),
        );
    }

    #typed(): void {
        const fields = [...this.root.querySelectorAll<HTMLInputElement>("input.date")];
        const bad = fields.find((field) => field.value.trim() !== "" && !isNight(field.value.trim()));
        fields.forEach((field) => (field === bad ? field.setAttribute("aria-invalid", "true") : field.removeAttribute("aria-invalid")));
        this.root.querySelector("p[role=status]")!.textContent = bad ? `“${bad.value}” is no date. Write it as 2024-03-18.` : "";
        if (bad) bad.focus();
        else go(Object.fromEntries(fields.map((field) => [field.name, field.value.trim() || null])));
    }
}

// "2024-03-18", a date that there is: nights have no other names.
function isNight(text: string): boolean {
    const at = /^\d{4}-\d{2}-\d{2}$/.test(text) ? new Date(`${text}T00:00:00Z`) : null;
    return at !== null && !Number.isNaN(at.getTime()) && at.toISOString().startsWith(text);
}

function group(name: string, ...content: Node[]): HTMLElement {
    return h("fieldset", {}, h("legend", {}, name), ...content);
}

function tick(words: (Node | string)[], value: string, on: boolean, change: (on: boolean) => void): HTMLElement {
    const box = h("input", { type: "checkbox", checked: on, "data-value": value, onchange: () => change(box.checked) });
    return h("label", { class: "switch" }, box, h("span", {}, ...words));
}

function date(words: string, name: string, value: string): HTMLElement {
    const input = h("input", { type: "text", class: "date", name, value, "data-value": name, placeholder: "2024-03-18", autocomplete: "off", spellcheck: "false" });
    return h("label", { class: "field" }, h("span", {}, words), input);
}
