// SPDX-License-Identifier: MIT
// What /api/report answers (GET: what would be sent; POST: what was written).

export type Severity = "error" | "warning";

export interface ReportLine {
    number: number;
    text: string;
    severity: Severity | null;
    what: string;
}
export interface Row {
    night: string;
    band: string;
    what: string;
}
export interface Finding {
    line: number;
    severity: Severity;
    what: string;
    mend: string;
}

export interface Report {
    format: string;
    file_name: string;
    text: string;
    lines: ReportLine[];
    new_lines: number;
    revisions: number;
    reported_before: number;
    slight_changes: number;
    held: Row[];
    skipped: Row[];
    remarks: string[];
    findings: Finding[];
    command: string;
}

export interface Written {
    file_name: string | null; // null: there was nothing to write
    download: string | null;
    lines: number;
    remarks: string[];
    change: { number: number; words: string } | null; // null: the ledger could not note it
}
