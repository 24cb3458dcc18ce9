// SPDX-License-Identifier: MIT
// The text that would go out, line by line, with what was found about a line beneath it.
import { h, replace } from "../../dom";
import type { Finding, Report, ReportLine } from "./answers";

const pageOfLines = 1000;
const severityWords = { error: "Error", warning: "Warning" } as const;

export function textBox(report: Report): HTMLElement {
    const list = h("ol", { class: "report-lines" });
    const more = h("button", { type: "button" });
    let shown = 0;
    const grow = () => {
        list.append(...report.lines.slice(shown, shown + pageOfLines).map((line) => oneLine(line, report.findings)));
        shown = Math.min(report.lines.length, shown + pageOfLines);
        more.hidden = shown >= report.lines.length;
        replace(more, `Show more lines (${report.lines.length - shown} left)`);
    };
    more.addEventListener("click", grow);
    grow();
    list.style.setProperty("--digits", `${String(report.lines.length).length}ch`);
    return h(
        "div",
        {},
        h("div", { class: "report-text", tabindex: 0, role: "region", "aria-label": `Text of the report, ${report.lines.length} lines` }, list),
        more,
    );
}

function oneLine(line: ReportLine, findings: Finding[]): HTMLElement {
    const own = findings.filter((finding) => finding.line === line.number);
    const notes = own.length ? own.map(wordsOf) : line.severity ? [`${severityWords[line.severity]}: ${line.what}`] : [];
    return h(
        "li",
        { id: `line-${line.number}`, class: line.severity, "data-number": line.number, tabindex: notes.length ? -1 : null },
        h("code", {}, line.text || " "),
        ...notes.map((words) => h("p", { class: "line-note" }, words)),
    );
}

function wordsOf(finding: Finding): string {
    return `${severityWords[finding.severity]}: ${finding.what} ${finding.mend}`.trim();
}

// What was found, before the text: each leads to its line.
export function findingList(report: Report): HTMLElement | null {
    if (report.findings.length === 0) return null;
    return h(
        "ul",
        { class: "finding-list" },
        ...report.findings.map((finding) =>
            h(
                "li",
                { class: finding.severity },
                finding.line > 0 && h("button", { type: "button", class: "quiet", onclick: () => goToLine(finding.line) }, `Line ${finding.line}`),
                ` ${wordsOf(finding)}`,
            ),
        ),
    );
}

function goToLine(number: number): void {
    const line = document.getElementById(`line-${number}`);
    line?.scrollIntoView({ block: "center" });
    line?.focus({ preventScroll: true });
}
