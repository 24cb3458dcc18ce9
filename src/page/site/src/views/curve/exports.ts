// SPDX-License-Identifier: MIT
// Files to take along: the picture as the program draws it, and the tables.
import { link } from "../../api";
import { h, replace } from "../../dom";
import type { CurveState } from "./state";

const pictures = [
    { format: "svg", words: "SVG" },
    { format: "pdf", words: "PDF" },
    { format: "png", words: "PNG" },
];
const tables = [
    { format: "csv", words: "CSV" },
    { format: "ecsv", words: "ECSV" },
    { format: "votable", words: "VOTable" },
    { format: "fits", words: "FITS" },
];

export function showExports(place: HTMLElement, state: CurveState, bands: string[]): void {
    const picture = (format: string) => link("/api/curve/picture", { format, band: bands, from: state.fitFrom, to: state.fitTo, model: state.model });
    const row = (name: string, files: { words: string; href: string; described: string }[]) =>
        h(
            "div",
            { class: "export-row" },
            h("dt", {}, name),
            h("dd", {}, ...files.map((file) => h("a", { href: file.href, download: "", "aria-label": `${name}, ${file.described}` }, file.words))),
        );
    replace(
        place,
        h("h2", { id: "export-title" }, "Take along"),
        h(
            "dl",
            {},
            row("Picture for print", pictures.map((one) => ({ words: one.words, described: one.words, href: picture(one.format) }))),
            ...[
                { level: "night", name: "Table of nights" },
                { level: "frame", name: "Table of frames" },
            ].map(({ level, name }) =>
                row(name, tables.map((one) => ({ words: one.words, described: one.words, href: link("/api/table", { level, format: one.format }) }))),
            ),
        ),
        h("p", { class: "hint" }, "Save picture, below the chart, keeps what is seen here, as a PNG."),
    );
}
