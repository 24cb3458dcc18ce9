// SPDX-License-Identifier: MIT
// The view's part of the address: ?view=curve&bands=V,B&axis=days&interval=2460390.5:2460401.5 …
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
    from: string; // of the fit, as typed
    to: string;
    zoom: Range | null;
    interval: Range | null;
    forecast: boolean;
    goal: string;
    ahead: string; // nights of the forecast
}

export function stateOf(address: Address): CurveState {
    const axis = axisKinds.find((kind) => kind.value === address["axis"])?.value ?? "date";
    return {
        bands: address["bands"] ? address["bands"].split(",") : null,
        others: address["others"] !== "0",
        residuals: address["residuals"] !== "0",
        axis,
        model: address["model"] ?? "",
        from: address["from"] ?? "",
        to: address["to"] ?? "",
        zoom: rangeOf(address["zoom"]),
        interval: rangeOf(address["interval"]),
        forecast: address["forecast"] === "1",
        goal: address["goal"] ?? "",
        ahead: address["ahead"] ?? "",
    };
}

function rangeOf(text: string | undefined): Range | null {
    const [from, to] = (text ?? "").split(":").map(Number);
    return from !== undefined && to !== undefined && Number.isFinite(from) && Number.isFinite(to) && to > from ? [from, to] : null;
}

// Four decimals of a day are nine seconds: what is asked is what stands in the address.
export function rangeWords(range: Range | null): string | null {
    return range && `${range[0].toFixed(4)}:${range[1].toFixed(4)}`;
}
export function rounded(range: Range): Range {
    return [Number(range[0].toFixed(4)), Number(range[1].toFixed(4))];
}

export function shownBands(state: CurveState, all: string[]): string[] {
    return state.bands ? all.filter((band) => state.bands!.includes(band)) : all;
}
