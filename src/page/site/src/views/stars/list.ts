// SPDX-License-Identifier: MIT
// The table of the sequence: a line a star, with its residuals night by night drawn small.
import { addressWith } from "../../address";
import { h } from "../../dom";
import { sign, svg, table, type Column } from "../../parts";
import { fixed, signed, withError } from "../../words";
import { bandOf, shapeOf, verdict, type Star, type StarNight } from "./star";

const width = 132;
const height = 30;

export function starsTable(stars: Star[], key: string, chosen: string | undefined, nights: string[]): HTMLElement {
    const largest = Math.max(0.02, ...stars.flatMap((star) => bandOf(star, key)?.nights.map((one) => Math.abs(one.residual_mag)) ?? []));
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
        { name: "Catalogue", number: true, cell: (star) => withError(bandOf(star, key)?.catalogue_mag, bandOf(star, key)?.catalogue_err_mag) },
        { name: "Offset", unit: "mag", number: true, cell: (star) => offset(bandOf(star, key)) },
        { name: "Scatter", unit: "mag", number: true, wide: true, cell: (star) => fixed(bandOf(star, key)?.scatter_mag) },
        { name: "expected", number: true, wide: true, cell: (star) => fixed(bandOf(star, key)?.expected_scatter_mag) },
        { name: "In nights", number: true, wide: true, cell: (star) => bandOf(star, key)?.used_in_nights ?? 0 },
        { name: `Nights, ±${fixed(largest, 2)}`, wide: true, cell: (star) => small(bandOf(star, key)?.nights ?? [], nights, largest) },
        { name: "Verdict", cell: (star) => h("span", { class: "verdict" }, verdict(star, bandOf(star, key))) },
    ];
    return table("Comparison stars", columns, stars, {
        headed: true,
        rowKey: (star) => star.label,
        rowClass: (star) => [star.set_aside && "aside", star.label === chosen && "chosen", bandOf(star, key)?.suspect && "suspect"].filter(Boolean).join(" "),
    });
}

function offset(band: { offset_mag: number | null; offset_err_mag: number | null } | undefined): string {
    if (!band || band.offset_mag === null) return "–";
    return `${signed(band.offset_mag)} ± ${fixed(band.offset_err_mag)}`;
}

// Residuals against the nights, the catalogue's value as a line through the middle. The numbers are in the table and in
// the plots; so this is only looked at.
function small(points: StarNight[], nights: string[], largest: number): SVGElement {
    const x = (night: string) => 5 + (Math.max(0, nights.indexOf(night)) / Math.max(1, nights.length - 1)) * (width - 10);
    const y = (residual: number) => height / 2 + (residual / largest) * (height / 2 - 4);
    const zero = svg("path", { class: "zero", d: `M0 ${height / 2}H${width}` });
    const marks = points.map((one) => svg("circle", { cx: x(one.night).toFixed(1), cy: y(one.residual_mag).toFixed(1), r: 2.1 }));
    return svg("svg", { class: "small-plot", viewBox: `0 0 ${width} ${height}`, width, height, "aria-hidden": "true" }, zero, ...marks);
}
