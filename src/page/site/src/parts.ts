// SPDX-License-Identifier: MIT
// Small pieces that every view is made of.
import { pointSign } from "./chart/shapes";
import { h } from "./dom";
import { problemOf } from "./notice";

type Content = Node | string | number | null | undefined | false;

// An element of SVG; h() makes those of HTML.
export function svg(tag: string, props: Record<string, string | number> = {}, ...children: SVGElement[]): SVGElement {
    const element = document.createElementNS("http://www.w3.org/2000/svg", tag);
    for (const [name, value] of Object.entries(props)) element.setAttribute(name, String(value));
    element.append(...children);
    return element;
}

// Grey bars in the place of what is being read; said to a screen reader once.
export function loading(words: string, lines = 4): HTMLElement {
    return h(
        "div",
        { class: "loading", role: "status" },
        h("span", { class: "heard" }, words),
        ...Array.from({ length: lines }, () => h("span", { class: "bar", "aria-hidden": "true" })),
    );
}

// There is nothing here yet: why, and what to do.
export function empty(what: string, ...todo: Content[]): HTMLElement {
    return h("div", { class: "empty" }, h("p", { class: "what" }, what), ...todo.filter(Boolean).map((one) => (one instanceof HTMLElement ? one : h("p", {}, one))));
}

// What went wrong, where, what to do, and a way to try again.
export function trouble(error: unknown, again?: () => void): HTMLElement {
    const { what, where, mend } = problemOf(error);
    return h(
        "div",
        { class: "trouble box", role: "alert" },
        h("p", { class: "what" }, what),
        where && h("p", { class: "where" }, where),
        mend && h("p", {}, mend),
        again && h("button", { type: "button", onclick: again }, "Try again"),
    );
}

// A command in the text, to be typed in a terminal.
export function command(text: string): HTMLElement {
    return h("code", { class: "command" }, text);
}

export interface Column<Row> {
    name: string;
    unit?: string;
    number?: boolean;
    // Not shown on a narrow screen.
    wide?: boolean;
    cell: (row: Row) => Content;
}

export interface TableOptions<Row> {
    rowClass?: (row: Row) => string;
    // Which row a change of the data keeps (its place and focus).
    rowKey?: (row: Row) => string;
    // The first column heads its row.
    headed?: boolean;
}

// A table with units in its heads, in a frame that scrolls by itself (also by keyboard) where it is too wide.
export function table<Row>(caption: string, columns: Column<Row>[], rows: Row[], options: TableOptions<Row> = {}): HTMLElement {
    const head = columns.map((column) =>
        h(
            "th",
            { scope: "col", class: classOf(column) },
            column.name,
            column.unit ? h("span", { class: "unit" }, ` ${column.unit}`) : null,
        ),
    );
    const body = rows.map((row) =>
        h(
            "tr",
            { class: options.rowClass?.(row) || null, "data-row": options.rowKey?.(row) ?? null },
            ...columns.map((column, i) =>
                options.headed && i === 0
                    ? h("th", { scope: "row", class: classOf(column) }, column.cell(row))
                    : h("td", { class: classOf(column) }, column.cell(row)),
            ),
        ),
    );
    return h(
        "div",
        { class: "table", role: "region", tabindex: 0, "aria-label": caption },
        h("table", {}, h("caption", { class: "heard" }, caption), h("thead", {}, h("tr", {}, ...head)), h("tbody", {}, ...body)),
    );
}

function classOf<Row>(column: Column<Row>): string | null {
    return [column.number && "number", column.wide && "wide"].filter(Boolean).join(" ") || null;
}

// One of a few, in words: buttons of which one is pressed.
export function choice<Value extends string>(
    label: string,
    options: { value: Value; words: string; describe?: string }[],
    chosen: Value,
    pick: (value: Value) => void,
): HTMLElement {
    return h(
        "div",
        { class: "choice", role: "group", "aria-label": label },
        ...options.map((option) =>
            h(
                "button",
                {
                    type: "button",
                    "aria-pressed": option.value === chosen ? "true" : "false",
                    "data-value": option.value,
                    title: option.describe ?? null,
                    onclick: () => pick(option.value),
                },
                option.words,
            ),
        ),
    );
}

// A labelled list to pick from.
export function picker(
    label: string,
    options: { value: string; words: string }[],
    chosen: string,
    pick: (value: string) => void,
): HTMLElement {
    const select = h(
        "select",
        { onchange: () => pick(select.value) },
        ...options.map((option) => h("option", { value: option.value, selected: option.value === chosen }, option.words)),
    );
    return h("label", { class: "field" }, h("span", {}, label), select);
}

// The sign of a band or a star beside a word, as the plots draw it.
export function sign(shape: string, token: string): SVGSVGElement {
    const drawn = pointSign(shape, token);
    drawn.setAttribute("viewBox", "6 0 14 14");
    drawn.setAttribute("width", "14");
    drawn.classList.add("sign");
    return drawn;
}
