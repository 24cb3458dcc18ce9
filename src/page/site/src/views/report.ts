// SPDX-License-Identifier: MIT
// What would be sent, checked line by line, and written when the observer says so. The page sends nothing anywhere.
import { address } from "../address";
import { ApiProblem, change, read } from "../api";
import { campaign } from "../campaign";
import { h, replace } from "../dom";
import { ask, say, sayProblem } from "../notice";
import { command, loading, table, trouble } from "../parts";
import type { MakeView, View } from "../view";
import { count } from "../words";
import { copyButton } from "./copy_button";
import type { Report, Row, Written } from "./report/answers";
import { Settings } from "./report/settings";
import { formats, queryOf, stateOf, type ReportState } from "./report/state";
import { findingList, textBox } from "./report/text";
import "./report.css";

export const report: MakeView = (root) => new ReportView(root);

class ReportView implements View {
    readonly #settings = new Settings();
    readonly #written = h("div", { class: "report-written", "aria-live": "polite" });
    readonly #status = h("p", { class: "heard", role: "status" });
    readonly #paper = h("div", { class: "report-paper" });
    #state: ReportState = stateOf(address());
    #asked = "";
    #reading: AbortController | null = null;

    constructor(root: HTMLElement) {
        // By the mount the draft comes first.
        const narrow = matchMedia("(max-width: 52rem)").matches;
        replace(this.#paper, loading("Writing the report's draft", 8));
        root.append(
            h(
                "section",
                { class: "report-which", "aria-label": "Which report" },
                h("details", { open: !narrow }, h("summary", {}, h("h2", {}, "Which report")), this.#settings.root),
            ),
            h("section", { class: "report-draft", "aria-label": "Draft" }, this.#written, this.#status, this.#paper),
        );
    }

    show(): void {
        this.#state = stateOf(address());
        this.#settings.show(this.#state);
        const asked = JSON.stringify(queryOf(this.#state));
        if (asked === this.#asked) return;
        this.#asked = asked;
        replace(this.#written);
        void this.#read();
    }

    refresh(): void {
        this.#settings.show(this.#state);
        void this.#read();
    }

    leave(): void {
        this.#reading?.abort();
    }

    async #read(): Promise<void> {
        this.#reading?.abort();
        const reading = new AbortController();
        this.#reading = reading;
        this.#paper.setAttribute("aria-busy", "true");
        try {
            const given = await read<Report>("/api/report", queryOf(this.#state), reading.signal);
            this.#draw(given);
        } catch (error) {
            if (reading.signal.aborted) return;
            replace(this.#paper, trouble(error, () => void this.#read()));
            this.#status.textContent = "";
        }
        this.#paper.removeAttribute("aria-busy");
    }

    #draw(given: Report): void {
        const errors = given.findings.filter((finding) => finding.severity === "error").length;
        this.#status.textContent = `Draft: ${countWords(given)}.`;
        const write = h("button", { type: "button", class: "main", onclick: () => void this.#write(given, write) }, "Write the report");
        const stop = reasonNotToWrite(given, errors);
        write.disabled = stop !== "";
        if (stop !== "") write.setAttribute("aria-describedby", "why-not");
        const box = this.#paper.querySelector(".report-text");
        const at = box ? [box.scrollLeft, box.scrollTop] : [0, 0];
        replace(
            this.#paper,
            h(
                "div",
                { class: "draft-head" },
                h("h2", {}, "What would be sent"),
                h("p", {}, h("strong", {}, countWords(given)), "."),
                h("div", { class: "settings-row" }, write, given.lines.length > 0 && copyButton(() => given.text, "Copy the text", "Copy the text")),
                stop && h("p", { id: "why-not", class: "hint" }, stop),
            ),
            findingList(given),
            ...(given.lines.length > 0
                ? [h("p", { class: "file-name" }, h("span", { class: "hint" }, "File "), h("code", {}, given.file_name)), textBox(given)]
                : [h("p", {}, "The text would be empty. “Also what was reported before” shows all of it again.")]),
            rows("Held back", "These were measured and do not go out with this report.", given.held),
            rows("Skipped", "These cannot go into this format.", given.skipped),
            given.remarks.length > 0 && h("div", { class: "remarks" }, h("h3", {}, "Remarks"), h("ul", {}, ...given.remarks.map((words) => h("li", {}, words)))),
            h("p", { class: "hint" }, "The same from a terminal: ", command(given.command)),
        );
        this.#paper.querySelector(".report-text")?.scrollTo(at[0] ?? 0, at[1] ?? 0);
    }

    async #write(given: Report, button: HTMLButtonElement): Promise<void> {
        const lines = given.new_lines + given.revisions;
        const words = h(
            "div",
            {},
            h("p", {}, `${count(lines, "line goes", "lines go")} into ${given.file_name}, in the campaign's out folder.`),
            h("p", {}, "The campaign remembers them as reported: the next report has only what is new and what has changed. Nothing is sent: take the file to where it belongs."),
            h("p", { class: "hint" }, "It can be taken back."),
        );
        if (!(await ask({ title: "Write the report?", words, confirm: "Write and remember", cancel: "Not yet" }))) return;
        button.disabled = true;
        try {
            const written = await change<Written>("/api/report", { ...queryOf(this.#state) });
            this.#tell(written);
            say(`${count(written.lines, "line is", "lines are")} written.`);
            void this.#read();
        } catch (error) {
            button.disabled = false;
            sayProblem(error);
        }
    }

    #tell(written: Written): void {
        const name = formats.find((one) => one.value === this.#state.format)?.words ?? "";
        const { file_name: file, download: address, change: made } = written;
        const download = file && address && h("a", { class: "download", href: address, download: file }, "Download it");
        const back = made && h("button", { type: "button", onclick: () => void this.#takeBack(made.number, back!) }, "Take it back");
        const what = made ? "written and remembered" : "written";
        replace(
            this.#written,
            h(
                "div",
                { class: "box" },
                h("p", { class: "what" }, file ? `${name}: ${count(written.lines, "line", "lines")} ${what}.` : "There was nothing to write."),
                file && h("p", {}, h("code", {}, `out/${file}`)),
                ...written.remarks.map((words) => h("p", {}, words)),
                h("div", { class: "settings-row" }, download, back),
            ),
        );
        if (download) download.focus();
    }

    async #takeBack(number: number, button: HTMLButtonElement): Promise<void> {
        button.disabled = true;
        try {
            const { words } = await change<{ words: string }>("/api/changes/undo", { number });
            replace(this.#written);
            say(words);
            void this.#read();
        } catch (error) {
            button.disabled = error instanceof ApiProblem && error.status === 409;
            sayProblem(error);
        }
    }
}

function countWords(given: Report): string {
    const before = given.reported_before;
    return [
        count(given.new_lines, "new value", "new values"),
        given.revisions > 0 && count(given.revisions, "revision"),
        before > 0 && `${before} reported before${given.slight_changes ? ` (${given.slight_changes} changed since, too little to tell)` : ""}`,
        given.held.length > 0 && `${given.held.length} held back`,
        given.skipped.length > 0 && `${given.skipped.length} skipped`,
    ]
        .filter(Boolean)
        .join(", ");
}

function reasonNotToWrite(given: Report, errors: number): string {
    if (campaign()?.can_change === false) return "The campaign's folder cannot be written to, and the report goes there: make it yours, then reload the page.";
    if (errors > 0) return `${count(errors, "error")} in the text: mend ${errors === 1 ? "it" : "them"} first, as the lines say.`;
    if (given.new_lines + given.revisions === 0) return "There is nothing new to report.";
    return "";
}

function rows(title: string, words: string, given: Row[]): HTMLElement | null {
    if (given.length === 0) return null;
    return h(
        "div",
        { class: "left-out" },
        h("h3", {}, `${title}: ${given.length}`),
        h("p", { class: "hint" }, words),
        table(
            title,
            [
                { name: "Night", cell: (row: Row) => row.night },
                { name: "Band", cell: (row: Row) => row.band },
                { name: "Why", cell: (row: Row) => row.what },
            ],
            given,
            { headed: true },
        ),
    );
}
