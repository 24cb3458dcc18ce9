// SPDX-License-Identifier: MIT
// The view's part of the address: ?view=report&format=server-json&from=2024-03-20&hold=cloud,trailed …
import type { Address } from "../../address";

export const formats = [
    { value: "network", words: "Variable-star network", describe: "Text in the network's Extended format" },
    { value: "server-json", words: "Transient server, JSON", describe: "For the IAU transient server's interface" },
    { value: "server-tsv", words: "Transient server, table", describe: "A tab-separated table for the IAU transient server's upload" },
] as const;
export type Format = (typeof formats)[number]["value"];

// Flags of a value that an observer may not want to send (`report --hold`).
export const flags = [
    { value: "cloud", words: "cloud passed" },
    { value: "uneven-transparency", words: "thin or moving cloud" },
    { value: "trailed", words: "trailed stars" },
    { value: "low-altitude", words: "an airmass above 3" },
    { value: "few-comparison-stars", words: "fewer than three comparison stars" },
    { value: "check-star-off", words: "the check star is off" },
    { value: "colour-extrapolated", words: "a colour outside the stars' colours" },
    { value: "host-unmodelled", words: "host light that nothing models" },
    { value: "blended", words: "blended with another source" },
    { value: "scattered-frames", words: "frames that scatter too much" },
    { value: "single-frame", words: "one frame only" },
    { value: "saturated", words: "a saturated pixel" },
    { value: "bad-pixels", words: "bad pixels" },
    { value: "cosmic-ray", words: "a cosmic ray" },
] as const;

export interface ReportState {
    format: Format;
    from: string;
    to: string;
    bands: string[] | null; // null: all
    hold: string[];
    again: boolean;
    transformedOnly: boolean;
    noLimits: boolean;
    frames: boolean;
}

export function stateOf(address: Address): ReportState {
    return {
        format: formats.find((one) => one.value === address["format"])?.value ?? "network",
        from: address["from"] ?? "",
        to: address["to"] ?? "",
        bands: list(address["bands"]),
        hold: list(address["hold"]) ?? [],
        again: address["again"] === "1",
        transformedOnly: address["transformed"] === "1",
        noLimits: address["limits"] === "0",
        frames: address["frames"] === "1",
    };
}

function list(text: string | undefined): string[] | null {
    return text ? text.split(",") : null;
}

export function queryOf(state: ReportState): Record<string, string | boolean | string[]> {
    return {
        format: state.format,
        from: state.from,
        to: state.to,
        band: state.bands ?? [],
        hold: state.hold,
        again: state.again,
        transformed_only: state.transformedOnly,
        no_limits: state.noLimits,
        frames: state.frames,
    };
}
