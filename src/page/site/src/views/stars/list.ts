// SPDX-License-Identifier: MIT
// The table of the sequence: a line a star, with its residuals night by night drawn small.
import { addressWith } from "../../address";
import { h } from "../../dom";
import { sign, svg, table, type Column } from "../../parts";
import { fixed, signed, thin } from "../../words";
import { bandOf, shapeOf, verdict, type Star, type StarBand, type StarNight } from "./star";

const width = 104;
const height = 30;

export function starsTable(stars: Star[], key: string, chosen: string | undefined, nights: string[]): HTMLElement {
    const largest = Math.max(0.02, ...stars.flatMap((star) => (star.set_aside ? undefined : bandOf(star, key))?.nights.map((one) => Math.abs(one.residual_mag)) ?? []));
    const columns: Column<Star>[] = [
        {
            name: "Star",
            cell: (star) =>
                h(
                    "a",
                    { href: addressWith({ star: star.label, preview: null }), "aria-current": star.label === chosen ? "true" : null, class: "star-link" },
                    sign(shapeOf(star), star.set_aside ? "edge" : "slate"),
                    ` ${star.label}`,
                ),
        },
        { name: "Catalogue", number: true, wide: true, cell: (star) => fixed(bandOf(star, key)?.catalogue_mag) },
        { name: "Offset", unit: "mag", number: true, cell: (star) => offset(bandOf(star, key)) },
        { name: "Scatter", unit: "(expected)", number: true, wide: true, cell: (star) => scatter(bandOf(star, key)) },
        { name: "Nights", unit: `±${fixed(largest, 2)}`, wide: true, cell: (star) => small(bandOf(star, key)?.nights ?? [], nights, largest) },
        { name: "Verdict", cell: (star) => judged(star, bandOf(star, key)) },
    ];
    return table("Comparison stars", columns, stars, {
        headed: true,
        rowKey: (star) => star.label,
        rowClass: (star) => [star.set_aside && "aside", star.label === chosen && "chosen", bandOf(star, key)?.suspect && "suspect"].filter(Boolean).join(" "),
    });
}

function offset(band: StarBand | undefined): string {
    if (!band || band.offset_mag === null) return "–";
    return `${signed(band.offset_mag)}${thin}±${thin}${fixed(band.offset_err_mag)}`;
}

function scatter(band: StarBand | undefined): string {
    if (!band || band.scatter_mag === null) return "–";
    return `${fixed(band.scatter_mag)} (${fixed(band.expected_scatter_mag)})`;
}

function judged(star: Star, band: StarBand | undefined): HTMLElement {
    const [word, why] = verdict(star, band);
    return h("span", { class: "verdict" }, h("span", { class: "word" }, word), why && h("span", { class: "why" }, why));
}

// Residuals against the nights, the catalogue's value as a line through the middle. The numbers are in the table and in
// the plots; so this is only looked at.
function small(points: StarNight[], nights: string[], largest: number): SVGElement {
    const x = (night: string) => 5 + (Math.max(0, nights.indexOf(night)) / Math.max(1, nights.length - 1)) * (width - 10);
    const y = (residual: number) => height / 2 + Math.max(-1, Math.min(1, residual / largest)) * (height / 2 - 4);
    const zero = svg("path", { class: "zero", d: `M0 ${height / 2}H${width}` });
    const marks = points.map((one) => svg("circle", { cx: x(one.night).toFixed(1), cy: y(one.residual_mag).toFixed(1), r: 2.1 }));
    return svg("svg", { class: "small-plot", viewBox: `0 0 ${width} ${height}`, width, height, "aria-hidden": "true" }, zero, ...marks);
}
