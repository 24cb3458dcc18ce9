// SPDX-License-Identifier: MIT
// What is drawn and what is fitted: bands, axis, model, the stretch that is fitted.
import { go } from "../../address";
import { typedJd } from "../../chart";
import { dashOf, pointSign } from "../../chart/shapes";
import { bandPlace, bandShape } from "../../campaign";
import { h, replace } from "../../dom";
import { choice, picker } from "../../parts";
import type { Curve } from "./answers";
import { axisKinds, shownBands, type CurveState } from "./state";

export class Controls {
    readonly root = h("div", { class: "curve-controls" });
    readonly #drawn = h("div", { class: "control-row", role: "group", "aria-label": "What is drawn" });
    readonly #axis = h("div", { class: "control-row" });
    readonly #fit = h("form", { class: "control-row", "aria-label": "What is fitted" });
    readonly #more = h("details", { class: "fit-choice" }, h("summary", {}, "Model and dates of the fit"), this.#fit);
    readonly #models = new Set<string>();
    #before = "";

    constructor() {
        this.root.append(this.#drawn, this.#axis, this.#more);
        this.#fit.addEventListener("submit", (event) => {
            event.preventDefault();
            this.#typed();
        });
    }

    // Redrawn where something is different: a control keeps the focus otherwise.
    show(state: CurveState, bands: string[], curve: Curve | null): void {
        for (const fit of Object.values(curve?.bands ?? {})) fit.models.forEach((model) => this.#models.add(model.name));
        const { zoom: _zoom, interval: _interval, ...rest } = state;
        const now = JSON.stringify([rest, bands, [...this.#models], curve?.maximum, curve?.series]);
        if (now === this.#before) return;
        this.#before = now;
        const focused = this.root.contains(document.activeElement) ? (document.activeElement as HTMLElement).dataset["value"] : undefined;
        this.#fill(state, bands, curve);
        if (focused) this.root.querySelector<HTMLElement>(`[data-value="${CSS.escape(focused)}"]`)?.focus();
    }

    #fill(state: CurveState, bands: string[], curve: Curve | null): void {
        const shown = shownBands(state, bands);
        const others = (curve?.series.length ?? 0) > 1;
        replace(
            this.#drawn,
            ...bands.map((band) =>
                this.#switch(
                    [pointSign(bandShape(band), `band-${bandPlace(band)}`, { dash: dashOf(bandPlace(band)) }), ` ${band}`],
                    `band ${band}`,
                    shown.includes(band),
                    (on) => this.#bands(bands, on ? [...shown, band] : shown.filter((one) => one !== band)),
                ),
            ),
            others && this.#switch([pointSign("disc", "slate", { open: true }), "Other observers"], "others", state.others, (on) => go({ others: on ? null : "0" }, { replace: true })),
            this.#switch(["Residuals"], "residuals", state.residuals, (on) => go({ residuals: on ? null : "0" }, { replace: true })),
            this.#switch(["Forecast"], "forecast", state.forecast, (on) => go({ forecast: on ? "1" : null })),
        );
        const none = curve !== null && curve.maximum === null;
        const shownAxis = none && state.axis === "days" ? "date" : state.axis;
        const axis = choice("Axis of time", axisKinds, shownAxis, (value) => go({ axis: value === "date" ? null : value }, { replace: true }));
        const days = axis.querySelector<HTMLButtonElement>('[data-value="days"]');
        if (none && days) {
            days.disabled = true;
            days.setAttribute("aria-describedby", "no-maximum");
        }
        replace(
            this.#axis,
            h("span", { class: "control-name", "aria-hidden": "true" }, "Axis"),
            axis,
            none && h("span", { class: "hint", id: "no-maximum" }, "No maximum was seen."),
        );
        if (state.model || state.fitFrom || state.fitTo) this.#more.open = true;
        const models = [...new Set([...this.#models, ...(state.model ? [state.model] : [])])];
        replace(
            this.#fit,
            picker(
                "Model",
                [{ value: "", words: "what the points choose" }, ...models.map((name) => ({ value: name, words: name }))],
                state.model,
                (value) => go({ model: value || null }),
            ),
            this.#date("Fit from", "fit_from", state.fitFrom),
            this.#date("Fit to", "fit_to", state.fitTo),
            h("button", { type: "submit", "data-value": "refit" }, "Fit"),
            (state.fitFrom || state.fitTo) && h("button", { type: "button", "data-value": "fit-all", onclick: () => go({ fit_from: null, fit_to: null }) }, "All points"),
            h("p", { class: "hint", role: "status" }),
        );
    }

    #switch(words: (Node | string)[], value: string, on: boolean, change: (on: boolean) => void): HTMLElement {
        const box = h("input", { type: "checkbox", checked: on, "data-value": value, onchange: () => change(box.checked) });
        return h("label", { class: "switch" }, box, h("span", {}, ...words));
    }

    #bands(all: string[], wanted: string[]): void {
        const kept = all.filter((band) => wanted.includes(band));
        // None is no state to be in: all are drawn again.
        if (kept.length === 0) this.#before = "";
        go({ bands: kept.length === all.length || kept.length === 0 ? null : kept.join(","), band: null }, { replace: true });
    }

    #date(words: string, name: string, value: string): HTMLElement {
        const input = h("input", { type: "text", class: "date", name, value, "data-value": name, placeholder: "2024-03-18", autocomplete: "off", spellcheck: "false" });
        return h("label", { class: "field" }, h("span", {}, words), input);
    }

    #typed(): void {
        const fields = [...this.#fit.querySelectorAll<HTMLInputElement>("input.date")];
        const bad = fields.find((field) => field.value.trim() !== "" && typedJd(field.value) === null);
        fields.forEach((field) => (field === bad ? field.setAttribute("aria-invalid", "true") : field.removeAttribute("aria-invalid")));
        this.#fit.querySelector("p")!.textContent = bad ? `“${bad.value}” is no date. Write it as 2024-03-18 or 2460388.4.` : "";
        if (bad) bad.focus();
        else go(Object.fromEntries(fields.map((field) => [field.name, field.value.trim() || null])));
    }
}
