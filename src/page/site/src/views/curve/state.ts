// SPDX-License-Identifier: MIT
// The view's part of the address: ?view=curve&bands=V,B&axis=days&from=2460390.5&to=2460401.5 …
import type { Address } from "../../address";
import type { Range } from "../../chart";

export type AxisKind = "date" | "jd" | "days";
export const axisKinds: { value: AxisKind; words: string; describe: string }[] = [
    { value: "date", words: "Date", describe: "The date in UTC above the Julian date" },
    { value: "jd", words: "Julian date", describe: "BJD (TDB)" },
    { value: "days", words: "Days since maximum", describe: "Since the maximum that the fit found" },
];

export interface CurveState {
    bands: string[] | null; // null: all
    others: boolean;
    residuals: boolean;
    axis: AxisKind;
    model: string;
    fitFrom: string; // as typed
    fitTo: string;
    zoom: Range | null;
    interval: Range | null; // of the rate
    forecast: boolean;
    goal: string;
    first: string; // night of the forecast; tonight where it is not given
    ahead: string; // how many nights
}

export function stateOf(address: Address): CurveState {
    const axis = axisKinds.find((kind) => kind.value === address["axis"])?.value ?? "date";
    return {
        // One band, as other views hand it on, or what was chosen here.
        bands: (address["bands"] ?? address["band"])?.split(",") ?? null,
        others: address["others"] !== "0",
        residuals: address["residuals"] !== "0",
        axis,
        model: address["model"] ?? "",
        fitFrom: address["fit_from"] ?? "",
        fitTo: address["fit_to"] ?? "",
        zoom: rangeOf(address["zoom"]?.split(":")),
        interval: rangeOf([address["from"], address["to"]]),
        forecast: address["forecast"] === "1",
        goal: address["goal"] ?? "",
        first: address["first"] ?? "",
        ahead: address["ahead"] ?? "",
    };
}

function rangeOf(ends: (string | undefined)[] | undefined): Range | null {
    const [from, to] = (ends ?? []).map((end) => (end ? Number(end) : NaN));
    return from !== undefined && to !== undefined && Number.isFinite(from) && Number.isFinite(to) && to > from ? [from, to] : null;
}

// Four decimals of a day are nine seconds: what is asked is what stands in the address.
export function rangeWords(range: Range | null): string | null {
    return range && `${range[0].toFixed(4)}:${range[1].toFixed(4)}`;
}
export function intervalPatch(range: Range | null): { from: string | null; to: string | null } {
    return { from: range?.[0].toFixed(4) ?? null, to: range?.[1].toFixed(4) ?? null };
}
export function rounded(range: Range): Range {
    return [Number(range[0].toFixed(4)), Number(range[1].toFixed(4))];
}

export function shownBands(state: CurveState, all: string[]): string[] {
    const shown = all.filter((band) => state.bands?.includes(band) ?? true);
    return shown.length > 0 ? shown : all;
}
