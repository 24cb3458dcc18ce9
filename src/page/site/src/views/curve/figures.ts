// SPDX-License-Identifier: MIT
// The numbers of the fit: what was chosen and why, and every figure with its error, a column a band.
import { bandPlace, bandShape } from "../../campaign";
import { civilDay } from "../../chart";
import { h } from "../../dom";
import { sign, table, type Column } from "../../parts";
import { fixed, thin, withError } from "../../words";
import type { BandFit, Curve, ModelFit, WithError } from "./answers";

// Two figures of the error, as a table in print has them.
export function digitsOf(err: number): number {
    return Number.isFinite(err) && err > 0 ? Math.min(7, Math.max(0, 1 - Math.floor(Math.log10(err)))) : 4;
}
export function figure(value: WithError, unit = ""): string {
    const text = withError(value.value, value.err, digitsOf(value.err));
    return unit ? `${text}${thin}${unit}` : text;
}
function hundred(value: WithError): WithError {
    return { value: 100 * value.value, err: 100 * value.err };
}

interface Row {
    name: string;
    of: (fit: BandFit) => string;
}

const rows: Row[] = [
    { name: "Points", of: (fit) => String(fit.n) },
    { name: "Model", of: (fit) => fit.chosen ?? "none" },
    { name: "Maximum", of: ({ peak }) => (peak ? figure({ value: peak.mag, err: peak.mag_err }, "mag") : "") },
    { name: "Date of maximum", of: ({ peak }) => (peak ? `${civilDay(peak.bjd_tdb)} ±${thin}${fixed(peak.bjd_tdb_err, digitsOf(peak.bjd_tdb_err))}${thin}d` : "") },
    { name: "Maximum, BJD (TDB)", of: ({ peak }) => (peak ? figure({ value: peak.bjd_tdb, err: peak.bjd_tdb_err }) : "") },
    { name: "Δm15, fading in 15 days", of: (fit) => (fit.delta_m15 ? figure(fit.delta_m15, "mag") : "") },
    { name: "Decline a day", of: ({ decline_rate_mag_per_day: rate }) => (rate ? figure(rate, "mag/d") : "") },
    { name: "Decline in 100 days", of: ({ decline_rate_mag_per_day: rate }) => (rate ? figure(hundred(rate), "mag") : "") },
    {
        name: "Decline measured",
        of: ({ decline_rate_mag_per_day: rate }) => (rate ? `${civilDay(rate.from_bjd_tdb)} to ${civilDay(rate.to_bjd_tdb)}` : ""),
    },
    { name: "Plateau's end", of: ({ plateau }) => (plateau ? `${civilDay(plateau.end_bjd_tdb.value)} ±${thin}${fixed(plateau.end_bjd_tdb.err, 1)}${thin}d` : "") },
    { name: "Plateau's length", of: ({ plateau }) => (plateau?.length_d ? figure(plateau.length_d, "d") : "") },
    { name: "Drop after the plateau", of: ({ plateau }) => (plateau ? figure(plateau.drop_mag, "mag") : "") },
    { name: "Decline on the plateau", of: ({ plateau }) => (plateau ? figure(plateau.slope_mag_per_day, "mag/d") : "") },
    { name: "Tail's model", of: ({ tail }) => tail?.chosen ?? "" },
    { name: "Tail's rate over that of cobalt 56", of: ({ tail }) => (tail?.rate_over_cobalt56 ? figure(tail.rate_over_cobalt56) : "") },
    { name: "Extinction, foreground", of: (fit) => (fit.extinction_mag === null ? "" : `${fixed(fit.extinction_mag, 2)}${thin}mag`) },
    { name: "Absolute maximum", of: (fit) => (fit.absolute_peak ? figure(fit.absolute_peak, "mag") : "") },
    { name: "Scatter beyond the errors", of: (fit) => scatterOf(fit) },
];

function scatterOf(fit: BandFit): string {
    const chosen = fit.models.find((model) => model.name === fit.chosen);
    return chosen ? (chosen.extra_scatter_mag > 0 ? `${fixed(chosen.extra_scatter_mag, 3)}${thin}mag` : "none") : "";
}

export function bandSign(band: string): SVGElement {
    return sign(bandShape(band), `band-${bandPlace(band)}`);
}

export function figuresTable(curve: Curve, bands: string[]): HTMLElement {
    const fits = bands.flatMap((band) => (curve.bands[band] ? [{ band, fit: curve.bands[band] }] : []));
    const offsets: Row[] = [...new Set(fits.flatMap(({ fit }) => fit.offsets.map((one) => one.series)))].map((series) => ({
        name: `Zero point of ${series}, taken off`,
        of: (fit) => {
            const found = fit.offsets.find((one) => one.series === series);
            return found ? figure(found.offset_mag, "mag") : "";
        },
    }));
    const full = [...rows, ...offsets].filter((row) => fits.some(({ fit }) => row.of(fit) !== ""));
    const columns: Column<Row>[] = [
        { name: "Figure", cell: (row) => row.name },
        ...fits.map(({ band, fit }) => ({ name: band, cell: (row: Row) => row.of(fit) || "–" })),
    ];
    const made = table("Figures of the light curve, with one sigma", columns, full, { headed: true });
    made.querySelectorAll("thead th").forEach((head, i) => i > 0 && head.prepend(bandSign(fits[i - 1]!.band), " "));
    return made;
}

export function reasons(curve: Curve, bands: string[]): HTMLElement {
    const items = bands.flatMap((band) => {
        const fit = curve.bands[band];
        if (!fit) return [];
        if (fit.problem) return [item(band, `no fit. ${fit.problem.what} ${fit.problem.mend}`)];
        const words = fit.chosen && !fit.why.startsWith(fit.chosen) ? `${fit.chosen}: ${fit.why}` : fit.why;
        return [item(band, words), ...fit.remarks.map((remark) => item(band, remark))];
    });
    return h("ul", { class: "reasons" }, ...items, ...[...curve.remarks, curve.shape?.sentence ?? ""].filter(Boolean).map((words) => h("li", {}, words)));
}

function item(band: string, words: string): HTMLElement {
    return h("li", {}, bandSign(band), " ", h("strong", {}, band), ` ${words}`);
}

export function modelsTable(curve: Curve, bands: string[]): HTMLElement {
    const fits = bands.flatMap((band) => (curve.bands[band]?.models ?? []).map((model) => ({ band, model, chosen: curve.bands[band]!.chosen })));
    const least = new Map(bands.map((band) => [band, Math.min(...(curve.bands[band]?.models ?? []).map((model) => model.bic ?? Infinity))]));
    const columns: Column<{ band: string; model: ModelFit; chosen: string | null }>[] = [
        { name: "Model", cell: ({ model, chosen }) => (model.name === chosen ? h("strong", {}, `${model.name}, chosen`) : model.name) },
        { name: "Band", cell: ({ band }) => band },
        { name: "χ²", number: true, cell: ({ model }) => fixed(model.chi2, 1) },
        { name: "Degrees of freedom", number: true, cell: ({ model }) => model.dof },
        { name: "ΔBIC", number: true, cell: ({ band, model }) => (model.bic === null ? "–" : fixed(model.bic - (least.get(band) ?? 0), 1)) },
        { name: "AICc", number: true, cell: ({ model }) => fixed(model.aicc, 1) },
        { name: "Scatter", unit: "mag", number: true, cell: ({ model }) => (model.extra_scatter_mag > 0 ? fixed(model.extra_scatter_mag, 3) : "–") },
        { name: "Source", cell: ({ model }) => model.source },
    ];
    const refused = bands.flatMap((band) => (curve.bands[band]?.refused ?? []).map((one) => `${band}, ${one.model}: ${one.problem.what}`));
    return h(
        "details",
        {},
        h("summary", {}, "All models that were tried"),
        table("Models that were tried", columns, fits, { headed: true }),
        refused.length > 0 && h("ul", { class: "reasons" }, ...refused.map((words) => h("li", {}, words))),
    );
}
