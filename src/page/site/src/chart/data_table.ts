// SPDX-License-Identifier: MIT
// The same points as a table, for those who do not see the picture or want the numbers.
import { h, replace } from "../dom";
import type { ChartData, Panel, Point } from "./marks";
import { civil, plain, type XAxis } from "./time_axis";

const pageOfRows = 200;

export function fillTable(place: HTMLElement, data: ChartData, label: string): void {
    replace(place, ...data.panels.map((panel) => panelTable(panel, data.x, label)));
}

interface Row {
    series: string;
    point: Point;
}

function panelTable(panel: Panel, axis: XAxis, label: string): HTMLElement {
    const rows: Row[] = panel.points.flatMap((series) => series.points.map((point) => ({ series: series.name, point })));
    rows.sort((a, b) => a.point.x - b.point.x);
    const timed = axis.kind !== "plain";
    const unit = panel.unit ? ` (${panel.unit})` : "";
    const body = h("tbody");
    const more = h("button", { type: "button", class: "chart-more" });
    let shown = 0;
    const grow = () => {
        for (const row of rows.slice(shown, shown + pageOfRows)) body.append(tableRow(row, panel, axis));
        shown = Math.min(rows.length, shown + pageOfRows);
        more.hidden = shown >= rows.length;
        more.textContent = `Show more rows (${rows.length - shown} left)`;
    };
    more.addEventListener("click", grow);
    grow();
    const heads = timed ? ["Series", "UTC", "Julian date"] : ["Series", axis.label];
    const caption = `${label}: ${panel.name.toLowerCase()}, ${rows.length} ${rows.length === 1 ? "point" : "points"}`;
    return h(
        "div",
        {},
        h(
            "div",
            { class: "chart-scroll", tabindex: 0, role: "region", "aria-label": caption },
            h(
                "table",
                {},
                h("caption", {}, caption),
                h(
                    "thead",
                    {},
                    h(
                        "tr",
                        {},
                        ...[...heads, panel.name + unit, `One sigma${unit}`, "Remark"].map((head) => h("th", { scope: "col" }, head)),
                    ),
                ),
                body,
            ),
        ),
        more,
    );
}

function tableRow({ series, point }: Row, panel: Panel, axis: XAxis): HTMLElement {
    const decimals = panel.decimals ?? 3;
    const remark = point.limit ? "limit" : point.crossed ? "crossed out" : "";
    const when = axis.kind === "plain" ? [plain(point.x, 3)] : [civil(point.x), point.x.toFixed(5)];
    return h(
        "tr",
        {},
        h("th", { scope: "row" }, series),
        ...when.map((text) => h("td", { class: "number" }, text)),
        h("td", { class: "number" }, (point.limit ? "> " : "") + plain(point.y, decimals)),
        h("td", { class: "number" }, point.err ? point.err.toFixed(decimals) : ""),
        h("td", {}, remark),
    );
}
